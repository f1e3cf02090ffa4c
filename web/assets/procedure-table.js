// Runs the state table of a checked procedure (package procedure/table) in the page, so
// that a step can be confirmed and a wait counted while the server is away. It holds no
// rule of its own, sends nothing and reads no clock: entries and moments come with their
// stamps {wall, mono, boot} in nanoseconds. A state is plain data and can be kept.
//
//   const run = interpreter(table);
//   let state = run.begin();
//   const { state: next, reasons } = run.take(state, entry);   // reasons: why not
//   run.view(state, now);  // what is open, under way, waited for, dangerous
//
// The server's runner is what counts: the same entries are sent to it when it is back.

const IDLE = 0, DOING = 1, WAITING = 2, WAITED = 3, DONE = 4, OWED = 5;
const RUNNING = 0, HELD = 1, KEEP = 2, STOPPING = 3, HANDED = 4, FINISHED = 5;
const QUIET = 0, MOVING = 1, RESTING = 2;
const BLIND = 0, GOOD = 1, TYPED = 2, LOW = 3;

// atLeast is the time that has surely passed from a to b, in seconds; atMost the longest
// that may have.
const atLeast = (a, b) => Math.max(0, (a.boot === b.boot ? b.mono - a.mono : b.mono) * 1e-9);
const atMost = (a, b) => Math.max(atLeast(a, b), (b.wall - a.wall) * 1e-9);
const bits = (n) => { let c = 0; for (; n; n >>= 1) c += n & 1; return c; };

