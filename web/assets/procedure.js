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

// swap puts the new page's parts in place of the old. When nothing was said to the run
// since, only the supply and the timer are new: the steps are not touched. Otherwise
// what was typed and where the focus was goes over to the same field of the same step.
function swap(doc) {
  const main = document.getElementById('main'), fresh = doc.getElementById('main');
  if (!fresh || !doc.getElementById('run')) return;
  const was = word();
  const news = gist(doc), timers = document.querySelector('.timer') && doc.querySelector('.timer') || !document.querySelector('.timer') && !doc.querySelector('.timer');
  if (news === lastGist && timers && !away.gone) { swapSupply(doc); swapTimer(doc); } else { lastGist = news; swapAll(main, fresh); }
  const s = document.getElementById('saved'), t = doc.getElementById('saved');
  if (s && t && s.textContent !== t.textContent) s.textContent = t.textContent;
  if (word() !== was) supplyChanged(was);
  document.dispatchEvent(new CustomEvent('procedure-shown'));
}
// shown is what a supply section showed as it came; the page itself changes its button.
let shown = new Map(), lastGist = gist(document);
const showing = () => { shown = new Map([...document.querySelectorAll('.supply')].map((x) => [x.dataset.watch, x.innerHTML])); };
function swapSupply(doc) {
  doc.querySelectorAll('.supply').forEach((n) => {
    const old = [...document.querySelectorAll('.supply')].find((o) => o.dataset.watch === n.dataset.watch);
    if (!old || shown.get(n.dataset.watch) === n.innerHTML) return;
    shown.set(n.dataset.watch, n.innerHTML);
    old.className = n.className;
    Object.assign(old.dataset, n.dataset);
    // The word is a live region: it is told only when it is another.
    [...n.querySelector('.now').children].forEach((p, i) => {
      const o = old.querySelector('.now').children[i];
      if (o && o.className === p.className && o.className !== 'quiet') { if (o.innerHTML !== p.innerHTML) o.innerHTML = p.innerHTML; }
    });
    const words = old.querySelector('.now'), next = n.querySelector('.now');
    if (words.childElementCount !== next.childElementCount) words.replaceChildren(...next.childNodes);
    const plot = old.querySelector('.pl > svg'), drawn = n.querySelector('.pl > svg');
    if (plot && drawn) plot.replaceWith(drawn); else if (drawn) old.querySelector('.pl').prepend(drawn); else if (plot) plot.remove();
    // A form to type the supply comes or goes with the meter; one in use stays.
    const box = old.querySelector('.typebox'), asks = n.querySelector('.typebox');
    if (box && !asks && !box.contains(document.activeElement)) box.remove(); else if (!box && asks) old.querySelector('.pl').append(asks);
    quietly();
  });
}
function swapTimer(doc) {
  const o = document.querySelector('.timer'), n = doc.querySelector('.timer');
  if (!n) return;
  if (+n.dataset.left > +o.dataset.left) { ended = false; told = new Set(); } // another wait
  Object.assign(o.dataset, n.dataset); got = now();
  tick();
}
function swapAll(main, fresh) {
  const open = [...document.querySelectorAll('#main details[open]')].map((d) => d.className), focus = pathOf(document.activeElement);
  const typed = [...main.querySelectorAll('input:not([type=hidden]):not([type=checkbox])')].filter((i) => i.value !== i.defaultValue).map((i) => [pathOf(i), i.value]).filter(([p]) => p);
  main.replaceChildren(...fresh.childNodes);
  run = document.getElementById('run'); words = JSON.parse(run.dataset.words); got = now(); ended = false; told = new Set();
  open.forEach((c) => { if (c && !c.includes('stopbox')) { const d = main.querySelector('details.' + c.trim().split(/\s+/).join('.')); if (d) d.open = true; } });
  typed.forEach(([p, v]) => { const i = main.querySelector(p); if (i) i.value = v; });
  const f = focus && main.querySelector(focus);
  if (f) f.focus({ preventScroll: true });
  showing();
  ready();
  away.back();
  away.load();
}
// gist is a page without what changes by itself: the supply, the timer, the clock.
function gist(doc) {
  const r = doc.getElementById('run').cloneNode(true);
  r.querySelectorAll('.supply, .clockbox, .kept-note').forEach((e) => e.remove());
  return r.outerHTML;
}
const word = () => { const s = document.querySelector('.supply'); return s ? s.dataset.word : ''; };
function pathOf(e) {
  if (!e || !e.closest || !e.closest('#main')) return null;
  const card = e.closest('[data-step]'), form = e.closest('form');
  if (!form) return null;
  const by = [...form.querySelectorAll('input[type=hidden]')].filter((i) => ['how', 'outcome', 'watch'].includes(i.name)).map((i) => ':has([name="' + i.name + '"][value="' + CSS.escape(i.value) + '"])').join('');
  return (card ? '[data-step="' + card.dataset.step + '"] ' : '') + 'form[data-event="' + form.dataset.event + '"]' + by + ' ' + (e.tagName === 'BUTTON' ? 'button' : 'input[name="' + CSS.escape(e.name) + '"]');
}

// ---- supply

let silenced = '';
function supplyChanged(was) {
  const w = word();
  if (w === silenced) return;
  silenced = '';
  if (w === 'below' || w === 'stop') cues.cue('below'); else if (w === 'sagging' || w === 'lowest' || w === 'unwatched' && was !== 'typed') cues.cue('attention');
}

// quietly offers to silence an alarm without losing it.
function quietly() {
  const q = document.querySelector('.supply .quiet');
  if (q) { q.hidden = !(['below', 'stop', 'sagging', 'lowest'].includes(word())) || silenced === word(); q.querySelector('button').onclick = () => { silenced = word(); cues.hush(); q.hidden = true; }; }
}

// ---- cues, keys, forms

function ready() {
  tick();
  for (const what of ['sound', 'buzz']) {
    const box = document.getElementById(what);
    if (box) { box.checked = cues.on[what]; box.onchange = () => cues.turn(what, box.checked); }
  }
  quietly();
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
    await away.sent(what.sent.body.payload, what.sent.key);
    if (away.gone) show();
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

let events = null, heard = now();
function listen() {
  if (!('EventSource' in window)) return;
  events = new EventSource(run.dataset.events);
  events.onopen = () => { outbox.heard(true); refresh(); }; // what came while it was cut
  events.addEventListener('change', refresh);
  events.addEventListener('supply', () => { heard = now(); refresh(); });
}
listen();
// Events bring what is new. Without them, and for what grows old by itself (a meter that
// has gone silent, a typed reading past its time), the page is looked at now and then.
const soon = 2000, seldom = 10000; // our choice
let looked = now();
setInterval(() => {
  if (document.hidden || !outbox.reachable()) return;
  const cut = !events || events.readyState !== 1, fed = [...document.querySelectorAll('.supply')].some((s) => s.dataset.age && s.dataset.word !== 'unwatched');
  if (now() - looked < (cut || fed && now() - heard > soon ? soon : seldom)) return;
  looked = now();
  refresh();
}, 1000);

showing();
ready();
