// Keeps a page true while others work on the same job: it hears of changes and puts
// the new parts in the place of the old ones. A part in which somebody is typing is
// left alone until they are done. Forms go out without leaving the page; when the
// server cannot be reached, they wait in the outbox.
import * as outbox from "./outbox.js";

const parts = () => [...document.querySelectorAll("main [data-live]")];
const busy = (part) => {
  const at = document.activeElement;
  return part.contains(at) && /^(INPUT|TEXTAREA|SELECT)$/.test(at.tagName) && !["radio", "checkbox", "hidden"].includes(at.type);
};
let seen = new Map(parts().map((p) => [p.id, p.innerHTML]));

// swap puts the parts of another rendering of this page in place. What was unfolded
// stays unfolded, and the focus stays where it was.
function swap(doc) {
  const focus = document.activeElement && document.activeElement.id;
  for (const old of parts()) {
    const fresh = doc.getElementById(old.id);
    if (!fresh || fresh.innerHTML === seen.get(old.id) || busy(old)) continue;
    const open = [...old.querySelectorAll("details[open] > summary")].map((s) => s.textContent.trim().replace(/[\d.,]+/g, "#"));
    const copy = document.importNode(fresh, true);
    seen.set(old.id, fresh.innerHTML);
    old.replaceWith(copy);
    for (const s of copy.querySelectorAll("summary")) if (open.includes(s.textContent.trim().replace(/[\d.,]+/g, "#"))) s.parentElement.open = true;
  }
  const saved = doc.getElementById("saved"), here = document.getElementById("saved");
  if (saved && here) here.textContent = saved.textContent;
  if (focus) document.getElementById(focus)?.focus({ preventScroll: true });
}

let tag = "", fetching = null, again = false;
async function refresh() {
  if (fetching) { again = true; return fetching; }
  fetching = (async () => {
    do {
      again = false;
      try {
        const res = await fetch(location.pathname + location.search, { headers: { Accept: "text/html", ...(tag ? { "If-None-Match": tag } : {}) } });
        if (res.ok) { tag = res.headers.get("ETag") || ""; swap(new DOMParser().parseFromString(await res.text(), "text/html")); }
      } catch (err) { return; /* the outbox says that the server is away */ }
    } while (again);
  })().finally(() => { fetching = null; });
  return fetching;
}

// Events: the browser reconnects by itself; on each new connection the page is looked
// at once, since something may have happened meanwhile.
const stream = document.querySelector("[data-events]")?.dataset.events;
if (stream) {
  let source = null;
  const connect = () => {
    source = new EventSource(stream);
    source.addEventListener("change", () => refresh());
    source.addEventListener("open", () => refresh());
  };
  connect();
  addEventListener("pagehide", () => source.close());
  addEventListener("pageshow", (e) => { if (e.persisted) { connect(); refresh(); } });
}

// Forms of the page: sent without leaving it. A second tap while the first is on its
// way does nothing.
document.addEventListener("submit", async (e) => {
  const form = e.target;
  if (form.method !== "post" || form.matches("[data-keep], .look") || !form.closest("[data-live]")) return;
  e.preventDefault();
  if (form.dataset.sending) return;
  form.dataset.sending = "1";
  const button = e.submitter;
  button?.setAttribute("aria-disabled", "true");
  const data = new FormData(form, button || undefined);
  try {
    const res = await fetch(form.action, { method: "POST", body: new URLSearchParams(data), headers: { Accept: "text/html" } });
    const doc = new DOMParser().parseFromString(await res.text(), "text/html");
    if (res.ok && res.url.split("#")[0] === location.href.split("#")[0]) {
      document.activeElement?.blur();
      swap(doc);
    } else if (res.ok) {
      location.assign(res.url);
    } else {
      // A question (who?) or a problem: the answer takes the place of the page.
      document.querySelector("main").replaceWith(document.importNode(doc.querySelector("main"), true));
      document.querySelector("main h1")?.scrollIntoView();
      (document.querySelector("main input:not([type=hidden])") || document.querySelector("main a"))?.focus();
    }
  } catch (err) {
    await outbox.put({ url: form.action, form: true, body: new URLSearchParams(data).toString(), label: button?.textContent.trim() || "" });
    outbox.heard(false);
  } finally {
    delete form.dataset.sending;
    button?.removeAttribute("aria-disabled");
  }
});

// Keys: n next action, e add evidence, [ and ] part by part. Off while typing.
document.addEventListener("keydown", (e) => {
  if (e.ctrlKey || e.metaKey || e.altKey || e.defaultPrevented || /^(INPUT|TEXTAREA|SELECT)$/.test(e.target.tagName)) return;
  const go = (el) => { if (el) { e.preventDefault(); el.scrollIntoView({ block: "start" }); el.focus({ preventScroll: true }); } };
  if (e.key === "n") go(document.querySelector(".main-acts .act"));
  if (e.key === "e") go(document.querySelector("#evidence .mact .act"));
  if (e.key === "[" || e.key === "]") {
    const all = [...document.querySelectorAll("main section.part")];
    const now = all.findIndex((s) => s.getBoundingClientRect().bottom > 4);
    const to = all[Math.max(0, Math.min(all.length - 1, now + (e.key === "]" ? 1 : -1)))];
    if (to) { to.tabIndex = -1; go(to); }
  }
});
