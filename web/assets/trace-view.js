// <trace-view>: a capture that can be panned, zoomed and measured by touch, mouse or
// keyboard. The page it stands in already shows the first view as a picture and the
// features as a list; this element takes over when it is ready and gives the picture
// back for print. What it draws it fetches as columns of least and greatest values, so
// a capture of a hundred million samples costs no more than a short one.
//
// Its description is JSON in its attribute data-trace:
//   channels: [{name, url, samples, knots, shift, unit, heavy: odd|one|sib, shown}]
//   marks:    [{key, name, channel, from, to}]   samples of its channel, to exclusive
//   from, to: seconds of the first view;   words: texts;   lang
import { Channel } from './trace-data.js';
import * as draw from './trace-draw.js';

const pad = { left: 8, right: 8, bottom: 28 };
const tier = 34; // pixels from one dimension line to the next

class TraceView extends HTMLElement {
  connectedCallback() {
    if (this.canvas) return;
    this.info = JSON.parse(this.dataset.trace);
    this.words = this.info.words;
    this.channels = this.info.channels.map((c) => new Channel(c));
    this.view = [this.info.from, this.info.to];
    this.apart = this.info.apart || false;
    this.cursors = [null, null];
    this.held = 0; // the cursor that moves
    this.on = -1; // the mark that is picked out
    this.build();
    this.listen();
    this.look();
  }

  // bounds is the time all channels together cover.
  get bounds() {
    return [Math.min(...this.channels.map((c) => c.clock.first - c.shift)), Math.max(...this.channels.map((c) => c.clock.last - c.shift))];
  }
  get shown() { return this.channels.filter((c) => c.info.shown !== false); }

  build() {
    const w = this.words, make = (tag, props, ...kids) => { const e = Object.assign(document.createElement(tag), props); e.append(...kids); return e; };
    this.canvas = make('canvas');
    this.stage = make('div', { className: 'stage', tabIndex: 0 }, this.canvas);
    this.stage.setAttribute('role', 'application');
    this.stage.setAttribute('aria-label', w.label);
    this.stage.setAttribute('aria-roledescription', w.role);
    this.readout = make('p', { className: 'readout' });
    this.readout.setAttribute('role', 'status');
    const key = (text, act, label) => { const b = make('button', { type: 'button', className: 'act plain n', textContent: text, onclick: act }); if (label) b.setAttribute('aria-label', label); return b; };
    this.cursorKeys = [0, 1].map((i) => key(i ? 'B' : 'A', () => this.hold(i), i ? w.cursorB : w.cursorA));
    this.apartKey = key(w.apart, () => { this.apart = !this.apart; this.keys(); this.paint(); });
    const group = (...kids) => make('div', { className: 'acts' }, ...kids);
    this.bar = make('div', { className: 'bar2 tracebar' },
      group(key('+', () => this.zoom(0.5), w.zoomIn), key('−', () => this.zoom(2), w.zoomOut), key('◂', () => this.pan(-0.25), w.left), key('▸', () => this.pan(0.25), w.right), key(w.whole, () => this.show(...this.bounds))),
      group(...this.cursorKeys, key('✕', () => this.clear(), w.clear)),
      this.channels.length > 1 ? group(this.apartKey) : '');
    this.bar.setAttribute('role', 'group'); this.bar.setAttribute('aria-label', w.controls);
    const help = make('p', { className: 'note keys', id: this.id + '-keys', textContent: w.keys });
    this.stage.setAttribute('aria-describedby', help.id);
    const first = this.querySelector('.first');
    if (first) first.after(this.stage, this.readout, this.bar, help); else this.prepend(this.stage, this.readout, this.bar, help);
    this.classList.add('live');
    this.keys();
  }

  keys() {
    this.cursorKeys.forEach((b, i) => b.setAttribute('aria-pressed', String(this.held === i)));
    this.apartKey.setAttribute('aria-pressed', String(this.apart));
    this.stage.style.minHeight = this.apart ? 110 * this.shown.length + 60 + 'px' : '';
  }

