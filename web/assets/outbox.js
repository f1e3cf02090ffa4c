// What a person does goes through here: it is written to this device's own disk first,
// then sent, in the order it was done, and taken out only when the server has said that
// it is safe. Without the server it waits; nothing is lost when the page is closed.
//
// Nothing here needs a secure page: no randomUUID, no subtle, no locks. Where the
// browser has no IndexedDB (some private windows) the list is kept in memory only, and
// durable() says so.

const name = 'proveout', version = 1;
const open = new Promise((resolve) => {
  let req;
  try { req = indexedDB.open(name, version); } catch (err) { resolve(null); return; }
  req.onupgradeneeded = () => {
    req.result.createObjectStore('outbox', { keyPath: 'id', autoIncrement: true });
    req.result.createObjectStore('kept');
  };
  req.onsuccess = () => resolve(req.result);
  req.onerror = req.onblocked = () => resolve(null);
});
const memory = { outbox: new Map(), kept: new Map(), id: 0 };

const done = (req) => new Promise((resolve, reject) => { req.onsuccess = () => resolve(req.result); req.onerror = () => reject(req.error); });

// durable reports whether what is put here outlives the page.
export const durable = async () => (await open) !== null;

// random gives n bytes in hex. getRandomValues is there on plain http too.
export function random(n) {
  return [...crypto.getRandomValues(new Uint8Array(n))].map((b) => b.toString(16).padStart(2, '0')).join('');
}

// boot names this page's own clock, which starts with the page and never jumps.
export const boot = 'page-' + random(8);
export const stamp = () => ({ wall: new Date().toISOString(), monotonic_ns: Math.round(performance.now() * 1e6), boot });

// keep and kept hold a page's state by name.
export async function keep(key, value) {
  const db = await open;
  if (!db) { memory.kept.set(key, value); return; }
  const tx = db.transaction('kept', 'readwrite', { durability: 'strict' });
  tx.objectStore('kept').put(value, key);
  await new Promise((resolve, reject) => { tx.oncomplete = resolve; tx.onerror = tx.onabort = () => reject(tx.error); });
}
export async function kept(key) {
  const db = await open;
  return db ? done(db.transaction('kept').objectStore('kept').get(key)) : memory.kept.get(key);
}

// The slip says who has this device unlocked. The server gives it with the badge, and it
// goes beside every tap, so that a tap made without the server is by whom it was and not
// by whoever holds the device later. After 15 idle minutes there is none: the PIN is
// asked for when the tap is sent.
const idle = 15 * 60e3;
async function slip() {
  const has = document.cookie.match(/(?:^|; )slip=([^;]+)/), at = Date.now();
  const s = has ? { value: has[1] } : await kept('slip');
  if (!s || !has && !(at - s.used >= 0 && at - s.used < idle)) return '';
  await keep('slip', { value: s.value, used: at });
  return s.value;
}
// lock forgets it: the device is put down.
export const lock = () => keep('slip', null);

// put writes one request down: {url, body, form, label, job}. body is an object for a
// command, a string for a form. It gets the idempotency key here, once, so that sending
// it twice counts once. It returns when it is on disk.
export async function put(item) {
  const db = await open;
  const it = { ...item, key: item.key || random(16), at: Date.now(), state: 'waiting', stamp: stamp(), slip: await slip() };
  if (!db) { it.id = ++memory.id; memory.outbox.set(it.id, it); changed(); return it; }
  const tx = db.transaction(['outbox', 'kept'], 'readwrite', { durability: 'strict' });
  if (!it.form) {
    // The device's own counter: a transaction runs alone, in every window of the device.
    const box = tx.objectStore('kept'), n = ((await done(box.get('n'))) || 0) + 1;
    box.put(n, 'n'); it.n = n;
  }
  it.id = await done(tx.objectStore('outbox').add(it));
  await new Promise((resolve, reject) => { tx.oncomplete = resolve; tx.onerror = tx.onabort = () => reject(tx.error); });
  changed();
  return it;
}

