// Number keys for a gloved thumb. Without this script the page has the device's own
// keyboard; with it, the keys are 15 mm and the device's keyboard stays away.
const pad = document.getElementById("pad");
const form = document.getElementById("reading");
const cells = form ? [...form.querySelectorAll("input.value")] : [];
if (pad && cells.length && matchMedia("(pointer: coarse)").matches) {
  let at = Math.max(0, cells.findIndex((c) => c.autofocus));
  const mark = (i) => { at = i; cells.forEach((c, n) => c.classList.toggle("now", n === i)); };
  for (const c of cells) {
    c.inputMode = "none";
    c.addEventListener("focus", () => mark(cells.indexOf(c)));
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
  function press(k) {
    const c = cells[at];
    if (k === "next") { const n = (at + 1) % cells.length; mark(n); cells[n].focus(); return; }
    if (k === "back") c.value = c.value.slice(0, -1);
    else if (k === "−") c.value = c.value.startsWith("-") ? c.value.slice(1) : "-" + c.value;
    else if (k !== "." || !c.value.includes(".")) c.value += k;
    c.focus();
  }
}
