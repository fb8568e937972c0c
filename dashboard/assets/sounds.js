/* A short sound when the phase changes, and a distinct one while an alarm is new; off by a switch. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.sounds = (function () {
  const AGAIN = 4000; // [ms] between two alarm sounds
  const PITCHES = { inducer_start: 330, prepurge: 370, igniter_warmup: 415, ignition_trial: 494, blower_on_delay: 587,
    run_low: 659, run_high: 740, flame_lost: 247, stopped: 220, limit_open: 208, post_purge: 440, blower_off_delay: 392, standby: 294 }; // [Hz]

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

  function phase(name) {
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

  return { start, phase, alarm };
})();
