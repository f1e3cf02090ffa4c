// The step line and the two sides, drawn on the device while the server is away: the same
// squares and words that the server draws (procedure_view.go), from the state here.
const IDLE = 0, DOING = 1, WAITED = 3, DONE = 4;
const perRow = 11, wide = 30, tall = 56;
const ns = 'http://www.w3.org/2000/svg';
const make = (tag, props, ...kids) => { const e = Object.assign(document.createElement(tag), props); e.append(...kids); return e; };
const draw = (tag, attrs, ...kids) => { const e = document.createElementNS(ns, tag); Object.entries(attrs).forEach(([k, v]) => e.setAttribute(k, v)); e.append(...kids); return e; };
const fill = (s, ...a) => a.reduce((t, v, i) => t.replaceAll('{' + (i + 1) + '}', v), s || '');

// stepLine gives the box with the line: squares of the steps that apply, the one at hand
// numbered, a frame round the stretches inside which the vehicle may not be left.
export function stepLine(table, v, unsafe, words) {
  const shown = table.steps.map((st, i) => i).filter((i) => table.steps[i].kind !== 'recovery' && !v.steps[i].skipped);
  if (!shown.length) return null;
  const rows = Math.ceil(shown.length / perRow), w = perRow * wide + 8, h = rows * tall + 4;
  const svg = draw('svg', { class: 'plot rail', viewBox: `0 0 ${w} ${h}`, role: 'img' });
  const boxes = [];
  let open = false;
  shown.forEach((i, k) => {
    const bad = unsafe.has(table.steps[i].id);
    if (bad && open) boxes[boxes.length - 1][1] = k + 1; else if (bad) boxes.push([k + 1, k + 1]);
    open = bad;
  });
  for (const [from, to] of boxes) for (let r = Math.floor((from - 1) / perRow); r <= Math.floor((to - 1) / perRow); r++) {
    const a = Math.max(from - 1, r * perRow), b = Math.min(to - 1, r * perRow + perRow - 1);
    svg.append(draw('rect', { x: (a - r * perRow) * wide + 4, y: r * tall + 6, width: (b - a + 1) * wide, height: 44, class: 'box' }));
  }
  for (let r = 0; r < rows; r++) {
    const y = r * tall + 28, last = Math.min(perRow, shown.length - r * perRow);
    svg.append(draw('line', { x1: wide / 2 + 4, x2: (last - 1) * wide + wide / 2 + 4, y1: y, y2: y, class: 'dimline' }));
  }
  let at = 0;
  shown.forEach((i, k) => {
    const p = v.steps[i].phase, x = (k % perRow) * wide + wide / 2 + 4, y = Math.floor(k / perRow) * tall + 28, active = p >= DOING && p <= WAITED;
    if (active || (!at && p === IDLE && v.open.includes(table.steps[i].id))) {
      at = at || k + 1;
      svg.append(draw('rect', { x: x - 15, y: y - 15, width: 30, height: 30, class: 'now' }), draw('text', { x, y: y + 6, 'text-anchor': 'middle', 'font-weight': 800 }, String(k + 1)));
    } else svg.append(draw('rect', { x: x - 6, y: y - 6, width: 12, height: 12, class: p === DONE ? 'done' : 'open' }));
  });
  const said = boxes.map(([a, b]) => a === b ? fill(words['line.box_at'], a) : fill(words['line.box'], a, b));
  svg.setAttribute('aria-label', [fill(words['line.at'], at, shown.length), ...said].join(' '));
  const box = make('div', { className: 'railbox' }, svg);
  if (boxes.length) {
    const key = make('span', { className: 'boxkey' });
    key.setAttribute('aria-hidden', 'true');
    box.append(make('p', { className: 'note' }, key, ' ' + words.boxed));
  }
  return box;
}

// sides gives the panel of left and right: what is known of each, and by which means.
export function sides(table, state, v, words) {
  const panels = [];
  for (const side of ['left', 'right']) {
    const list = make('ul', {});
    table.facts.forEach((f, k) => {
      if (f.reading || !f.id.endsWith('.' + side)) return;
      const now = state.fact[k], known = now !== 0;
      const by = table.steps.findIndex((st, i) => v.steps[i].phase === DONE && v.steps[i].given && st.sets.some(([fact, value]) => fact === k && value === now));
      const how = by < 0 ? [] : table.steps[by].means.filter((m, n) => v.steps[by].given >> n & 1).map((m) => words['how.' + m.how]);
      const p = make('p', {}, make('span', { lang: 'en', textContent: f.say[now] }));
      if (!known) p.append(' ', make('span', { className: 'note', textContent: words.unknown }));
      if (known && how.length) p.append(make('span', { className: 'note', textContent: ' ' + how.join(' ') }));
      list.append(make('li', {}, square(known ? 'done' : 'open'), p));
    });
    if (!list.childElementCount) continue;
    const s = make('section', { className: 'sd' }, make('h2', { textContent: words['side.' + side] }), list);
    s.setAttribute('aria-label', words['side.' + side]);
    panels.push(s);
  }
  return panels.length ? make('div', { className: 'sides' }, ...panels) : null;
}

// square is the mark of what is done or open, as the server draws it.
function square(look) {
  const e = make('span', { className: 'sq' + (look === 'done' ? ' full' : '') });
  e.setAttribute('aria-hidden', 'true');
  return e;
}
