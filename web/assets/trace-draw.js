// Drawing of a trace on a canvas: scales, columns, features marked as on an engineering
// drawing. Pure: everything comes in as arguments, nothing is kept.

// ticks gives round positions between lo and hi, about one for each `every` pixels.
export function ticks(lo, hi, pixels, every) {
  if (!(hi > lo) || !(pixels > 0)) return [];
  const raw = (hi - lo) * every / pixels, mag = Math.pow(10, Math.floor(Math.log10(raw)));
  const step = [1, 2, 5, 10].map((m) => m * mag).find((s) => s >= raw) || 10 * mag;
  const out = [];
  for (let k = Math.ceil(lo / step - 1e-9); k * step <= hi + step * 1e-9; k++) out.push(k * step || 0); // no minus nought
  return Object.assign(out, { step });
}

// timeUnit chooses the unit in which a stretch of seconds reads best.
export function timeUnit(span) {
  if (span >= 600) return { factor: 1 / 60, word: 'min' };
  if (span >= 0.5) return { factor: 1, word: 's' };
  if (span >= 0.5e-3) return { factor: 1e3, word: 'ms' };
  return { factor: 1e6, word: 'µs' };
}

export function number(v, step, lang) {
  const d = Math.max(0, Math.min(9, -Math.floor(Math.log10(Math.abs(step) || 1) + 1e-9)));
  return v.toLocaleString(lang, { minimumFractionDigits: d, maximumFractionDigits: d });
}

// colours reads the tokens in force, so that a canvas follows theme and print.
export function colours(el) {
  const css = getComputedStyle(el), get = (n) => css.getPropertyValue(n).trim();
  return {
    ink: get('--ink'), ink2: get('--ink-2'), paper: get('--paper'), hair: get('--hair-c'), edge: get('--edge-c'),
    odd: get('--found'), sib: get('--sib'), one: get('--ink'), calc: get('--reckon'), focus: get('--focus'),
    font: '16px ' + get('--font-read'),
  };
}

const width = { odd: 2.75, one: 2, sib: 1.25, calc: 2.5 };

// columns draws least and greatest of each column as one line that passes through both.
// Where a column holds one sample it is the plain line through the samples.
export function columns(g, cols, x, y, colour, heavy, clip) {
  g.save();
  g.beginPath(); g.rect(clip.x, clip.y, clip.w, clip.h); g.clip();
  if (cols.perColumn > 4 && x(cols.middle(1)) - x(cols.middle(0)) < 4) { bars(g, cols, x, y, colour, width[heavy] || 2, clip); g.restore(); return; }
  g.strokeStyle = colour; g.lineWidth = width[heavy] || 2; g.lineJoin = 'round';
  g.beginPath();
  let up = false, pen = false;
  for (let k = 0; k < cols.n; k++) {
    const lo = cols.pairs[2 * k], hi = cols.pairs[2 * k + 1];
    if (!(lo <= hi)) { pen = false; continue; } // nothing measured here
    const px = x(cols.middle(k));
    if (px < clip.x - 4 || px > clip.x + clip.w + 4) { pen = false; continue; }
    const a = y(up ? hi : lo), b = y(up ? lo : hi);
    if (pen) g.lineTo(px, a); else g.moveTo(px, a);
    if (Math.abs(a - b) > 0.01) { g.lineTo(px, b); up = !up; } else if (!pen) g.lineTo(px + 0.01, a);
    pen = true;
  }
  g.stroke();
  g.restore();
}