  listen() {
    new ResizeObserver(() => this.look()).observe(this.stage);
    new MutationObserver(() => this.paint()).observe(document.documentElement, { attributes: true, attributeFilter: ['data-theme'] });
    matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => this.paint());
    addEventListener('beforeprint', () => this.toPicture());
    this.stage.addEventListener('keydown', (e) => this.key(e));
    this.stage.addEventListener('wheel', (e) => {
      // The page scrolls under a wheel until the trace is chosen.
      if (!e.ctrlKey && document.activeElement !== this.stage) return;
      e.preventDefault();
      if (e.shiftKey || Math.abs(e.deltaX) > Math.abs(e.deltaY)) this.pan((e.deltaX || e.deltaY) / this.box.w);
      else this.zoom(Math.exp(Math.sign(e.deltaY) * Math.min(0.5, Math.abs(e.deltaY) / 300)), this.timeAt(e));
    }, { passive: false });
    this.touch();
    document.querySelectorAll('[data-mark]').forEach((b) => b.addEventListener('click', (e) => { e.preventDefault(); this.pick(this.info.marks.findIndex((m) => m.key === b.dataset.mark)); }));
    const table = this.querySelector('details.astable');
    if (table) table.addEventListener('toggle', () => this.table());
  }

  // touch: one finger pans, two pinch, a tap places the cursor that is held.
  touch() {
    const at = new Map();
    let start = null, moved = false;
    const begin = () => { const p = [...at.values()]; start = { view: [...this.view], p: p.map((q) => q.x) }; };
    this.stage.addEventListener('pointerdown', (e) => {
      if (e.button) return;
      this.stage.setPointerCapture(e.pointerId);
      if (!at.size) moved = false;
      at.set(e.pointerId, { x: this.x(e) }); begin();
    });
    this.stage.addEventListener('pointermove', (e) => {
      if (!at.has(e.pointerId)) return;
      at.set(e.pointerId, { x: this.x(e) });
      const now = [...at.values()].map((q) => q.x), [t0, t1] = start.view, per = (t1 - t0) / this.box.w;
      if (now.length === 1) {
        const dx = now[0] - start.p[0];
        if (!moved && Math.abs(dx) < 8) return;
        moved = true;
        this.show(t0 - dx * per, t1 - dx * per);
      } else if (now.length === 2 && start.p.length === 2) {
        moved = true;
        const was = Math.max(20, Math.abs(start.p[1] - start.p[0])), is = Math.max(20, Math.abs(now[1] - now[0])), k = was / is;
        const held = t0 + ((start.p[0] + start.p[1]) / 2 - this.box.x) * per, mid = (now[0] + now[1]) / 2;
        const n0 = held - (mid - this.box.x) * per * k;
        this.show(n0, n0 + (t1 - t0) * k);
      }
    });
    const end = (e) => {
      if (!at.delete(e.pointerId)) return;
      if (!at.size && !moved && e.type === 'pointerup') { this.stage.focus(); this.place(this.held, this.timeAt(e)); }
      if (at.size) begin();
    };
    this.stage.addEventListener('pointerup', end);
    this.stage.addEventListener('pointercancel', end);
  }
  x(e) { return e.clientX - this.canvas.getBoundingClientRect().left; }
  timeAt(e) { return this.view[0] + (this.x(e) - this.box.x) / this.box.w * (this.view[1] - this.view[0]); }

  key(e) {
    if (e.altKey || e.metaKey || e.ctrlKey) return;
    const span = this.view[1] - this.view[0], step = (e.shiftKey ? 0.1 : 0.01) * span;
    const moveCursor = (d) => this.place(this.held, (this.cursors[this.held] ?? (this.view[0] + span / 2)) + d);
    const act = {
      ArrowLeft: () => this.pan(e.shiftKey ? -0.9 : -0.2), ArrowRight: () => this.pan(e.shiftKey ? 0.9 : 0.2),
      ArrowUp: () => this.zoom(0.5), ArrowDown: () => this.zoom(2), '+': () => this.zoom(0.5), '=': () => this.zoom(0.5), '-': () => this.zoom(2),
      Home: () => this.show(this.bounds[0], this.bounds[0] + span), End: () => this.show(this.bounds[1] - span, this.bounds[1]), 0: () => this.show(...this.bounds),
      a: () => this.hold(0), b: () => this.hold(1), ',': () => moveCursor(-step), '.': () => moveCursor(step), '<': () => moveCursor(-step), '>': () => moveCursor(step), ';': () => moveCursor(-step), ':': () => moveCursor(step),
      m: () => this.pick(this.next(1)), M: () => this.pick(this.next(-1)), Escape: () => this.clear(),
    }[e.key];
    if (!act) return;
    e.preventDefault(); e.stopPropagation(); // the page's own keys stay out of it
    act();
  }
  next(d) { const n = this.info.marks.length; return n ? (this.on + d + n) % n : -1; }

  hold(i) {
    this.held = i;
    if (this.cursors[i] === null) this.place(i, this.view[0] + (this.view[1] - this.view[0]) * (i ? 2 / 3 : 1 / 3));
    this.keys(); this.stage.focus({ preventScroll: true });
  }
  clear() { this.cursors = [null, null]; this.on = -1; this.readout.textContent = ''; this.paint(); }

  pan(part) { const d = (this.view[1] - this.view[0]) * part; this.show(this.view[0] + d, this.view[1] + d); }
  zoom(k, at) {
    const [t0, t1] = this.view;
    const about = at ?? this.cursors[this.held] ?? (t0 + t1) / 2, m = about >= t0 && about <= t1 ? about : (t0 + t1) / 2;
    this.show(m - (m - t0) * k, m + (t1 - m) * k);
  }
  // show moves the view, within what was captured and no closer than eight samples.
  show(t0, t1) {
    const [b0, b1] = this.bounds, least = Math.min(b1 - b0, 8 * this.step());
    let span = Math.min(b1 - b0, Math.max(least, t1 - t0));
    const mid = (t0 + t1) / 2;
    t0 = Math.min(Math.max(b0, mid - span / 2), b1 - span);
    this.view = [t0, t0 + span];
    this.look();
  }
  step() { const c = this.channels[0], k = c.clock.knots; return (k[k.length - 1][1] - k[0][1]) / Math.max(1, c.info.samples - 1); }

  // pick brings a mark into view, a fifth of the width across, and reads it out.
  pick(i) {
    const m = this.info.marks[i];
    if (!m) return;
    this.on = i;
    const c = this.channels[m.channel], t0 = c.clock.second(m.from) - c.shift, t1 = c.clock.second(m.to) - c.shift, w = Math.max(t1 - t0, 4 * this.step());
    const span = this.view[1] - this.view[0];
    if (t0 < this.view[0] || t1 > this.view[1] || w < span / 40 || w > span) this.show(t0 - 2 * w, t1 + 2 * w); else this.paint();
    this.cursors = [t0, t1];
    this.tell(m.key + '  ' + m.name + '. ');
    this.paint();
  }

  async place(i, t) {
    const [b0, b1] = this.bounds;
    this.cursors[i] = Math.min(b1, Math.max(b0, t));
    if (this.cursors[i] < this.view[0] || this.cursors[i] > this.view[1]) this.pan((this.cursors[i] - (this.view[0] + this.view[1]) / 2) / (this.view[1] - this.view[0]));
    this.paint();
    await this.tell('');
  }

  // tell writes time and value at each cursor, and the difference, from the samples
  // themselves and not from the picture.
  async tell(lead) {
    const turn = this.turn = (this.turn || 0) + 1, c = this.shown.find((k) => k.info.heavy !== 'sib') || this.shown[0], [a, b] = this.cursors;
    const u = draw.timeUnit(a !== null && b !== null ? Math.abs(b - a) || this.view[1] - this.view[0] : this.view[1] - this.view[0]);
    let va, vb;
    try {
      [va, vb] = await Promise.all([a, b].map((t) => t === null ? null : c.value(c.clock.sample(t + c.shift))));
    } catch (err) { va = vb = NaN; }
    if (turn !== this.turn) return;
    const time = (t) => (t * u.factor).toLocaleString(this.info.lang, { maximumSignificantDigits: 6 }) + ' ' + u.word;
    const val = (v) => Number.isNaN(v) ? this.words.none : (v * (c.info.factor || 1)).toLocaleString(this.info.lang, { maximumSignificantDigits: 4 }) + ' ' + c.info.unit;
    const out = [];
    if (a !== null) out.push('A ' + time(a) + ', ' + val(va));
    if (b !== null) out.push('B ' + time(b) + ', ' + val(vb));
    if (a !== null && b !== null) {
      out.push(this.words.difference + ' ' + time(b - a) + ', ' + val(vb - va));
      if (b !== a) out.push(this.words.per + ' ' + (1 / Math.abs(b - a)).toLocaleString(this.info.lang, { maximumSignificantDigits: 4 }) + ' Hz');
    }
    this.readout.textContent = lead + (out.length ? c.info.name + ': ' + out.join(' · ') : '');
  }

  // look draws at once with what is there, and fetches what is missing.
  look() {
    this.paint();
    clearTimeout(this.later);
    this.later = setTimeout(() => this.load(), this.loaded ? 40 : 0);
  }
  async load() {
    this.loaded = true;
    const px = Math.max(1, Math.min(2000, Math.round(this.canvas.width)));
    const jobs = this.shown.map(async (c) => {
      try { if (await c.load(...this.view, px)) this.paint(); await c.loadWhole(px); } catch (err) {
        if (err.name !== 'AbortError') { c.wanted = ''; this.trouble(); }
      }
    });
    await Promise.all(jobs);
    this.paint(); this.table();
    this.dispatchEvent(new CustomEvent('trace-drawn', { bubbles: true }));
  }
  trouble() { this.readout.textContent = this.words.away; }

  // scale of values: one for all channels, over everything measured, so that a zoom
  // never makes a small thing look large.
  scale() {
    let lo = Infinity, hi = -Infinity;
    for (const c of this.shown) {
      const cols = c.whole || c.fine;
      if (!cols) continue;
      const p = cols.pairs;
      for (let k = 0; k < p.length; k += 2) { if (p[k] < lo) lo = p[k]; if (p[k + 1] > hi) hi = p[k + 1]; }
    }
    if (!(lo <= hi)) return [0, 1];
    const m = (hi - lo || 1) * 0.04;
    return [lo - m, hi + m];
  }

  paint() {
    if (this.frame) return;
    this.frame = requestAnimationFrame(() => { this.frame = 0; this.render(); });
  }

  render() {
    const w = this.stage.clientWidth, h = this.stage.clientHeight, dpr = Math.min(2, devicePixelRatio || 1);
    if (!w || !h) return;
    if (this.canvas.width !== Math.round(w * dpr) || this.canvas.height !== Math.round(h * dpr)) {
      this.canvas.width = Math.round(w * dpr); this.canvas.height = Math.round(h * dpr);
    }
    const g = this.canvas.getContext('2d'), c = draw.colours(this), shown = this.shown;
    g.setTransform(dpr, 0, 0, dpr, 0, 0);
    g.clearRect(0, 0, w, h);
    const [t0, t1] = this.view, box = this.box = { x: pad.left, y: 0, w: w - pad.left - pad.right, h: 0 };
    const x = (t) => box.x + (t - t0) / (t1 - t0) * box.w;
    const marks = this.visible(x, box);
    const rows = marks.reduce((n, m) => Math.max(n, m.tier + 1), 0);
    box.y = 8 + rows * tier; box.h = h - box.y - pad.bottom;
    const [lo, hi] = this.scale(), lanes = this.apart ? shown.length : 1;
    const lane = (k) => ({ x: box.x, y: box.y + box.h * (this.apart ? k : 0) / lanes, w: box.w, h: box.h / lanes - (lanes > 1 ? 6 : 0) });
    const yIn = (l) => (v) => l.y + l.h - (v - lo) / (hi - lo) * l.h;
    const u = draw.timeUnit(t1 - t0), tx = draw.ticks(t0 * u.factor, t1 * u.factor, box.w, 110);
    const f = shown[0] ? shown[0].info.factor || 1 : 1, unit = shown[0] ? shown[0].info.unit : '';
    for (let k = 0; k < lanes; k++) {
      const l = lane(k), ty = draw.ticks(lo * f, hi * f, l.h, 64);
      draw.axis(g, l, tx.map((t) => ({ at: x(t / u.factor) })), ty.map((v) => ({ at: yIn(l)(v / f) })), c);
      const these = this.apart ? [shown[k]] : [...shown].sort((a, b) => (a.info.heavy === 'sib' ? 0 : 1) - (b.info.heavy === 'sib' ? 0 : 1));
      for (const ch of these) {
        const cols = ch.best(t0, t1, box.w);
        if (cols) draw.columns(g, cols, (i) => x(ch.clock.second(i) - ch.shift), yIn(l), c[ch.info.heavy] || c.ink, ch.info.heavy, l);
      }
      ty.forEach((v, i) => draw.halo(g, draw.number(v, ty.step, this.info.lang) + (i === ty.length - 1 ? ' ' + unit : ''), l.x + 6, yIn(l)(v / f) - 5, c));
      if (this.apart || lanes === 1 && shown.length === 1) draw.halo(g, shown[k].info.name, l.x + l.w - 6, l.y + 20, c, 'right');
    }
    tx.forEach((t, i) => draw.halo(g, draw.number(t, tx.step, this.info.lang) + (i === tx.length - 1 ? ' ' + u.word : ''), Math.min(x(t / u.factor), box.x + box.w - 60), h - 8, c, 'left'));
    for (const m of marks) if (m.tier >= 0) draw.dimension(g, { ...m, line: box.y - 18 - m.tier * tier, foot: box.y + box.h }, c, { ...box });
    this.cursors.forEach((t, i) => { if (t !== null && t >= t0 && t <= t1) this.cursor(g, x(t), box, i ? 'B' : 'A', c, this.held === i); });
  }

  cursor(g, x, box, letter, c, held) {
    g.save();
    g.strokeStyle = c.ink; g.lineWidth = held ? 3 : 2; g.setLineDash(letter === 'A' ? [] : [8, 5]);
    g.beginPath(); g.moveTo(x, box.y); g.lineTo(x, box.y + box.h); g.stroke();
    g.setLineDash([]); g.fillStyle = c.ink; g.fillRect(x - 13, box.y + box.h - 28, 26, 26);
    g.fillStyle = c.paper; g.font = '800 ' + c.font; g.textAlign = 'center'; g.textBaseline = 'middle'; g.fillText(letter, x, box.y + box.h - 14);
    g.restore();
  }

  // visible gives the marks in view that are wide enough to be drawn, each on its line.
  // At most four lines: the rest stay in the list below.
  visible(x, box) {
    const out = [];
    this.info.marks.forEach((m, i) => {
      const ch = this.channels[m.channel];
      if (ch.info.shown === false) return;
      const x0 = x(ch.clock.second(m.from) - ch.shift), x1 = x(ch.clock.second(m.to) - ch.shift), wide = x1 - x0 >= 26;
      if (x1 < box.x || x0 > box.x + box.w || x1 - x0 < 2 && i !== this.on) return;
      const letter = wide ? (Math.max(x0, box.x) + Math.min(x1, box.x + box.w)) / 2 : x1 + 36;
      out.push({ x0, x1, xl: letter + 14, letter, key: m.letter || m.key, on: i === this.on });
    });
    out.sort((a, b) => (b.on - a.on) || a.x0 - b.x0);
    const first = out.length && out[0].on ? out.shift() : null;
    const rows = draw.tiers(out, 20, first ? 3 : 4);
    out.forEach((m, k) => { m.tier = rows[k] < 0 ? -1 : rows[k] + (first ? 1 : 0); });
    if (first) { first.tier = 0; out.push(first); }
    return out;
  }

  // table fills the table of the view: twenty stretches, least and greatest of each.
  table() {
    const d = this.querySelector('details.astable');
    if (!d || !d.open) return;
    const body = d.querySelector('tbody'), [t0, t1] = this.view, n = 20, u = draw.timeUnit(t1 - t0);
    const fmt = (v, f) => Number.isFinite(v) ? (v * f).toLocaleString(this.info.lang, { maximumSignificantDigits: 4 }) : this.words.none;
    body.replaceChildren(...Array.from({ length: n }, (_, k) => {
      const a = t0 + (t1 - t0) * k / n, b = t0 + (t1 - t0) * (k + 1) / n, tr = document.createElement('tr'), th = document.createElement('th');
      th.scope = 'row'; th.textContent = fmt(a, u.factor) + ' – ' + fmt(b, u.factor) + ' ' + u.word; tr.append(th);
      for (const c of this.channels) {
        const td = document.createElement('td'), cols = c.best(t0, t1, this.canvas.width);
        let lo = Infinity, hi = -Infinity;
        if (cols) for (let i = 0; i < cols.n; i++) { const t = c.clock.second(cols.middle(i)) - c.shift; if (t >= a && t < b) { if (cols.pairs[2 * i] < lo) lo = cols.pairs[2 * i]; if (cols.pairs[2 * i + 1] > hi) hi = cols.pairs[2 * i + 1]; } }
        const f = c.info.factor || 1;
        td.className = 'num'; td.textContent = lo <= hi ? fmt(lo, f) + ' … ' + fmt(hi, f) + ' ' + c.info.unit : this.words.none; tr.append(td);
      }
      return tr;
    }));
  }

  // toPicture puts the present view into the picture the page came with, for print.
  toPicture() {
    const svg = this.querySelector('.first svg[data-inner]');
    if (!svg) return;
    const [t0, t1] = this.view, [lo, hi] = this.scale();
    svg.querySelectorAll('path[data-channel]').forEach((p) => {
      const c = this.channels[+p.dataset.channel], cols = c && c.best(t0, t1, 800);
      if (!cols) return;
      let d = '';
      for (let k = 0; k < cols.n; k++) {
        const a = cols.pairs[2 * k], b = cols.pairs[2 * k + 1], px = (c.clock.second(cols.middle(k)) - c.shift - t0) / (t1 - t0) * 1600;
        if (!(a <= b) || px < -2 || px > 1602) continue;
        d += (d ? 'L' : 'M') + px.toFixed(1) + ' ' + (800 - (a - lo) / (hi - lo) * 800).toFixed(1) + 'V' + (800 - (b - lo) / (hi - lo) * 800).toFixed(1);
      }
      p.setAttribute('d', d);
    });
  }
}
customElements.define('trace-view', TraceView);
