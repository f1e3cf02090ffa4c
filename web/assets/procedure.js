// The procedure screen on the device. The page came whole from the server and works
// without this script; with it, timers run from stamped deadlines, every tap is kept on
// the device before it counts, other devices' taps show at once, and the run goes on
// while the server is away.
import * as outbox from './outbox.js';
import { awake, saved } from './offline.js';
import * as cues from './cues.js';
import { Away } from './procedure-away.js';

const now = () => performance.now();
let run = document.getElementById('run'), words = JSON.parse(run.dataset.words), got = navigation();
const away = new Away(run);
away.load();

// navigation is when the page arrived: its deadlines count from there. Counting from
// the arrival and not from the sending makes a wait longer, never shorter.
function navigation() { const n = performance.getEntriesByType('navigation')[0]; return n && n.responseStart ? n.responseStart : now(); }

// ---- timers

let ended = false, told = new Set();
function clockText(s) {
  const n = Math.ceil(Math.max(0, s) - 1e-9), p = (x) => String(x).padStart(2, '0');
  return n >= 3600 ? Math.floor(n / 3600) + ':' + p(Math.floor(n / 60) % 60) + ':' + p(n % 60) : Math.floor(n / 60) + ':' + p(n % 60);
}
function tick() {
  const t = document.querySelector('.timer');
  if (!t) return;
  const total = +t.dataset.total, left = +t.dataset.left - (now() - got) / 1000, text = clockText(left);
  if (t.textContent !== text) t.textContent = text;
  t.classList.toggle('long', text.length > 5);
  const bar = document.querySelector('[data-drain]');
  if (bar) bar.setAttribute('width', String(Math.min(100, 100 * (1 - Math.max(0, left) / total))));
  document.querySelectorAll('[data-opens] .opens').forEach((e) => { e.textContent = text; });
  // Said at 5, 2 and 1 minutes and at the end, not every second.
  for (const m of [300, 120, 60]) if (left <= m && left > m - 5 && total > m && !told.has(m)) { told.add(m); t.setAttribute('aria-live', 'polite'); t.setAttribute('aria-label', words.left.replace('{1}', clockText(left))); }
  if (left <= 0 && !ended) { ended = true; cues.cue('done'); changed(); }
}
setInterval(tick, 250);
// After sleep the page's clock may have stood still: what the server says counts.
document.addEventListener('visibilitychange', () => { if (!document.hidden) { tick(); refresh(); } });

// ---- the page anew

let asking = false, once_more = false;
export async function refresh() {
  if (away.gone && (await mine()).length > 0) return; // what is here is newer than what the server has
  if (asking) { once_more = true; return; }
  asking = true;
  try {
    const res = await fetch(location.pathname, { headers: { Accept: 'text/html' }, cache: 'no-store' });
    if (res.ok) {
      const html = await res.text();
      outbox.heard(true);
      swap(new DOMParser().parseFromString(html, 'text/html'));
    }
  } catch (err) { outbox.heard(false); }
  asking = false;
  if (once_more) { once_more = false; refresh(); }
}

// swap puts the new page's parts in place of the old, keeping what is being typed and
// where the focus was.
function swap(doc) {
  const main = document.getElementById('main'), fresh = doc.getElementById('main');
  if (!fresh || !doc.getElementById('run')) return;
  const typing = document.activeElement && document.activeElement.matches('input:not([type=hidden]):not([type=checkbox])') && document.activeElement.value !== '' ? document.activeElement : null;
  const was = word(), open = [...document.querySelectorAll('#main details[open]')].map((d) => d.className), focus = pathOf(document.activeElement);
  if (typing && same(document, doc)) return; // nothing of the steps has changed: let the person finish
  main.replaceChildren(...fresh.childNodes);
  run = document.getElementById('run'); words = JSON.parse(run.dataset.words); got = now(); ended = false; told = new Set();
  open.forEach((c) => { if (c && !c.includes('stopbox')) { const d = main.querySelector('details.' + c.trim().split(/\s+/).join('.')); if (d) d.open = true; } });
  if (focus) { const f = main.querySelector(focus); if (f) f.focus({ preventScroll: true }); }
  const s = document.getElementById('saved'), t = doc.getElementById('saved');
  if (s && t) s.textContent = t.textContent;
  ready();
  away.back();
  away.load();
  if (word() !== was) supplyChanged(was);
  document.dispatchEvent(new CustomEvent('procedure-shown'));
}
const same = (a, b) => a.getElementById('run').dataset.seq === b.getElementById('run').dataset.seq;
const word = () => { const s = document.querySelector('.supply'); return s ? s.dataset.word : ''; };
function pathOf(e) {
  if (!e || !e.closest || !e.closest('#main')) return null;
  const card = e.closest('[data-step]'), form = e.closest('form');
  return form ? (card ? '[data-step="' + card.dataset.step + '"] ' : '') + 'form[data-event="' + form.dataset.event + '"] ' + (e.tagName === 'BUTTON' ? 'button' : 'input[name="' + e.name + '"]') : null;
}

// ---- supply

let silenced = '';
function supplyChanged(was) {
  const w = word();
  if (w === silenced) return;
  silenced = '';
  if (w === 'below' || w === 'stop') cues.cue('below'); else if (w === 'sagging' || w === 'lowest' || w === 'unwatched' && was !== 'typed') cues.cue('attention');
}