// bars draws dense columns as upright bars that meet their neighbours: the same picture
// as the line through them, for a fraction of the work.
function bars(g, cols, x, y, colour, heavy, clip) {
  g.fillStyle = colour;
  const wide = Math.max(1, x(cols.middle(1)) - x(cols.middle(0))) + 0.5;
  let lastLo = NaN, lastHi = NaN;
  for (let k = 0; k < cols.n; k++) {
    let lo = cols.pairs[2 * k], hi = cols.pairs[2 * k + 1];
    const px = x(cols.middle(k));
    if (!(lo <= hi)) { lastLo = NaN; continue; }
    if (px >= clip.x - 4 && px <= clip.x + clip.w + 4) {
      const a = lastLo === lastLo ? Math.min(lo, lastHi) : lo, b = lastLo === lastLo ? Math.max(hi, lastLo) : hi, top = y(b), tall = Math.max(heavy, y(a) - top);
      g.fillRect(px - wide / 2, top - (tall === heavy ? heavy / 2 : 0), wide, tall);
    }
    lastLo = lo; lastHi = hi;
  }
}

// tiers puts marks that would overlap on dimension lines above each other: each gets
// the lowest line on which it is clear of the others by `gap` pixels.
export function tiers(marks, gap, most) {
  const ends = [];
  return marks.map((m) => {
    for (let k = 0; k < most; k++) {
      if (ends[k] === undefined || ends[k] + gap <= m.x0) { ends[k] = Math.max(m.x1, m.xl); return k; }
    }
    return -1; // no room: left out of the picture, still in the list
  });
}

// dimension draws one mark: extension lines from the trace, the dimension line with
// arrowheads, inward when there is room and outward when there is not, and its letter.
export function dimension(g, m, c, clip) {
  g.save();
  g.beginPath(); g.rect(clip.x, 0, clip.w, clip.y + clip.h); g.clip();
  g.strokeStyle = c.ink; g.fillStyle = c.ink; g.lineWidth = m.on ? 3 : 1.5;
  g.setLineDash([]);
  g.beginPath();
  for (const x of [m.x0, m.x1]) { g.moveTo(x, m.line - 6); g.lineTo(x, m.foot); }
  const wide = m.x1 - m.x0 >= 26;
  if (wide) { g.moveTo(m.x0, m.line); g.lineTo(m.x1, m.line); } else {
    g.moveTo(m.x0 - 22, m.line); g.lineTo(m.x0, m.line); g.moveTo(m.x1, m.line); g.lineTo(m.x1 + 22, m.line);
  }
  g.stroke();
  arrow(g, m.x0, m.line, wide ? 1 : -1); arrow(g, m.x1, m.line, wide ? -1 : 1);
  const r = 13, cx = m.letter;
  g.beginPath(); g.arc(cx, m.line, r, 0, 7); g.fillStyle = m.on ? c.ink : c.paper; g.fill(); g.lineWidth = 2; g.stroke();
  g.fillStyle = m.on ? c.paper : c.ink; g.font = '800 ' + c.font; g.textAlign = 'center'; g.textBaseline = 'middle';
  g.fillText(m.key, cx, m.line + 1);
  g.restore();
}

function arrow(g, x, y, dir) {
  g.beginPath(); g.moveTo(x, y); g.lineTo(x + dir * 10, y - 4); g.lineTo(x + dir * 10, y + 4); g.closePath(); g.fill();
}

// axis draws the frame, the grid and the figures at its edges. Text stands on paper so
// that it stays readable over a trace.
export function axis(g, box, xs, ys, c) {
  g.save();
  g.lineWidth = 1; g.strokeStyle = c.hair; g.fillStyle = c.ink2; g.font = c.font;
  g.beginPath();
  for (const t of xs) { g.moveTo(t.at, box.y); g.lineTo(t.at, box.y + box.h); }
  for (const t of ys) { g.moveTo(box.x, t.at); g.lineTo(box.x + box.w, t.at); }
  g.stroke();
  g.strokeStyle = c.edge; g.strokeRect(box.x + 0.5, box.y + 0.5, box.w - 1, box.h - 1);
  g.restore();
}

export function halo(g, text, x, y, c, align) {
  g.save();
  g.font = c.font; g.textAlign = align || 'left'; g.textBaseline = 'alphabetic';
  g.lineWidth = 6; g.lineJoin = 'round'; g.strokeStyle = c.paper; g.strokeText(text, x, y);
  g.fillStyle = c.ink2; g.fillText(text, x, y);
  g.restore();
}
