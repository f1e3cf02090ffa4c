// Sounds and vibration of a procedure: one tone for attention, two for done, one long
// tone for below the line, once. Each can be turned off; an alarm that is silenced
// stays silent until the word on the screen changes, and the word stays where it is.

const get = (k) => { try { return localStorage.getItem(k); } catch (err) { return null; } };
const set = (k, v) => { try { localStorage.setItem(k, v); } catch (err) { /* private window: not remembered */ } };

let audio = null;
// A browser lets a page sound only after the person has touched it.
addEventListener('pointerdown', () => { if (!audio && 'AudioContext' in window) audio = new AudioContext(); }, { once: true });

export const on = { sound: get('sound') !== 'off', buzz: get('buzz') !== 'off' };
export function turn(what, yes) { on[what] = yes; set(what, yes ? 'on' : 'off'); }

function tone(at, seconds, hz) {
  const o = audio.createOscillator(), g = audio.createGain(), t = audio.currentTime + at;
  o.frequency.value = hz; o.type = 'triangle';
  g.gain.setValueAtTime(0, t); g.gain.linearRampToValueAtTime(0.4, t + 0.02); g.gain.setValueAtTime(0.4, t + seconds - 0.05); g.gain.linearRampToValueAtTime(0, t + seconds);
  o.connect(g).connect(audio.destination); o.start(t); o.stop(t + seconds);
}

const plans = { attention: { tones: [[0, 0.25, 660]], buzz: [200] }, done: { tones: [[0, 0.18, 660], [0.28, 0.3, 880]], buzz: [120, 100, 120] }, below: { tones: [[0, 1.6, 330]], buzz: [900] } };

// said is kept for tests and for people who look into what a page did.
export const said = [];

export function cue(name) {
  const p = plans[name];
  said.push(name);
  if (on.sound && audio && audio.state !== 'closed') { audio.resume().then(() => p.tones.forEach((t) => tone(...t))).catch(() => {}); }
  if (on.buzz && 'vibrate' in navigator) navigator.vibrate(p.buzz);
}

// hush ends what is sounding.
export function hush() {
  if (audio) { audio.close().catch(() => {}); audio = new AudioContext(); }
  if ('vibrate' in navigator) navigator.vibrate(0);
}