// ---- cues, keys, forms

function ready() {
  tick();
  for (const what of ['sound', 'buzz']) {
    const box = document.getElementById(what);
    if (box) { box.checked = cues.on[what]; box.onchange = () => cues.turn(what, box.checked); }
  }
  const q = document.querySelector('.supply .quiet');
  if (q) { q.hidden = !(['below', 'stop', 'sagging', 'lowest'].includes(word())) || silenced === word(); q.querySelector('button').onclick = () => { silenced = word(); cues.hush(); q.hidden = true; }; }
  if (run.dataset.overdue && !told.has('overdue')) { told.add('overdue'); overdue(run.dataset.overdue); }
  awake(['running', 'held', 'held_keep_power', 'stopping'].includes(run.dataset.mode));
}

// overdue: a movement that this device began takes longer than it may. Said once.
async function overdue(step) {
  if ((await mine()).length > 0) return;
  cues.cue('below');
  await outbox.put({ url: run.dataset.post, body: { type: 'procedure_event@1', payload: { kind: 'fails', step, what: 'overdue' } }, label: words['head.overdue'] });
  outbox.flush();
}

// entriesOf says what a form says to the run, as entries of its record.
function entriesOf(kind, f) {
  const e = { kind };
  for (const id of f.getAll('figure')) (e.figures = e.figures || {})[id] = [f.get('value ' + id), f.get('limit ' + id)];
  for (const k of ['step', 'how', 'outcome', 'what', 'watch', 'to', 'text']) if (f.get(k)) e[k] = f.get(k);
  if (f.get('seen') && +f.get('seen') > 0) e.seen = +f.get('seen');
  if (f.get('value')) e.typed = f.get('value');
  if (f.get('danger')) e.danger = f.get('danger') === words.danger_word ? 'DANGER' : f.get('danger');
  return e;
}

document.addEventListener('submit', async (ev) => {
  const form = ev.target;
  if (!form.matches('form[data-event]')) return;
  ev.preventDefault();
  const button = form.querySelector('button');
  if (button.getAttribute('aria-disabled') === 'true' && !button.hasAttribute('data-opens')) return; // a second tap
  if (button.hasAttribute('data-opens')) return;
  button.setAttribute('aria-disabled', 'true');
  const f = new FormData(form), kind = f.get('kind'), body = { type: 'procedure_event@1', payload: entriesOf(kind, f) };
  const label = (button.textContent || '').replace(/\s+/g, ' ').trim();
  const here = away.gone;
  if (here) {
    const reasons = away.offer(body.payload);
    if (reasons.length) { button.removeAttribute('aria-disabled'); cues.cue('attention'); note([words.refused, ...reasons].join(' ')); return; }
  }
  const it = await outbox.put({ url: run.dataset.post, key: here ? undefined : f.get('key') || undefined, body, label });
  if (here) await away.took(it.key); else if (away.gone) await count(it);
  if (away.gone) show();
  outbox.flush();
});

// count takes a tap that was kept as the connection broke: it is in the outbox and not in
// the record that this page has, so it counts here from now on.
async function count(it) {
  if (!away.kept.pending.some((p) => p.key === it.key) && !away.offer(it.body.payload).length) await away.took(it.key);
}

// show draws the run from what is here, while the server is away.
function show() {
  away.render();
  got = now(); ended = false;
  note(words.away);
  tick();
}

outbox.onChange(async (what) => {
  if (what.sent && what.sent.url === run.dataset.post) {
    saved();
    await away.sent(what.sent.body.payload);
    if (what.receipt && what.receipt.card) { location.assign(what.receipt.card); return; }
    note('');
    if ((await mine()).length === 0) refresh();
  }
  if (what.refused && what.refused.url === run.dataset.post) {
    const p = what.refused.problem;
    cues.cue('attention');
    await refresh();
    note([words.refused, p.title, p.detail].filter(Boolean).join(' '));
  }
  if (what.locked) note(words.locked);
  if (what.reachable === false) {
    const had = away.gone;
    if (await away.leave()) {
      if (!had) for (const i of await mine()) await count(i);
      show();
    } else note(words.away);
  }
  // Back: first everything that was kept is sent, then the page is looked at anew.
  if (what.reachable === true) { note(''); if ((await mine()).length === 0) refresh(); }
});
const mine = async () => (await outbox.list()).filter((i) => i.url === run.dataset.post && i.state === 'waiting').sort((a, b) => a.id - b.id);

function note(text) {
  const n = document.querySelector('.kept-note');
  if (!n) return;
  n.hidden = !text; n.querySelector('p').textContent = text;
}

// changed: a wait is over, or something else may have: look again.
function changed() { if (away.gone) show(); else refresh(); }

// ---- other devices

let events = null;
function listen() {
  if (events) events.close();
  if (!('EventSource' in window)) { setInterval(refresh, 5000); return; }
  events = new EventSource(run.dataset.events);
  events.onopen = () => outbox.heard(true);
  for (const t of ['message', 'entry', 'change', 'supply']) events.addEventListener(t, refresh);
}
listen();
// The supply is looked at by the server; its age grows here too when nothing comes.
setInterval(() => { if (document.querySelector('.supply') && !document.hidden && outbox.reachable()) refresh(); }, 2000);

ready();
