/* The attempts of the call that runs: what the recorder tells of them, their strip under the trends, their list, and
   what is said when one begins or is decided. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.sequence = (function () {
  const STEADY = 3000; // [ms] an outcome that may be revised is said when it has stood so long

  const { id, setText, show } = lightoff.dom;
  let rows = new Map(); // number -> attempt, in order
  let jumped = null; // number of the attempt that the trends show
  let open = {}; // number -> {outcome, since} of an outcome that may be revised
  let said = {}; // number -> outcome that was said
  let drawn = null; // what the strip shows

  function use(message) {
    if (message.whole) { rows = new Map(); open = {}; said = {}; }
    for (const attempt of message.attempts) rows.set(attempt.number, attempt);
    rows = new Map([...rows].filter(([number]) => number >= message.first).sort(([a], [b]) => a - b));
    drawn = null;
    listen(Boolean(message.whole)); // what was there before is no news
    draw();
  }

  function forget() {
    rows = new Map();
    [jumped, open, said, drawn] = [null, {}, {}, null];
    draw();
  }

  const all = () => [...rows.values()];
  const newest = () => lightoff.recent.newest();

  /* Whether an outcome may be said: it stands, or has not changed for a while. */
  function stands(attempt) {
    if (!attempt.outcome || !attempt.decided) return false;
    if (attempt.end !== null || attempt.sure !== false) return true;
    const before = open[attempt.number];
    if (!before || before.outcome !== attempt.outcome) open[attempt.number] = { outcome: attempt.outcome, since: performance.now() };
    return performance.now() - open[attempt.number].since >= STEADY;
  }

  /* Hear what is new; `quiet` for what was there before. */
  function listen(quiet) {
    for (const attempt of rows.values()) {
      if (!stands(attempt) || said[attempt.number] === attempt.outcome) continue;
      said[attempt.number] = attempt.outcome;
      if (!quiet) lightoff.sounds.outcome(lightoff.attempts.kindOf(attempt));
    }
  }

  /* The last outcome, and the attempt that began since. */
  function sentence() {
    const near = newest();
    const clock = (ms) => lightoff.format.clock(ms * 1e6, near * 1e6);
    const last = all().filter((one) => said[one.number]).pop();
    const now = all().pop();
    const parts = [];
    if (last) parts.push("attempt " + last.number + ": " + lightoff.attempts.outcomeText(last) + ", at " + clock(last.deciding_time));
    if (now && now !== last) parts.push("attempt " + now.number + " started at " + clock(now.start));
    return parts.join(" · ");
  }

  function draw() {
    listen(false);
    const there = rows.size > 0;
    show(id("attempts"), there);
    show(id("attempts-strip-row"), there);
    setText(id("headline-said"), sentence());
    show(id("headline-said"), there);
    if (!there) return;
    const now = newest();
    lightoff.attempts.list(id("attempts-body"), all().map((one) => (one.end === null ? { ...one, now } : one)), jump);
    lightoff.attempts.press(id("attempts-body"), jumped);
    strip();
  }

  /* The strip goes with the charts above it, and says what was at the cursor. */
  function strip() {
    if (!rows.size || lightoff.views.shown() !== "live") return;
    const area = lightoff.cursor.area();
    const span = lightoff.trends.span();
    show(id("attempts-strip-row"), Boolean(area && span));
    if (!area || !span) return;
    const room = id("attempts-strip");
    const pixel = (span[1] - span[0]) / area.width;
    const shown = [...span, area.left, area.width, newest()];
    if (!drawn || shown.some((value, place) => Math.abs(value - drawn[place]) > (place === 2 || place === 3 ? 0.5 : pixel))) {
      drawn = shown;
      room.style.marginLeft = area.left + "px";
      room.style.width = area.width + "px";
      lightoff.attempts.strip(room, ended(), ...span);
    }
    const cursor = lightoff.cursor.time();
    setText(id("attempts-at"), cursor === null ? "" : lightoff.attempts.at(ended(), cursor - lightoff.trends.shift()) || "no attempt");
  }

  /* What is under way reaches to the newest reading. */
  function ended() {
    const now = newest();
    const to = (one) => (one.end === null ? { ...one, end: Math.max(now, one.start) } : one);
    return all().map((one) => ({ ...to(one), phases: one.phases.map(to) }));
  }

  /* The trends go to what decided an attempt; pressed once more they are live again. */
  function jump(attempt) {
    if (jumped === attempt.number) {
      lightoff.trends.live();
      return;
    }
    lightoff.trends.around(lightoff.attempts.moment(attempt) * 1e6);
    jumped = attempt.number;
    lightoff.attempts.press(id("attempts-body"), jumped);
  }

  /* The trends show something else than the attempt that was jumped to. */
  function released() {
    jumped = null;
    lightoff.attempts.press(id("attempts-body"), null);
  }

  return { use, forget, draw, strip, released, ended };
})();
