/* A short sound when the phase changes, and a distinct one while an alarm is new; off by a switch. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.sounds = (function () {
  const AGAIN = 4000; // [ms] between two alarm sounds
  const PITCHES = { inducer_start: 330, prepurge: 370, igniter_warmup: 415, ignition_trial: 494, blower_on_delay: 587,
    run_low: 659, run_high: 740, post_purge: 440, blower_off_delay: 392, interpurge: 349, lockout: 220, limit_cooldown: 233,
    standby: 294, rest: 294, flame_lost: 247, limit_open: 208, rollout_open: 175, flame_without_gas: 165, gas_without_call: 156 }; // [Hz]
  const OUTCOMES = { good: [659, 880], bad: [440, 262], open: [392, 392] }; // two short tones [Hz]

  let context = null; // a browser allows none before the first touch or key
  let before = null;
  let lastAlarm = -Infinity;

  const on = () => lightoff.settings.sound !== "off";

  function wake() {
    if (!context && window.AudioContext) context = new AudioContext();
    if (context && context.state === "suspended") context.resume();
  }

  function tone(pitch, start, length, shape, loud) {
    const source = context.createOscillator();
    const gain = context.createGain();
    source.type = shape;
    source.frequency.value = pitch;
    gain.gain.setValueAtTime(0, start);
    gain.gain.linearRampToValueAtTime(loud, start + 0.01);
    gain.gain.linearRampToValueAtTime(0, start + length);
    source.connect(gain).connect(context.destination);
    source.start(start);
    source.stop(start + length + 0.02);
  }

  /* How an attempt ended. */
  function outcome(kind) {
    if (!context || !on() || lightoff.trends.hurried()) return;
    OUTCOMES[kind].forEach((pitch, at) => tone(pitch, context.currentTime + 0.25 + 0.16 * at, 0.13, "triangle", 0.2));
  }

  /* Null for one that may be revised: it is heard when it stands. */
  function phase(name) {
    if (name === null) return;
    const changed = before !== null && name !== before;
    before = name;
    if (changed && context && on() && !lightoff.trends.hurried()) tone(PITCHES[name] || 300, context.currentTime, 0.18, "sine", 0.2);
  }

  /* Three falling tones, again and again while an alarm of these priorities is not acknowledged. */
  function alarm(urgent) {
    const now = performance.now();
    if (!urgent || !context || !on() || now - lastAlarm < AGAIN) return;
    lastAlarm = now;
    [880, 660, 880].forEach((pitch, at) => tone(pitch, context.currentTime + 0.22 * at, 0.18, "square", 0.15));
  }

  function start() {
    for (const kind of ["pointerdown", "keydown"]) document.addEventListener(kind, wake, { once: true });
  }

  return { start, phase, outcome, alarm };
})();
