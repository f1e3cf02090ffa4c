// Service worker: keeps the pages of jobs and procedures, and what they are made of,
// so that they can be reloaded while the server is away. The server is asked first,
// always: what is kept is for when it does not answer.
const cache = 'proveout-pages-1', patience = 4000;

self.addEventListener('install', () => self.skipWaiting());
self.addEventListener('activate', (e) => e.waitUntil((async () => {
  for (const k of await caches.keys()) if (k !== cache) await caches.delete(k);
  await self.clients.claim();
})()));

const page = (url) => url.pathname === '/' || /^\/jobs\//.test(url.pathname);
// What is new of a record since then is never kept: an old answer to it says that nothing is.
const part = (url) => url.pathname.startsWith('/assets/') || /\/(samples|table|screen)$/.test(url.pathname) && !url.searchParams.has('after');

self.addEventListener('fetch', (e) => {
  const url = new URL(e.request.url);
  if (e.request.method !== 'GET' || url.origin !== location.origin) return;
  if (url.pathname.startsWith('/assets/~') || url.pathname.startsWith('/assets/') && url.searchParams.has('v')) { e.respondWith(once(e.request)); return; }
  if (page(url) && e.request.mode === 'navigate' || part(url)) e.respondWith(serverFirst(e.request, e));
});

// once: an asset with its version in its address never changes.
async function once(req) {
  const c = await caches.open(cache), has = await c.match(req);
  if (has) return has;
  const res = await fetch(req);
  if (res.ok) await c.put(req, res.clone());
  return res;
}

async function serverFirst(req, e) {
  const c = await caches.open(cache);
  const asked = fetch(req).then((res) => {
    if (res.ok && !res.redirected) e.waitUntil(c.put(req, res.clone()).then(() => trim(c)));
    return res;
  });
  const late = new Promise((resolve) => setTimeout(resolve, patience, null));
  try {
    const res = await Promise.race([asked, late]);
    if (res) return res;
    const has = await c.match(req, { ignoreVary: true });
    return has || await asked;
  } catch (err) {
    const has = await c.match(req, { ignoreVary: true });
    if (has) return has;
    throw err;
  }
}

// trim: the last 300 answers are enough for a day's jobs.
async function trim(c) {
  const keys = await c.keys();
  for (const k of keys.slice(0, Math.max(0, keys.length - 300))) await c.delete(k);
}

// A page that was loaded before the worker was there asks to be kept.
self.addEventListener('message', (e) => {
  if (!e.data || !e.data.keep) return;
  e.waitUntil((async () => {
    const c = await caches.open(cache), url = new URL(e.data.keep, location.origin);
    if (!page(url)) return;
    const res = await fetch(url.pathname, { headers: { Accept: 'text/html' } });
    if (res.ok && !res.redirected) await c.put(url.pathname, res);
  })());
});