export function interpreter(table) {
  const steps = table.steps, recovery = [], main = [];
  steps.forEach((st, i) => (st.kind === 'recovery' ? recovery : main).push(i));
  const text = (key, ...args) => args.reduce((s, a, i) => s.replaceAll(`{${i}}`, () => String(a)), table.texts[key]);
  const index = (id) => steps.findIndex((st) => st.id === id);

  function begin() {
    const zero = (n) => new Array(n).fill(0), never = { wall: 0, mono: 0, boot: '' };
    return {
      seq: 0, mode: RUNNING, motor: QUIET, phase: zero(steps.length), given: zero(steps.length), fact: table.facts.map((f) => f.initial), watch: zero(table.watches.length),
      timer: zero(table.timers.length), timerAt: zero(table.timers.length).map(() => never), attempt: zero(steps.length), since: zero(steps.length).map(() => never), rest: steps.map((st) => st.rest_s),
      motorAt: never, motorFor: 0, typed: zero(table.watches.length).map(() => never), feed: zero(table.watches.length).map(() => false), value: zero(table.watches.length).map(() => null),
      values: {}, last: never, jumped: false, holder: '', failures: [], ways: [],
    };
  }

  // Conditions.
  const active = (s, i) => s.phase[i] >= DOING && s.phase[i] <= WAITED;
  const isDone = (s, i) => s.phase[i] === DONE || !holds(s, steps[i].only_if);
  const skipped = (s, i) => !holds(s, steps[i].only_if);
  function holds(s, c) {
    switch (c.op) {
      case 'true': return true;
      case 'all': return c.kids.every((k) => holds(s, k));
      case 'any': return c.kids.some((k) => holds(s, k));
      case 'not': return !holds(s, c.kids[0]);
      case 'fact': return c.set.includes(s.fact[c.i]);
      case 'done': return isDone(s, c.i);
      case 'means': return s.phase[c.i] === DONE && (c.n <= 1 || bits(s.given[c.i]) >= c.n);
      case 'hands': return steps.some((st, i) => st.hands && active(s, i));
      case 'command': return s.motor !== QUIET;
      case 'timer': return s.timer[c.i] === 1;
    }
    return false;
  }
  const asksFor = (s, c, fact) => !holds(s, c) && ((c.kids || []).some((k) => asksFor(s, k, fact)) || (c.op === 'fact' && c.i === fact));
  const owed = (s, i) => s.phase[i] === OWED && holds(s, steps[i].applies);
  const unblocks = (s, st) => recovery.some((i) => owed(s, i) && !holds(s, steps[i].guard) && st.sets.some(([f]) => asksFor(s, steps[i].guard, f)));
  const alreadySo = (s, st) => st.sets.length > 0 && st.sets.every(([f, v]) => s.fact[f] === v);
  const laneBusy = (s, st) => steps.findIndex((o, i) => (o.kind === 'recovery') === (st.kind === 'recovery') && ((o.side || '') === (st.side || '') || st.kind === 'recovery') && active(s, i));
  const stepMode = (s, st) => (st.kind === 'recovery' ? [HELD, KEEP, STOPPING].includes(s.mode) : s.mode === RUNNING);
  const ripe = (s, i) => s.phase[i] === WAITED || (s.phase[i] === DOING && steps[i].rest_s === 0);
  const moving = (s, phase) => steps.some((st, i) => st.command && s.phase[i] === phase);
  const makes = (st, f, v) => st.sets.some((a) => a[0] === f && a[1] === v) || st.outcomes.some((o) => o.sets.some((a) => a[0] === f && a[1] === v));
  const changes = (st, f) => st.spoils.includes(f) || st.sets.some((a) => a[0] === f) || st.outcomes.some((o) => o.sets.some((a) => a[0] === f));
  const watched = (s, st) => st.watch.every((w) => s.watch[w] === GOOD || (s.watch[w] === TYPED && table.watches[w].typed_gate));
  const lastSetter = (s, f) => [...table.facts[f].setters].reverse().find((i) => s.phase[i] === DONE) ?? -1;
  const ruleAgainst = (s, st) => st.rules.find((r) => !holds(s, r.unless));
  // disturbed is a step under way whose interlock would not hold once step i begins.
  function disturbed(s, i) {
    const after = structuredClone(s);
    unsettle(after, steps[i]);
    return steps.findIndex((st, j) => j !== i && active(s, j) && !holds(after, st.guard) && holds(s, st.guard));
  }

  // allowed says whether an event may happen in a state.
  function allowed(s, e) {
    const st = steps[e.step], ph = st && s.phase[e.step];
    switch (e.op) {
      case 'start':
        if (st.kind === 'recovery') {
          const held = s.mode === HELD || s.mode === KEEP;
          if (!((held && (ph === OWED || (ph === IDLE && unblocks(s, st)))) || (s.mode === STOPPING && (ph === IDLE || ph === OWED))) || s.motor === MOVING || !holds(s, st.applies)) return false;
          if ((s.mode === KEEP && st.powers) || (ph === IDLE && (st.owed_only || alreadySo(s, st)))) return false;
        } else if (s.mode !== RUNNING || ph !== IDLE || skipped(s, e.step)) return false;
        return !(st.command && s.motor !== QUIET) && laneBusy(s, st) < 0 && st.before.every((n) => isDone(s, n)) && watched(s, st) && holds(s, st.guard) && disturbed(s, e.step) < 0;
      case 'ended': return stepMode(s, st) && ph === DOING && st.rest_s > 0;
      case 'rested': case 'break': return stepMode(s, st) && ph === WAITING;
      case 'confirm': {
        const mean = st.means[e.x];
        if (!stepMode(s, st) || !mean || s.given[e.step] >> e.x & 1) return false;
        if (ph !== WAITING && ph !== WAITED && !(ph === DOING && st.rest_s === 0)) return false;
        return mean.reading < 0 ? !e.band : !!e.band && (mean.pass || []).includes(e.band);
      }
      case 'complete': return stepMode(s, st) && ripe(s, e.step) && st.outcomes.length > 1 && bits(s.given[e.step]) >= st.need;
      case 'interrupt': return s.mode <= STOPPING;
      case 'fails': return (e.x === 5 || (st.at_most_s > 0 && ph === DOING)) && active(s, e.step) && stepMode(s, st) && st.kind !== 'recovery';
      case 'at_rest': return s.motor === MOVING && s.mode >= HELD && s.mode <= STOPPING;
      case 'motor_rested': return s.motor === RESTING && !moving(s, WAITING);
      case 'resume': return (s.mode === HELD || s.mode === KEEP) && !(s.motor === MOVING && !moving(s, DOING)) && !recovery.some((i) => owed(s, i) || active(s, i));
      case 'stop': return s.mode <= KEEP;
      case 'hand_over': return s.mode === STOPPING && s.motor !== MOVING && !recovery.some((i) => owed(s, i) || active(s, i)) && holds(s, table.rest);
      case 'pick_up': return s.mode === HANDED;
      case 'finish': return s.mode === RUNNING && s.motor === QUIET && main.every((i) => isDone(s, i)) && holds(s, table.finish);
      case 'band': return s.mode !== FINISHED && s.mode !== HANDED && s.watch[e.step] !== e.x && (e.x !== TYPED || table.watches[e.step].typed_gate);
      case 'timer': return s.mode !== FINISHED && s.timer[e.step] === 0 && s.phase[table.timers[e.step].step] === DONE;
    }
    return false;
  }

  // Changes of state, each as the checker explored it.
  const idle = (s, i) => { s.phase[i] = IDLE; s.given[i] = 0; steps[i].timers.forEach((t) => { s.timer[t] = 0; }); };
  function unsettle(s, st) {
    [...st.sets, ...st.outcomes.flatMap((o) => o.sets)].forEach(([f]) => { s.fact[f] = 0; });
    st.spoils.forEach((f) => { s.fact[f] = 0; });
    st.timers.forEach((t) => { s.timer[t] = 0; });
  }
  function redo(s, i) {
    if (s.phase[i] === IDLE) return;
    if (s.phase[i] === DONE) [...steps[i].sets, ...steps[i].outcomes.flatMap((o) => o.sets)].forEach(([f]) => { if (lastSetter(s, f) === i) s.fact[f] = 0; });
    idle(s, i);
  }
  const toHeld = (s, to) => { if (s.mode !== STOPPING && !(s.mode === KEEP && to === HELD)) s.mode = to; };
  function recover(s, i, r) {
    if (r.class === 0) return;
    if (r.class === 4) toHeld(s, KEEP);
    if (r.class === 5) s.mode = STOPPING;
    idle(s, i);
    r.reset.forEach((j) => redo(s, j));
    r.first.forEach((j) => { s.phase[j] = OWED; s.given[j] = 0; });
  }
  const dropUnguarded = (s) => main.forEach((i) => { if (active(s, i) && !holds(s, steps[i].guard)) idle(s, i); });
  function stop(s) {
    s.mode = STOPPING;
    main.forEach((i) => { if (active(s, i)) { const r = steps[i].recovers[2]; recover(s, i, r.class === 0 ? { class: 1, reset: [], first: [] } : r); } });
  }
  function disturb(s, ds) {
    const hit = ds.filter((d) => !d.unless || !holds(s, d.unless)), again = [];
    hit.forEach((d) => d.reset.forEach((i) => redo(s, i)));
    hit.flatMap((d) => d.facts).forEach((f) => {
      const i = lastSetter(s, f), was = s.fact[f];
      if ((i < 0 && was === table.facts[f].initial) || was === 0) return;
      if (i >= 0 && makes(steps[i], f, was)) again.push(i);
      s.fact[f] = 0;
    });
    again.forEach((i) => idle(s, i));
  }
  function complete(s, i, outcome) {
    const st = steps[i];
    s.phase[i] = st.kind === 'recovery' ? IDLE : DONE;
    if (st.kind === 'recovery' || !st.keep_given) s.given[i] = 0;
    [...st.sets, ...st.outcomes[outcome].sets].forEach(([f, v]) => { s.fact[f] = v; });
    if (st.outcomes[outcome].stop) { idle(s, i); stop(s); }
  }
  const completeIfShown = (s, i) => { if (steps[i].outcomes.length === 1 && ripe(s, i) && bits(s.given[i]) >= steps[i].need) complete(s, i, 0); };
  function apply(s, e) {
    const i = e.step, st = steps[i];
    switch (e.op) {
      case 'start':
        s.phase[i] = DOING; s.given[i] = 0;
        if (st.kind === 'recovery') { // it takes over what a main step made so, or was making so
          st.again.forEach((j) => redo(s, j));
          st.sets.forEach(([f]) => { const j = lastSetter(s, f); if (j >= 0 && s.fact[f] !== 0) idle(s, j); });
          main.forEach((j) => { if (active(s, j)) st.sets.forEach(([f]) => { if (changes(steps[j], f)) idle(s, j); }); });
        }
        unsettle(s, st);
        if (st.command) s.motor = MOVING;
        break;
      case 'ended': s.phase[i] = WAITING; if (st.command) s.motor = RESTING; break;
      case 'rested': s.phase[i] = WAITED; if (st.command) s.motor = QUIET; completeIfShown(s, i); break;
      case 'break':
        if (!st.break_step) s.given[i] = 0;
        else { recover(s, i, { class: 1, reset: [], first: [] }); if (st.command) s.motor = RESTING; }
        break;
      case 'confirm': s.given[i] |= 1 << e.x; if (st.means[e.x].reading >= 0) s.fact[st.means[e.x].reading] = e.band; completeIfShown(s, i); break;
      case 'complete': complete(s, i, e.x); break;
      case 'interrupt':
        toHeld(s, HELD);
        steps.forEach((o, j) => {
          if (!active(s, j)) return;
          if (o.kind === 'recovery') { s.phase[j] = o.owable ? OWED : IDLE; s.given[j] = 0; } else recover(s, j, o.recovers[e.x]);
        });
        disturb(s, table.disturbs[e.x]);
        dropUnguarded(s);
        if (e.x === 4) s.mode = STOPPING;
        break;
      case 'fails': toHeld(s, HELD); recover(s, i, st.recovers[e.x]); dropUnguarded(s); break;
      case 'at_rest': s.motor = RESTING; break;
      case 'motor_rested': s.motor = QUIET; break;
      case 'resume': s.mode = RUNNING; dropUnguarded(s); break;
      case 'stop': stop(s); break;
      case 'hand_over': s.mode = HANDED; break;
      case 'pick_up': s.mode = HELD; disturb(s, table.disturbs[2]); break;
      case 'finish': s.mode = FINISHED; break;
      case 'band': s.watch[i] = e.x; break;
      case 'timer': s.timer[i] = 1; break;
    }
  }
  // happen applies an event and stamps what it began.
  function happen(s, e, at) {
    const was = [...s.phase], motor = s.motor;
    apply(s, e);
    steps.forEach((st, i) => {
      if (was[i] === s.phase[i] && !(e.op === 'break' && e.step === i)) return;
      s.since[i] = at;
      if (s.phase[i] !== DONE) return;
      s.failures = s.failures.filter((f) => f.step !== st.id);
      table.timers.forEach((t, k) => { if (t.step === i) s.timerAt[k] = at; });
    });
    if ((s.motor === RESTING && motor !== RESTING) || (e.op === 'break' && steps[e.step].command)) s.motorAt = at;
  }

  const left = (s, i, now) => {
    if (s.phase[i] !== WAITING) return 0;
    const passed = (steps[i].wall_ok && !s.jumped ? atMost : atLeast)(s.since[i], now);
    return Math.max(0, s.rest[i] - passed);
  };
  // advance lets time pass up to a stamp: waits that are over, typed readings too old.
  function advance(s, now) {
    if (s.seq > 0 && s.last.boot === now.boot && Math.abs((now.wall - s.last.wall) - (now.mono - s.last.mono)) * 1e-9 > 5) s.jumped = true;
    table.watches.forEach((w, i) => { if (s.watch[i] === TYPED && atMost(s.typed[i], now) > w.typed_max_age_s) happen(s, { op: 'band', step: i, x: BLIND }, now); });
    for (let again = true; again;) {
      again = false;
      const try_ = (e, due) => { if (due && allowed(s, e)) { happen(s, e, now); again = true; } };
      steps.forEach((st, i) => try_({ op: 'rested', step: i }, s.phase[i] === WAITING && left(s, i, now) <= 0));
      try_({ op: 'motor_rested' }, atLeast(s.motorAt, now) >= s.motorFor);
      table.timers.forEach((t, i) => try_({ op: 'timer', step: i }, s.timer[i] === 0 && atLeast(s.timerAt[i], now) >= t.seconds));
    }
  }

  // Why not, in the runner's own sentences.
  function say(c) {
    if (c.op === 'true') return 'always';
    if (c.op === 'not') return text('not', say(c.kids[0]));
    if (c.op !== 'all' && c.op !== 'any') return c.text;
    return c.kids.map((k) => (k.op === 'all' || k.op === 'any' ? `(${say(k)})` : say(k))).join(c.op === 'all' ? ', and ' : ', or ');
  }
  function unmet(s, c) {
    if (holds(s, c)) return [];
    if (c.op === 'all') return c.kids.flatMap((k) => unmet(s, k));
    if (c.op === 'any') return [text('either', c.kids.map((k) => unmet(s, k).join(text('and'))).join(text('or')))];
    if (c.op === 'not') return [text('not', say(c.kids[0]))];
    if (c.op !== 'fact' || table.facts[c.i].reading) return [c.text];
    return [c.text + (s.fact[c.i] === 0 ? text('unknown_now') : text('now', table.facts[c.i].say[s.fact[c.i]]))];
  }
  const notNow = (s) => text('not_now', text(`mode.${s.mode}`));
  const ways = (n) => (n <= 2 ? text(`ways.${n}`) : text('ways.n', n));
  const owedText = (s) => recovery.flatMap((i) => {
    if (owed(s, i)) return [text('make_safe', steps[i].do), ...unmet(s, steps[i].guard).map((u) => text('before_that', u))];
    return active(s, i) ? [text('end_first', steps[i].id)] : [];
  });
  function whyNotStart(s, i) {
    const st = steps[i], ph = s.phase[i], safe = st.kind === 'recovery', out = [];
    if (safe && [RUNNING, HANDED, FINISHED].includes(s.mode)) out.push(text('safe_only', st.id));
    else if (safe && ph === IDLE && ((s.mode !== STOPPING && !unblocks(s, st)) || st.owed_only)) out.push(text('not_asked', st.id));
    else if (!safe && s.mode !== RUNNING) out.push(notNow(s));
    else if (!safe && skipped(s, i)) out.push(text('variant', st.id, st.only_text));
    else if (ph === DONE) out.push(text('is_done', st.id));
    else if (ph !== IDLE && ph !== OWED) out.push(text('under_way', st.id));
    else if (safe && ph === IDLE && alreadySo(s, st)) out.push(text('so_already'));
    if (safe) unmet(s, st.applies).forEach((u) => out.push(text('not_needed', st.id, u)));
    if (safe && s.mode === KEEP && st.powers) out.push(text('keep_power'));
    if (safe && s.motor === MOVING) out.push(text('look_first'));
    if (st.command && s.motor === MOVING) out.push(text('moving'));
    if (st.command && s.motor === RESTING) out.push(text('resting'));
    const busy = laneBusy(s, st);
    if (busy >= 0 && busy !== i) out.push(text('end_first', steps[busy].id));
    const missing = st.before.filter((n) => !isDone(s, n));
    missing.slice(0, 3).forEach((n) => out.push(text('before_it', steps[n].id, steps[n].do)));
    if (missing.length > 3) out.push(text('more_before', missing.length - 3));
    st.watch.forEach((w) => {
      const mw = table.watches[w];
      if (s.watch[w] === BLIND) out.push(text('blind', mw.quantity, mw.point, mw.blind));
      else if (s.watch[w] === LOW) out.push(text('beyond', mw.quantity, mw.point));
      else if (s.watch[w] === TYPED && !mw.typed_gate) out.push(text('must_watch', mw.quantity));
    });
    unmet(s, st.guard).forEach((u) => out.push(text('needed', u)));
    const j = out.length ? -1 : disturbed(s, i);
    if (j >= 0) out.push(text('relies', steps[j].id));
    return out;
  }
  function whyNot(s, e) {
    if (allowed(s, e)) { const r = e.op === 'start' && ruleAgainst(s, steps[e.step]); return r ? [text('never', r.text)] : []; }
    const st = steps[e.step], ph = st && s.phase[e.step], out = [];
    if (e.op === 'start') out.push(...whyNotStart(s, e.step));
    else if (['ended', 'rested', 'break', 'confirm', 'complete', 'fails'].includes(e.op)) {
      const mean = e.op === 'confirm' && st.means[e.x];
      if (!stepMode(s, st)) out.push(notNow(s));
      else if (ph === DONE) out.push(text('done_already', st.id));
      else if (ph === IDLE || ph === OWED) out.push(text('not_begun', st.id));
      else if (mean && s.given[e.step] >> e.x & 1) out.push(text('twice', st.id, mean.how.replaceAll('_', ' ')));
      else if (mean && ph === DOING && st.rest_s > 0) out.push(text('ended_first', st.id));
      else if (mean) out.push(mean.reading >= 0 && !e.band ? text('number', st.id, mean.ask) : text('limit', st.id, mean.limit));
      else if (e.op === 'complete' && !ripe(s, e.step)) out.push(text('wait', st.id));
      else if (e.op === 'complete' && bits(s.given[e.step]) < st.need) out.push(text('shown', st.id, ways(st.need)));
      else if (e.op === 'ended' && st.rest_s === 0) out.push(text('no_wait', st.id));
      else out.push(text('elsewhere', st.id, text(`phase.${ph}`)));
    } else if (e.op === 'resume') {
      if (s.mode !== HELD && s.mode !== KEEP) return [notNow(s)];
      if (s.motor === MOVING && !moving(s, DOING)) out.push(text('look_first'));
      out.push(...owedText(s));
    } else if (e.op === 'hand_over') {
      if (s.mode !== STOPPING) return [notNow(s)];
      if (s.motor === MOVING) out.push(text('look_first'));
      out.push(...owedText(s), ...unmet(s, table.rest).map((u) => text('not_left', u)));
    } else if (e.op === 'finish') {
      if (s.mode !== RUNNING) out.push(notNow(s));
      const open = main.find((i) => !isDone(s, i));
      if (open !== undefined) out.push(text('not_done', steps[open].id));
      if (s.motor !== QUIET) out.push(text('not_rested'));
      unmet(s, table.finish).forEach((u) => out.push(text('needed', u)));
    } else out.push(notNow(s));
    return out.length ? out : [text('cannot')];
  }

  // Entries.
  function attempt(s, e, at) {
    const reasons = whyNot(s, e);
    if (!reasons.length) happen(s, e, at);
    return reasons;
  }
  const motorRest = (s) => steps.forEach((st, i) => { if (st.command && (s.phase[i] === DOING || s.phase[i] === WAITING)) s.motorFor = s.rest[i]; });
  const wayOut = (i, k) => ({ step: steps[i].id, what: text(`kind.${k}`), class: `R${steps[i].recovers[k].class}`, text: steps[i].recovers[k].text });
  function interrupt(s, k, at) {
    motorRest(s);
    const out = main.filter((i) => active(s, i) && stepMode(s, steps[i])).map((i) => wayOut(i, k));
    const reasons = attempt(s, { op: 'interrupt', x: k }, at);
    if (!reasons.length) s.ways = out.length ? out : [{ step: '', what: text(`kind.${k}`), ...table.interrupt[k] }];
    return reasons;
  }
  const fail = (s, i, e, why) => { if (steps[i].critical) s.failures = [...s.failures.filter((f) => f.step !== steps[i].id), { step: steps[i].id, why, who: e.who, at: e.at }]; };
  function band(s, w, b, at) {
    if (s.watch[w] !== b && allowed(s, { op: 'band', step: w, x: b })) happen(s, { op: 'band', step: w, x: b }, at);
  }
  function figures(mean, given) {
    const out = [];
    (mean.figures || []).forEach((id) => {
      const f = table.figures.find((x) => x.id === id), g = given && given[id];
      if (!g) { out.push(text('write', f.ask, f.unit, f.limit_ask)); return; }
      const show = (v) => `${(v * f.scale + f.offset).toFixed(f.decimals)} ${f.unit}`, slack = 1e-9 * g.limit;
      const args = [f.ask, show(g.value), show(g.limit), f.limit_ask, (f.within * 100).toFixed(0)];
      let why = '';
      if (!((g.value > 0 || f.most && g.value === 0) && g.limit > 0) || !Number.isFinite(g.value + g.limit)) why = text(f.most ? 'figure_zero_most' : 'figure_zero', f.ask, f.limit_ask);
      else if (f.most && g.limit > f.most * (1 + 1e-9)) why = text('figure_most', f.ask, show(g.limit), show(f.most));
      else if (f.limit === 'at_least' && g.value < g.limit - slack) why = text('figure_under', ...args);
      else if (f.limit === 'at_most' && g.value > g.limit + slack) why = text('figure_over', ...args);
      else if (f.limit === 'about' && Math.abs(g.value - g.limit) > f.within * g.limit + slack) why = text('figure_off', ...args);
      if (why) out.push(why + text('figure_say'));
    });
    Object.keys(given || {}).forEach((id) => { if (!(mean.figures || []).includes(id)) out.push(text('figure_unknown', id)); });
    return out;
  }
  function takeWatch(s, e) {
    const w = table.watches.findIndex((x) => x.id === e.watch), mw = table.watches[w];
    if (!mw) return [text('cannot')];
    if (e.kind === 'min_hold') return [];
    if (e.kind === 'typed') { // it may open a start; it never counts as watched
      if (!mw.typed_gate) return [text('must_watch', mw.quantity)];
      if (s.feed[w]) return [text('feed_counts', mw.quantity)];
      s.typed[w] = e.at; s.value[w] = e.value;
      band(s, w, e.value < mw.start || e.value < mw.hold || e.value > mw.hold_high ? LOW : TYPED, e.at);
      return [];
    }
    s.feed[w] = e.level !== 'not watched';
    if (e.value !== undefined) s.value[w] = e.value;
    band(s, w, { 'not watched': BLIND, holding: GOOD, sagging: GOOD }[e.level] ?? LOW, e.at);
    const moves = e.level === 'stop' && s.mode === RUNNING && steps.some((st, i) => st.watch.includes(w) && (s.phase[i] === DOING || s.phase[i] === WAITING));
    return moves ? interrupt(s, 1, e.at) : [];
  }
  function takeStep(s, e) {
    const i = index(e.step), st = steps[i];
    if (!st) return [text('cannot')];
    if (e.seen && e.seen !== s.attempt[i]) return [text('changed', st.id, e.seen, s.attempt[i])];
    switch (e.kind) {
      case 'begin': {
        const low = st.watch.map((w) => table.watches[w]).filter((mw, k) => {
          const v = e.supply && e.supply[mw.id];
          return s.watch[st.watch[k]] === GOOD && (v === undefined || (mw.start !== undefined && !(v >= mw.start)));
        });
        if (low.length) return low.map((mw) => text('start_level', mw.quantity, mw.point, mw.start_text));
        const reasons = attempt(s, { op: 'start', step: i }, e.at);
        if (!reasons.length) s.attempt[i]++;
        return reasons;
      }
      case 'ended': if (st.command) s.motorFor = s.rest[i]; return attempt(s, { op: 'ended', step: i }, e.at);
      case 'maker_rest': // longer always, shorter only with its source, never in the wait
        if (!(e.value >= 0) || e.value > 7 * 24 * 3600) return [text('rest_seconds')];
        if (st.rest_s === 0) return [text('rest_none', st.id)];
        if (e.value < st.rest_s && !(e.text || '').trim()) return [text('rest_cite', st.rest_s)];
        if (e.value < st.rest_floor_s) return [text('rest_floor', st.id, st.rest_floor_s)];
        if (s.phase[i] === WAITING) return [text('rest_waits', st.id)];
        s.rest[i] = e.value;
        return [];
      case 'broken': return attempt(s, { op: 'break', step: i }, e.at);
      case 'fails': {
        const k = table.kinds.indexOf(e.what);
        motorRest(s);
        const reasons = k < 5 ? [text('cannot')] : attempt(s, { op: 'fails', step: i, x: k }, e.at);
        if (!reasons.length) { s.ways = [wayOut(i, k)]; fail(s, i, e, text(`kind.${k}`)); }
        return reasons;
      }
      case 'choose': {
        const k = st.outcomes.findIndex((o) => o.id && o.id === e.outcome);
        const reasons = k < 0 ? [text('cannot')] : attempt(s, { op: 'complete', step: i, x: k }, e.at);
        if (!reasons.length && st.outcomes[k].stop) fail(s, i, e, st.outcomes[k].stop);
        return reasons;
      }
      case 'confirm': {
        const k = st.means.findIndex((m) => m.how === e.how), mean = st.means[k];
        if (!mean) return [text('cannot')];
        const cuts = mean.reading >= 0 && e.value !== undefined ? table.facts[mean.reading].cuts || [] : null;
        const b = cuts ? 1 + cuts.filter((c) => e.value > c.si || (e.value === c.si && !c.upper)).length : 0;
        const bad = figures(mean, e.figures);
        const reasons = bad.length ? bad : attempt(s, { op: 'confirm', step: i, x: k, band: b }, e.at);
        if (!reasons.length && cuts) s.values[table.facts[mean.reading].reading] = e.value;
        return reasons;
      }
    }
    return [text('cannot')];
  }
  // take gives the state after an entry, or the reasons why it is refused and the state
  // as it was.
  function take(state, e) {
    if (e.seq !== state.seq + 1) return { state, reasons: [text('not_next', e.seq, state.seq)] };
    const s = structuredClone(state);
    advance(s, e.at);
    const reasons = ({
      note: () => [], summary: () => [],
      opened: () => { table.watches.forEach((w, i) => { s.feed[i] = false; band(s, i, BLIND, e.at); }); return []; },
      interrupt: () => interrupt(s, table.kinds.indexOf(e.what), e.at),
      at_rest: () => attempt(s, { op: 'at_rest' }, e.at),
      resume: () => { const r = attempt(s, { op: 'resume' }, e.at); if (!r.length) s.ways = []; return r; },
      stop: () => { motorRest(s); return attempt(s, { op: 'stop' }, e.at); },
      hand_over: () => { const r = e.to ? attempt(s, { op: 'hand_over' }, e.at) : [text('to_whom')]; if (!r.length) s.holder = e.to; return r; },
      take_up: () => { s.holder = ''; return attempt(s, { op: 'pick_up' }, e.at); },
      finish: () => attempt(s, { op: 'finish' }, e.at),
      watch: () => takeWatch(s, e), typed: () => takeWatch(s, e), min_hold: () => takeWatch(s, e),
    }[e.kind] || (() => takeStep(s, e)))();
    if (reasons.length) return { state, reasons };
    s.seq = e.seq; s.last = e.at;
    return { state: s, reasons };
  }

  // view is what a screen shows at a moment; it changes nothing.
  function view(state, now) {
    const s = structuredClone(state);
    advance(s, now);
    const may = (i) => allowed(s, { op: 'start', step: i }) && !ruleAgainst(s, steps[i]);
    const ids = (list) => list.map((i) => steps[i].id);
    const all = steps.map((st, i) => i), open = all.filter((i) => (s.phase[i] === IDLE || s.phase[i] === OWED) && may(i));
    return {
      mode: s.mode, modeText: text(`mode.${s.mode}`), motor: s.motor, motorLeft: s.motor === RESTING ? Math.max(0, s.motorFor - atLeast(s.motorAt, now)) : 0,
      active: ids(all.filter((i) => active(s, i))), open: ids(open.filter((i) => steps[i].kind !== 'recovery')),
      makeSafe: ids(recovery.filter((i) => open.includes(i) || owed(s, i))), done: main.filter((i) => !skipped(s, i) && s.phase[i] === DONE).length, of: main.filter((i) => !skipped(s, i)).length,
      steps: steps.map((st, i) => {
        const w = (st.wording || []).find((x) => holds(s, x.when));
        return { id: st.id, do: w ? w.do : st.do, hazards: [...(st.hazards || []), ...((w && w.hazards) || [])], phase: s.phase[i], left: left(s, i, now), attempt: s.attempt[i], given: s.given[i], missing: Math.max(0, st.need - bits(s.given[i])), skipped: skipped(s, i) };
      }),
      overdue: ids(main.filter((i) => steps[i].at_most_s > 0 && s.mode === RUNNING && s.phase[i] === DOING && atMost(s.since[i], now) > steps[i].at_most_s)),
      dangers: s.mode === FINISHED ? [] : [...table.dangers.filter((d) => holds(s, d.while)).map((d) => d.text), ...steps.filter((st, i) => st.dangerous && active(s, i)).map((st) => st.dangerous)],
      failures: s.failures, ways: s.ways, watches: table.watches.map((w, i) => ({ id: w.id, band: s.watch[i], value: s.value[i] })),
      whyNotOn: s.mode === HELD || s.mode === KEEP ? whyNot(s, { op: 'resume' }) : [], whyNotRest: s.mode === STOPPING ? whyNot(s, { op: 'hand_over' }) : [],
      whyNot: (id) => whyNot(s, { op: 'start', step: index(id) }),
      digest: [s.mode, s.motor, s.phase.join(''), s.given.join(','), s.fact.join(','), s.watch.join(''), s.timer.join('')].join('|'),
    };
  }
  return { begin, take, view };
}
