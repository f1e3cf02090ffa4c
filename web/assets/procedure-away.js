// A run of a procedure while the server is away. The page has the state table and the
// record so far; the interpreter tells what may be done now, and what is tapped is kept
// in the outbox and sent in order when the server is back. The server's runner is what
// counts: what it refuses then is shown with its reason.
//
// Moments are told on the server's clock: its stamp when the table was fetched, and the
// page's own clock since. The page's clock may stand still in sleep and never runs fast,
// so a wait becomes longer by this and never shorter.
import * as outbox from './outbox.js';
import { interpreter } from './procedure-table.js';
import { sides, stepLine } from './procedure-figures.js';

const IDLE = 0, DOING = 1, WAITING = 2, WAITED = 3;
const modes = ['running', 'held', 'held_keep_power', 'stopping', 'handed_over', 'finished'];

export class Away {
  constructor(el) { this.url = el.dataset.table; this.name = 'run ' + el.dataset.job + ' ' + el.dataset.run; this.words = JSON.parse(el.dataset.words); this.pending = []; this.gone = false; }

  // load fetches what is new of the record, or takes what was kept on this device. One at
  // a time: two at once took what was sent in between for part of the record.
  load() { this.loading = (this.loading || Promise.resolve()).catch(() => {}).then(() => this.#load()); return this.loading; }
  async #load() {
    const kept = this.kept || await outbox.kept(this.name);
    const told = kept && kept.told ? kept.told.length : 0; // what comes now has these
    try {
      const res = await fetch(this.url + (kept ? '?after=' + kept.entries.length : ''), { headers: { Accept: 'application/json' }, signal: AbortSignal.timeout ? AbortSignal.timeout(5000) : undefined });
      if (!res.ok) throw new Error(String(res.status));
      const got = await res.json();
      this.kept = { table: got.table || kept.table, readings: got.readings || kept.readings, entries: [...(kept ? kept.entries : []), ...got.entries], now: got.now, elapsed: 0, pending: this.kept ? this.kept.pending : kept ? kept.pending : [], told: ((this.kept || kept || {}).told || []).slice(told) };
      this.from = performance.now(); this.wall = Date.now();
      await outbox.keep(this.name, this.kept);
    } catch (err) {
      if (!kept) return false;
      this.kept = kept;
      if (this.from === undefined) { this.from = performance.now(); this.wall = Date.now(); }
    }
    if (this.run === undefined || this.table !== this.kept.table) { this.table = this.kept.table; this.run = interpreter(this.table); this.done = 0; this.base = this.run.begin(); }
    for (; this.done < this.kept.entries.length; this.done++) {
      const r = this.run.take(this.base, this.kept.entries[this.done]);
      if (r.reasons.length) return false; // the page is of another version: the server alone goes on
      this.base = r.state;
    }
    return true;
  }

  now() {
    const ms = this.kept.elapsed + performance.now() - this.from;
    return { boot: this.kept.now.boot, mono: this.kept.now.mono + ms * 1e6, wall: this.kept.now.wall + (this.kept.elapsed + Date.now() - this.wall) * 1e6 };
  }

  // leave: the server cannot be reached. What a meter sends it cannot be seen from here.
  async leave() {
    if (this.gone || !await this.load()) return this.gone;
    const waiting = new Set((await outbox.list()).map((i) => i.key));
    this.kept.pending = this.kept.pending.filter((p) => waiting.has(p.key));
    this.state = this.base; this.gone = true;
    const at = this.now();
    this.table.watches.forEach((w, i) => { if (this.state.feed[i]) this.#take({ kind: 'watch', watch: w.id, level: 'not watched', at }); });
    for (const t of this.kept.told || []) for (const e of this.entries(t.event)) this.#take({ ...e, at: t.at });
    for (const p of this.kept.pending) for (const e of p.entries) this.#take(e);
    return true;
  }
  // sent: the server has it. Until the record is fetched again it counts here too: the
  // connection may break in between, or before the answer came, and a command that runs
  // must not be offered again.
  async sent(event, key) {
    if (!this.kept) return;
    const at = this.now();
    (this.kept.told = this.kept.told || []).push({ event, at });
    if (this.gone && !this.kept.pending.some((p) => p.key === key)) for (const e of this.entries(event)) this.#take({ ...e, at });
    await outbox.keep(this.name, this.kept);
  }
  back() { this.gone = false; }

  #take(e) {
    const r = this.run.take(this.state, { ...e, seq: this.state.seq + 1 });
    if (!r.reasons.length) this.state = r.state;
    return r.reasons;
  }

  // offer tries what a form says; the reasons why not, or none and it counts here.
  offer(ev) {
    const at = this.now(), before = this.state, entries = this.entries(ev).map((e) => ({ ...e, at }));
    for (const e of entries) {
      const reasons = this.#take(e);
      if (reasons.length) { this.state = before; return reasons; }
    }
    this.last = entries;
    return [];
  }
  // kept: what was offered is in the outbox now.
  async took(key) {
    this.kept.pending.push({ key, entries: this.last });
    this.kept.elapsed += performance.now() - this.from;
    this.from = performance.now(); this.wall = Date.now();
    this.kept.now = { ...this.kept.now };
    await outbox.keep(this.name, this.kept);
  }

  // entries puts an event of the screen into entries of a run, as the server does.
  entries(ev) {
    const st = this.table.steps.find((s) => s.id === ev.step), begin = { kind: 'begin', step: ev.step, seen: ev.seen, supply: this.supply(st) };
    const e = { ...ev };
    delete e.typed; delete e.danger; delete e.figures;
    if (ev.typed !== undefined) e.value = this.si(ev, st);
    if (ev.figures) { e.figures = {}; for (const [id, [v, l]] of Object.entries(ev.figures)) { const f = this.table.figures.find((x) => x.id === id); e.figures[id] = { value: (num(v) - f.offset) / f.scale, limit: (num(l) - f.offset) / f.scale }; } }
    switch (ev.kind) {
      case 'begin': return [{ ...e, supply: this.supply(st) }];
      case 'look': { const out = [begin, { ...e, kind: 'confirm', seen: 0, outcome: undefined }]; if (ev.outcome) out.push({ kind: 'choose', step: ev.step, outcome: ev.outcome }); return out; }
      case 'look_fails': return [begin, { kind: 'fails', step: ev.step, what: 'not_as_expected' }];
      case 'fails': return [{ ...e, what: e.what || 'not_as_expected' }];
      case 'interrupted': return [{ ...e, kind: 'interrupt', what: e.what || 'operator_leaves' }];
    }
    return [e];
  }
  supply(st) { const out = {}; if (st) st.watch.forEach((w) => { if (this.state.value[w] !== null) out[this.table.watches[w].id] = this.state.value[w]; }); return out; }
  si(ev, st) {
    const mean = st && st.means.find((m) => m.how === ev.how), r = mean && mean.reading >= 0 && this.kept.readings[this.table.facts[mean.reading].reading];
    const v = num(ev.typed);
    return r ? v * r.factor + r.shift : v;
  }

  // render puts the run as it stands here into the page that the server made.
  render() {
    const v = this.run.view(this.state, this.now()), mode = modes[v.mode], w = this.words, main = document.querySelector('#run .step');
    if (!main) return;
    const h1 = main.querySelector('h1');
    main.querySelector(':scope > .note').textContent = fill(w.progress, v.done, v.of);
    main.querySelectorAll('.card, .held, .notyet, :scope > .hazards, .clockbox, :scope > form').forEach((e) => e.remove());
    const left = Math.max(v.motorLeft, ...v.steps.map((s) => s.left));
    h1.lang = document.documentElement.lang;
    h1.textContent = mode !== 'running' ? w['head.' + mode] : v.overdue.length ? w['head.overdue'] : v.motor === 1 ? w['head.moving'] : left > 0 ? w['head.resting'] : w['head.away'];
    const show = [...v.active, ...v.open, ...v.makeSafe].filter((id, i, all) => all.indexOf(id) === i).map((id) => this.table.steps.findIndex((s) => s.id === id));
    const hazards = make('div', { className: 'hazards' }, ...unique(v.active.flatMap((id) => v.steps.find((s) => s.id === id).hazards)).map((h) => hazard(h, w)));
    main.append(hazards);
    if (left > 0) main.append(clock(left, Math.max(left, 30)));
    show.forEach((i) => main.append(this.#card(i, v)));
    main.append(...this.#mode(mode, v));
    document.querySelectorAll('#run .supply').forEach((s) => {
      const i = this.table.watches.findIndex((x) => x.id === s.dataset.watch), band = i < 0 ? 0 : v.watches[i].band, key = ['unwatched', 'holding', 'typed', 'below'][band];
      s.querySelector('.far').textContent = w['supply.' + key]; s.dataset.word = key; s.className = 'supply ' + key;
    });
    this.#beside(v);
    document.getElementById('run').dataset.mode = mode;
  }

  // beside puts the panels beside the steps in place: what is dangerous, the step line,
  // what is known of the two sides.
  #beside(v) {
    const run = document.getElementById('run'), w = this.words, side = run.querySelector('.side');
    const put = (old, fresh, into) => { if (old && fresh) old.replaceWith(fresh); else if (old) old.remove(); else if (fresh) into.append(fresh); };
    put(run.querySelector('.railbox'), stepLine(this.table, v, new Set((run.dataset.unsafe || '').split(' ')), w), side);
    put(run.querySelector('.sides'), sides(this.table, this.state, v, w), run.querySelector('.work'));
    const dnd = v.dangers.length ? make('div', { className: 'dnd' }, make('b', { textContent: w.do_not_drive }), ...v.dangers.map((t) => make('p', { lang: 'en', textContent: t })), make('p', { textContent: w.tag_until })) : null;
    const old = run.querySelector('.dnd:not(.failed)');
    if (old && dnd) old.replaceWith(dnd); else if (dnd) side.prepend(dnd);
  }

  #form(kind, hidden, label, o = {}) {
    const f = make('form', { method: 'post', className: 'ctl' });
    f.dataset.event = kind;
    for (const [n, val] of Object.entries({ kind, ...hidden })) if (val !== undefined) f.append(make('input', { type: 'hidden', name: n, value: val }));
    if (o.danger) f.append(make('label', { className: 'danger-word' }, make('span', { textContent: fill(this.words.danger_type, this.words.danger_word) }), make('input', { name: 'danger', required: true, pattern: this.words.danger_word, autocomplete: 'off' })));
    if (o.ask) f.append(make('label', { className: 'ask' }, make('span', { className: 'note', textContent: o.ask }), make('span', { className: 'in' }, make('input', { name: o.name || 'value', required: true, inputMode: o.name ? 'text' : 'decimal', autocomplete: 'off' }), make('span', { className: 'unit', textContent: o.unit || '' }))));
    (o.figures || []).forEach((id) => {
      const g = this.table.figures.find((x) => x.id === id);
      const field = (name, text) => make('label', {}, make('span', { className: 'note', textContent: text }), make('span', { className: 'in' }, make('input', { name: name + ' ' + id, required: true, inputMode: 'decimal', autocomplete: 'off' }), make('span', { className: 'unit', textContent: g.unit })));
      f.append(make('fieldset', { className: 'figure' }, make('legend', { textContent: g.ask, lang: 'en' }), make('input', { type: 'hidden', name: 'figure', value: id }), field('value', this.words.value), field('limit', g.limit_ask)));
    });
    f.append(make('button', { className: 'act plain' }, o.lead ? make('span', { className: 'how', textContent: o.lead }) : '', make('span', { textContent: ' ' + label, lang: o.engine ? 'en' : '' })));
    return f;
  }

  #card(i, v) {
    const st = this.table.steps[i], sv = v.steps[i], w = this.words, seen = sv.attempt || undefined, active = sv.phase >= DOING && sv.phase <= WAITED;
    const head = make('header', {}, make('p', { className: 'note', textContent: [w['kind.' + st.kind], st.side && w['side.' + st.side], active && w.under_way].filter(Boolean).join(' · ') }), make('h2', { lang: 'en', textContent: sv.do }));
    const card = make('article', { className: 'card' + (active ? ' on' : '') }, head);
    card.dataset.step = st.id;
    if (!active) card.append(make('div', { className: 'hazards' }, ...sv.hazards.map((h) => hazard(h, w))));
    const mean = (kind, m, extra) => this.#form(kind, { step: st.id, how: m.how, seen: kind === 'confirm' ? seen : undefined, ...extra }, m.text, { lead: w['how.' + m.how], engine: true, ask: m.ask && [m.ask, m.limit].filter(Boolean).join(', '), unit: m.reading >= 0 ? (this.kept.readings[this.table.facts[m.reading].reading] || {}).unit : '', figures: m.figures });
    if (!active) {
      if (!v.open.includes(st.id) && !(v.makeSafe.includes(st.id) && v.whyNot(st.id).length === 0)) { v.whyNot(st.id).forEach((x) => card.append(make('p', { className: 'note', textContent: x }))); return card; }
      if (st.kind === 'question' || st.kind === 'precondition') {
        const named = st.outcomes.filter((o) => o.id);
        if (named.length) named.forEach((o) => card.append(this.#form('look', { step: st.id, how: st.means[0].how, outcome: o.id }, o.text, { engine: true })));
        else card.append(mean('look', st.means[0]), this.#form('look_fails', { step: st.id }, w.look_fails));
      } else card.append(this.#form('begin', { step: st.id }, st.command ? w.begin_command : w.begin, { danger: sv.hazards.some((h) => h.Word === 'DANGER') }));
      return card;
    }
    if (sv.phase === DOING && st.rest_s > 0) card.append(this.#form('ended', { step: st.id, seen }, w.ended));
    else {
      st.means.forEach((m, k) => { if (!(sv.given >> k & 1)) card.append(mean('confirm', m)); });
      if (sv.missing === 0) st.outcomes.filter((o) => o.id).forEach((o) => card.append(this.#form('choose', { step: st.id, outcome: o.id, seen }, o.text, { engine: true })));
    }
    if (sv.phase === WAITING) card.append(this.#form('broken', { step: st.id, seen }, w.broken));
    if (st.kind !== 'recovery') card.append(this.#form('fails', { step: st.id, seen }, w.fails));
    return card;
  }

  #mode(mode, v) {
    const w = this.words, box = (text, ...kids) => [make('div', { className: 'held' }, make('p', {}, make('b', { textContent: text })), ...kids)], why = (list) => list.map((x) => make('p', { textContent: x }));
    if (mode === 'held' || mode === 'held_keep_power') return box(w['mode.' + mode], ...why(v.whyNotOn), v.motor === 1 ? this.#form('at_rest', {}, w.at_rest) : v.whyNotOn.length ? '' : this.#form('resume', {}, w.go_on));
    if (mode === 'stopping') return box(w['mode.stopping'], ...why(v.whyNotRest), v.motor === 1 ? this.#form('at_rest', {}, w.at_rest) : v.whyNotRest.length ? '' : this.#form('hand_over', {}, w.hand_over, { ask: w.hand_to, name: 'to' }));
    if (mode === 'handed_over') return box(w['mode.handed_over'], this.#form('take_up', {}, w.take_up));
    if (mode === 'finished') return box(w['mode.finished']);
    return v.done === v.of && v.active.length === 0 && v.motor === 0 ? [this.#form('finish', {}, w.finish)] : [];
  }
}

const num = (t) => parseFloat(String(t).replace(',', '.'));
const fill = (s, ...a) => a.reduce((t, v, i) => t.replaceAll('{' + (i + 1) + '}', v), s || '');
const make = (tag, props, ...kids) => { const e = Object.assign(document.createElement(tag), props); e.append(...kids); return e; };
const unique = (hs) => hs.filter((h, i) => hs.findIndex((x) => x.Word === h.Word && x.Text === h.Text) === i);
function hazard(h, words) {
  const c = h.Word.toLowerCase();
  const word = make('span', { className: 'w ' + c }, ...(c === 'notice' ? [] : [triangle()]), words['word.' + h.Word] || h.Word);
  return make('div', { className: 'haz ' + c }, word, make('div', { className: 'x', lang: 'en', textContent: h.Text + ' ' + h.Do }));
}
// triangle is the sign of a hazard to people, as the server draws it.
function triangle() {
  const ns = 'http://www.w3.org/2000/svg', svg = document.createElementNS(ns, 'svg');
  svg.setAttribute('viewBox', '0 0 24 24'); svg.setAttribute('aria-hidden', 'true');
  for (const [tag, a] of [['path', { d: 'M12 2 23 22H1Z', fill: 'currentColor' }], ['path', { class: 'mark-in', d: 'M12 9v6', fill: 'none', 'stroke-width': '2.6' }], ['circle', { class: 'mark-dot', cx: '12', cy: '18.4', r: '1.6' }]]) {
    const e = document.createElementNS(ns, tag);
    Object.entries(a).forEach(([k, v]) => e.setAttribute(k, v));
    svg.append(e);
  }
  return svg;
}
function clock(left, total) {
  const t = make('p', { className: 'timer' });
  t.setAttribute('role', 'timer'); t.dataset.left = left; t.dataset.total = total;
  return make('div', { className: 'clockbox' }, t);
}
