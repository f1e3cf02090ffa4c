// Sends a capture in pieces: progress is shown, a broken connection goes on where it
// stopped, and the page for the columns opens when the file is sealed. Without this
// script the form posts the file at once.
import * as outbox from './outbox.js';

const form = document.getElementById('upload');
const piece = 4 << 20;

if (form) form.addEventListener('submit', async (e) => {
  e.preventDefault();
  const file = form.querySelector('input[type=file]').files[0], button = form.querySelector('button');
  if (!file || form.dataset.busy) return;
  form.dataset.busy = '1';
  button.setAttribute('aria-disabled', 'true');
  const box = document.getElementById('progress'), bar = box.querySelector('progress'), said = box.querySelector('p');
  box.hidden = false;
  const tell = (text, ...a) => { said.textContent = a.reduce((t, v, i) => t.replace('{' + (i + 1) + '}', v), text); };
  const mb = (n) => (n / 1e6).toLocaleString(document.documentElement.lang, { maximumFractionDigits: 1 });
  try {
    const id = (await json('POST', '/api/v1/uploads', { name: file.name, size: file.size })).id;
    let at = 0, wait = 500;
    while (at < file.size) {
      try {
        const res = await fetch('/api/v1/uploads/' + id, { method: 'PATCH', headers: { 'Upload-Offset': at, Accept: 'application/json' }, body: file.slice(at, at + piece) });
        if (!res.ok && res.status !== 409) throw await problem(res);
        at = res.ok ? Math.min(at + piece, file.size) : await offset(id);
        wait = 500;
        bar.value = 100 * at / file.size;
        tell(form.dataset.sending, mb(at), mb(file.size));
      } catch (err) {
        if (err.problem) throw err;
        // The connection broke: nothing that was sent is lost. Ask where to go on.
        outbox.heard(false);
        tell(form.dataset.stopped, mb(at));
        await new Promise((r) => setTimeout(r, wait));
        wait = Math.min(8000, wait * 2);
        try { at = await offset(id); outbox.heard(true); } catch (again) { if (again.problem) throw again; }
      }
    }
    tell(form.dataset.sealed);
    const u = await json('POST', '/api/v1/uploads/' + id + '/finish', {});
    const to = new URL('/jobs/' + form.dataset.job + '/add', location.href);
    to.searchParams.set('sha', u.sha256); to.searchParams.set('name', file.name);
    if (u.known) to.searchParams.set('known', '1');
    if (form.dataset.when) to.searchParams.set('when', form.dataset.when);
    if (+form.dataset.again) to.searchParams.set('again', form.dataset.again);
    location.assign(to);
  } catch (err) {
    tell([err.message, err.todo].filter(Boolean).join(' '));
    delete form.dataset.busy;
    button.removeAttribute('aria-disabled');
  }
});

async function offset(id) {
  const res = await fetch('/api/v1/uploads/' + id, { method: 'HEAD' });
  if (!res.ok) throw await problem(res);
  return +res.headers.get('Upload-Offset');
}
async function json(method, url, body) {
  const res = await fetch(url, { method, headers: { 'Content-Type': 'application/json', Accept: 'application/json' }, body: JSON.stringify(body) });
  if (!res.ok) throw await problem(res);
  return res.json();
}
async function problem(res) {
  const p = await res.json().catch(() => ({}));
  return Object.assign(new Error(p.title || String(res.status)), { problem: true, todo: [p.detail, p.do].filter(Boolean).join(' ') });
}
