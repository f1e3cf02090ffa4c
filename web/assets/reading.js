// Number keys for a gloved thumb. Without this script the page has the device's own
// keyboard; with it, the keys are 15 mm and the device's keyboard stays away.
const pad = document.getElementById("pad");
const form = document.getElementById("reading");
const cells = form ? [...form.querySelectorAll("input.value")] : [];
if (pad && cells.length && matchMedia("(pointer: coarse)").matches) {
  let at = Math.max(0, cells.findIndex((c) => c.autofocus));
  const mark = (i) => { at = i; cells.forEach((c, n) => c.classList.toggle("now", n === i)); };
  // near brings the keys into view below the field that is being typed: on a phone the
  // two stand one above the other.
  const keybox = pad.parentElement;
  const narrow = matchMedia("(max-width: 56.1875em)");
  const fit = (c, first) => {
    if (!narrow.matches || document.activeElement !== c) return;
    const at = c.getBoundingClientRect();
    const over = at.bottom + 8 + keybox.offsetHeight - innerHeight;
    // Back up only as the field is gone to: later, whoever scrolled on meant it.
    if (over > 1 || (first && at.top < 0)) scrollBy({ top: over, behavior: "instant" });
  };
  // A browser scrolls to a field by itself, some a moment later, as if for its own
  // keyboard: looked at again until it has come to rest or a finger moves the page.
  let waits = [], last = null; // last: coming back to the window is no new field
  const rest = () => { waits.forEach(clearTimeout); waits = []; };
  addEventListener("touchmove", rest, { passive: true });
  addEventListener("wheel", rest, { passive: true });
  addEventListener("pointerdown", rest);
  const near = (c) => {
    rest();
    last = c;
    fit(c, true);
    waits = [50, 200, 500].map((ms) => setTimeout(() => fit(c), ms));
  };
  for (const c of cells) {
    c.inputMode = "none";
    c.addEventListener("focus", () => { mark(cells.indexOf(c)); if (last !== c) near(c); });
    c.addEventListener("blur", () => setTimeout(() => { if (last === c && document.activeElement !== c) last = null; }));
  }
  const keys = ["1", "2", "3", "4", "5", "6", "7", "8", "9", ".", "0", "−"];
  if (cells.length > 1) keys.push("next");
  keys.push("back");
  for (const k of keys) {
    const b = document.createElement("button");
    b.type = "button";
    b.className = "act plain" + (k.length > 1 ? " wide" : "");
    b.textContent = k === "next" ? pad.dataset.next : k === "back" ? pad.dataset.back : k;
    b.addEventListener("click", () => press(k));
    pad.append(b);
  }
  pad.hidden = false;
  near(cells[at]); // the field that the browser gives the focus by itself, now or in a moment
  function press(k) {
    const c = cells[at];
    if (k === "next") { const n = (at + 1) % cells.length; mark(n); cells[n].focus(); return; }
    if (k === "back") c.value = c.value.slice(0, -1);
    else if (k === "−") c.value = c.value.startsWith("-") ? c.value.slice(1) : "-" + c.value;
    else if (k !== "." || !c.value.includes(".")) c.value += k;
    c.focus();
  }
}
