// The strip's promise: where and when the work was last saved, what waits on this
// device, and what goes on without the server. Every page has it.
//
// Two tiers. On plain http the open page goes on without the server, but it cannot be
// reloaded. Over TLS of the shop's own authority a service worker keeps the pages too,
// and the screen can be held awake. The tier in force is said in the strip.
import * as outbox from './outbox.js';

const strip = document.getElementById('saved'), tier = document.getElementById('tier'), box = document.getElementById('waiting');
const words = tier ? tier.dataset : {};

const clock = (ms) => new Date(ms).toLocaleTimeString(document.documentElement.lang, { hour: '2-digit', minute: '2-digit', hourCycle: 'h23' });
const fill = (s, ...a) => a.reduce((t, v, i) => t.replaceAll('{' + (i + 1) + '}', v), s || '');

// saved is called when the server has said that something is safe on its disk.
export function saved(at) { if (strip) strip.textContent = clock(at || Date.now()); }

async function show() {
  const items = await outbox.list(), waiting = items.filter((i) => i.state === 'waiting'), refused = items.filter((i) => i.state === 'refused');
  if (tier) {
    tier.classList.toggle('away', !outbox.reachable());
    tier.querySelector('span:last-child').textContent = outbox.reachable() ? tierWords() : fill(words.away, waiting.length);
  }
  if (!box) return;
  box.hidden = waiting.length === 0 && refused.length === 0;
  box.querySelector('.n').textContent = waiting.length ? fill(waiting.length === 1 ? words.waitingOne : words.waitingOther, waiting.length, clock(waiting[0].at)) : '';
  box.querySelector('ul').replaceChildren(...refused.map((it) => {
    const li = document.createElement('li'), p = document.createElement('p'), b = document.createElement('button');
    p.textContent = fill(words.refused, it.label || it.body.type || '', clock(it.at)) + ' ' + [it.problem.title, it.problem.detail, it.problem.do].filter(Boolean).join(' ');
    b.type = 'button'; b.className = 'act plain'; b.textContent = words.read; b.onclick = () => outbox.drop(it.id);
    li.append(p, b);
    return li;
  }));
}

let worker = false;
function tierWords() { return worker ? words.tls : words.http; }

outbox.onChange((what) => { if (what.sent) saved(); show(); });

// A form marked data-keep is sent through the outbox: it is on this device's disk
// before anything else happens, and a page that cannot reach the server says so and
// goes on.
document.addEventListener('submit', async (e) => {
  const form = e.target;
  if (!form.matches('form[data-keep]') || e.defaultPrevented || form.enctype === 'multipart/form-data') return;
  e.preventDefault();
  const data = new FormData(form, e.submitter || undefined);
  const button = e.submitter;
  if (button) button.setAttribute('aria-disabled', 'true');
  const it = await outbox.put({ url: form.action, form: true, key: data.get('key') || undefined, body: new URLSearchParams(data).toString(), label: form.dataset.keep || (button && button.textContent.trim()) || '' });
  const off = outbox.onChange((what) => {
    const settled = what.sent && what.sent.id === it.id, refused = what.refused && what.refused.id === it.id;
    if (!settled && !refused && what.reachable !== false) return;
    off();
    if (button) button.removeAttribute('aria-disabled');
    if (settled) location.assign((what.receipt && what.receipt.next) || form.dataset.next || location.href);
    else if (!refused) { form.reset(); form.dispatchEvent(new CustomEvent('kept', { bubbles: true })); }
  });
  outbox.flush();
});

// A device that is put down writes in nobody's name.
document.addEventListener('submit', (e) => { if (e.target.getAttribute('action') === '/who/lock') outbox.lock(); });

// A page asks now and then whether the server is there; it costs one small request.
async function knock() {
  try {
    const res = await fetch('/alive', { cache: 'no-store', signal: AbortSignal.timeout ? AbortSignal.timeout(5000) : undefined });
    outbox.heard(res.ok);
  } catch (err) { outbox.heard(false); }
}
addEventListener('offline', () => outbox.heard(false));
addEventListener('online', knock);
document.addEventListener('visibilitychange', () => { if (!document.hidden) knock(); });
setInterval(() => { if (!document.hidden) knock(); }, 15000);

// awake holds the screen on while something runs, where the browser may. It is asked
// again when the page comes back: a lock ends when the page is hidden.
let lock = null, wanted = false;
export async function awake(on) {
  wanted = on;
  if (!on) { if (lock) lock.release().catch(() => {}); lock = null; return false; }
  if (!('wakeLock' in navigator) || document.hidden) return false;
  try { lock = await navigator.wakeLock.request('screen'); lock.addEventListener('release', () => { lock = null; }); return true; } catch (err) { return false; }
}
document.addEventListener('visibilitychange', () => { if (!document.hidden && wanted && !lock) awake(true); });

async function start() {
  if ('serviceWorker' in navigator && window.isSecureContext) {
    try { await navigator.serviceWorker.register('/sw.js', { scope: '/' }); await navigator.serviceWorker.ready; worker = true; } catch (err) { worker = false; }
  }
  if (worker && navigator.serviceWorker.controller) navigator.serviceWorker.controller.postMessage({ keep: location.pathname });
  await show();
  outbox.flush();
}
start();
