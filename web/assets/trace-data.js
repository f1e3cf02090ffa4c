// What a trace is made of: the time of each sample, and the least and greatest values
// of its columns, fetched as they are needed. No drawing here.

// Clock turns sample numbers into seconds and back. knots are pairs [sample, second],
// rising in both; between two knots time runs evenly. A capture with even steps has two
// knots, a log with pauses one pair at each end of a stretch.
export class Clock {
  constructor(knots) { this.knots = knots; }
  get first() { return this.knots[0][1]; }
  get last() { return this.knots[this.knots.length - 1][1]; }
  second(sample) { return this.#between(sample, 0, 1); }
  sample(second) { return this.#between(second, 1, 0); }
  #between(v, a, b) {
    const k = this.knots;
    if (k.length === 1) return k[0][b];
    let lo = 0, hi = k.length - 1;
    while (hi - lo > 1) {
      const mid = (lo + hi) >> 1;
      if (k[mid][a] <= v) lo = mid; else hi = mid;
    }
    const span = k[hi][a] - k[lo][a];
    return span === 0 ? k[lo][b] : k[lo][b] + (v - k[lo][a]) * (k[hi][b] - k[lo][b]) / span;
  }
}

// Columns are least and greatest values of n equal runs of samples from..to-1.
export class Columns {
  constructor(from, to, pairs) { this.from = from; this.to = to; this.pairs = pairs; this.n = pairs.length / 2; }
  // middle is the sample in the middle of column k; of a run of one it is that sample.
  middle(k) { return this.from + (this.to - this.from) * (k + 0.5) / this.n - 0.5; }
  get perColumn() { return this.n ? (this.to - this.from) / this.n : 0; }
  covers(from, to) { return this.from <= from && this.to >= to; }
}

// columnsOf reads the answer of the samples address: float32, least first byte first,
// least and greatest in turn; not-a-number where nothing was measured.
export function columnsOf(buffer, from, to) {
  if (new Uint8Array(new Uint16Array([1]).buffer)[0] === 1) return new Columns(from, to, new Float32Array(buffer));
  const view = new DataView(buffer), out = new Float32Array(buffer.byteLength / 4);
  for (let i = 0; i < out.length; i++) out[i] = view.getFloat32(4 * i, true);
  return new Columns(from, to, out);
}

// Channel fetches columns of one signal. The whole of it is kept once seen, so that
// zooming out never shows nothing; the finest stretch fetched last is kept beside it.
export class Channel {
  constructor(info) {
    this.info = info;
    this.clock = new Clock(info.knots);
    this.shift = info.shift || 0; // seconds that line it up with the others
    this.whole = null;
    this.fine = null;
    this.abort = null;
    this.wanted = '';
  }
  // range gives the samples a stretch of time needs, one more at each end.
  range(t0, t1) {
    const lo = Math.floor(this.clock.sample(t0 + this.shift)) - 1, hi = Math.ceil(this.clock.sample(t1 + this.shift)) + 2;
    return [Math.max(0, lo), Math.min(this.info.samples, Math.max(lo + 1, hi))];
  }
  // best is what can be drawn of a stretch at once.
  best(t0, t1, px) {
    const [from, to] = this.range(t0, t1);
    if (this.fine && this.fine.covers(from, to) && this.fine.perColumn <= 2 * Math.max(1, (to - from) / px)) return this.fine;
    if (this.fine && this.fine.covers(from, to) && this.whole && this.fine.perColumn < this.whole.perColumn) return this.fine;
    return this.whole || this.fine;
  }
  // load fetches a stretch with a quarter more on both sides, at most 2,000 columns.
  // An older request still under way is dropped.
  async load(t0, t1, px) {
    let [from, to] = this.range(t0, t1);
    if (from >= to) return false;
    const need = Math.max(1, (to - from) / px);
    const have = this.fine && this.fine.covers(from, to) ? this.fine : this.whole && this.whole.covers(from, to) ? this.whole : null;
    if (have && (have.perColumn <= need * 1.05 || have.perColumn <= 1)) return false;
    const pad = Math.ceil((to - from) / 4);
    from = Math.max(0, from - pad); to = Math.min(this.info.samples, to + pad);
    const n = Math.min(2000, to - from, Math.ceil(px * (to - from) / Math.max(1, to - from - 2 * pad)));
    const key = from + ' ' + to + ' ' + n;
    if (key === this.wanted) return false;
    this.wanted = key;
    if (this.abort) this.abort.abort();
    this.abort = new AbortController();
    const got = await this.fetch(from, to, n, this.abort.signal);
    if (from === 0 && to === this.info.samples) this.whole = got; else this.fine = got;
    return true;
  }
  async loadWhole(px) {
    if (this.whole) return;
    this.whole = await this.fetch(0, this.info.samples, Math.min(2000, px, this.info.samples));
  }
  // value is the reading of one sample, exactly.
  async value(sample) {
    const i = Math.max(0, Math.min(this.info.samples - 1, Math.round(sample)));
    const c = await this.fetch(i, i + 1, 1);
    return c.pairs[0];
  }
  async fetch(from, to, n, signal) {
    const url = new URL(this.info.url, location.href);
    url.searchParams.set('from', from); url.searchParams.set('to', to); url.searchParams.set('px', n);
    const res = await fetch(url, { signal });
    if (!res.ok) throw new Error('samples: ' + res.status);
    return columnsOf(await res.arrayBuffer(), from, to);
  }
}