export async function list() {
  const db = await open;
  return db ? done(db.transaction('outbox').objectStore('outbox').getAll()) : [...memory.outbox.values()];
}
async function update(it) {
  const db = await open;
  if (!db) { memory.outbox.set(it.id, it); return; }
  await done(db.transaction('outbox', 'readwrite').objectStore('outbox').put(it));
}
// drop takes an item out: sent, or read and put aside by the person.
export async function drop(id) {
  const db = await open;
  if (!db) memory.outbox.delete(id); else await done(db.transaction('outbox', 'readwrite').objectStore('outbox').delete(id));
  changed();
}

const listeners = new Set();
export function onChange(fn) { listeners.add(fn); return () => listeners.delete(fn); }
function changed(what) { listeners.forEach((fn) => fn(what || {})); }

let running = null, again = false, away = false;
// reachable is the last that was heard of the server.
export const reachable = () => !away;

// flush sends what waits, oldest first. It stops at the first that cannot be sent now:
// the order is kept. One that the server refuses stays in the list with the reason. Two
// windows of one device may both send the list: each keeps the order, and the key makes
// the second of two the same as the first.
export function flush() {
  if (running) { again = true; return running; }
  running = (async () => {
    do { again = false; await pass(); } while (again);
  })().finally(() => { running = null; });
  return running;
}

async function pass() {
  for (const it of (await list()).filter((i) => i.state === 'waiting').sort((a, b) => a.id - b.id)) {
    if (!await send(it)) { retry(); return; }
  }
  wait = 1000;
}

let timer = 0, wait = 1000;
function retry() {
  clearTimeout(timer);
  timer = setTimeout(flush, wait);
  wait = Math.min(15000, wait * 2);
}
addEventListener('online', () => { wait = 1000; flush(); });
document.addEventListener('visibilitychange', () => { if (!document.hidden) { wait = 1000; flush(); } });

// send posts one item. Everything before it has been answered: that is the order kept
// here, and it is told, so that the server waits for nothing that was refused. It is
// true when the item is settled either way.
async function send(it) {
  let res, body;
  const made = { ...it.stamp, now_monotonic_ns: Math.round(performance.now() * 1e6), now_boot: boot, now_wall: new Date().toISOString() };
  const headers = { Accept: 'application/json', 'Idempotency-Key': it.key, 'X-Made': JSON.stringify(made), ...(it.slip ? { 'X-Slip': it.slip } : {}) };
  try {
    if (it.form) res = await post(it.url, it.body, { ...headers, 'Content-Type': 'application/x-www-form-urlencoded' });
    else res = await post(it.url, JSON.stringify({ ...it.body, key: it.key, n: it.n || 0, settled: Math.max(0, (it.n || 0) - 1), ...made }), { ...headers, 'Content-Type': 'application/json' });
    body = await res.json().catch(() => ({}));
  } catch (err) {
    heard(false);
    return false;
  }
  heard(true);
  if (res.status >= 500 || res.status === 429 || res.status === 408) return false;
  // Nobody has unlocked this device: it waits until somebody shows a PIN.
  if (res.status === 403 && String(body.type).endsWith('/locked')) { changed({ locked: true }); return false; }
  if (res.ok) {
    await drop(it.id);
    if (body.conflict && body.conflict.length) changed({ conflict: body, item: it });
    changed({ sent: it, receipt: body });
    return true;
  }
  it.state = 'refused'; it.problem = { title: body.title || String(res.status), detail: body.detail || '', do: body.do || '' };
  await update(it);
  changed({ refused: it });
  return true;
}

function post(url, body, headers) {
  const stop = new AbortController(), t = setTimeout(() => stop.abort(), 15000);
  return fetch(url, { method: 'POST', body, headers, signal: stop.signal, redirect: 'follow' }).finally(() => clearTimeout(t));
}

// heard keeps what is known of the server; every screen asks the same thing.
export function heard(yes) {
  if (away === !yes) return;
  away = !yes;
  changed({ reachable: yes });
  if (yes) flush();
}
