/* Trends: which span is shown, asked of the server afresh when needed; between two answers live readings go on. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.trends = (function () {
  const TICK = 16; // [ms] one chart is drawn a tick at the most
  const LEAST_BETWEEN = 1500; // [ms] between two requests for figures
  const AROUND = 60; // [s] shown before and after a moment that was jumped to
  const STEP = 0.5; // "earlier" and "later" move by this part of the window
  const PATIENCE = 8000; // [ms] for an answer

  const { id, setText, show } = lightoff.dom;
  let window_ = 300; // [s], 0 is everything
  let following = true;
  let zoom = null; // [start, end] ms UTC
  let wanted = true;
  let asked = -Infinity;
  let waiting = null; // AbortController of the request that is under way
  let waitForReading = false;
  let shift = 0; // [ms] of the figures that are shown
  let shiftAsked = 0; // what was asked for when they were made

  const fresh = () => { wanted = true; };
  const newest = () => lightoff.recent.newest();
  const counted = () => newest() < lightoff.format.page().from_start * 1000;
  /* Charts show a number of milliseconds as local time. Where times count from the start of a recording there is none,
     and their times are moved by this [ms], so that 0 shows as 0:00. */
  const shiftWanted = () => (newest() && counted() ? new Date(0).getTimezoneOffset() * 60000 : 0);

  /* Another recorder, or the same one again: what was kept may be another recording's. */
  function forget() {
    lightoff.recent.forget();
    fresh();
  }

  /* A number typed in counts as never read; the server knows it when the recorder has written that. */
  function withdrawn() {
    setTimeout(forget, 400);
  }

  /* The replay moved: what was shown is another time's; the figures follow with the first reading there. */
  function jumped() {
    forget();
    lightoff.charts.forget();
    waitForReading = true;
    follow(true);
  }

  function useReadings(rows) {
    if (rows.length) waitForReading = false;
    lightoff.recent.use(rows);
    soon();
  }

  function setWindow(seconds) {
    window_ = seconds;
    lightoff.charts.forgetRanges();
    follow(true);
  }

  function follow(on) {
    following = on;
    lightoff.sequence.released();
    if (on) zoom = null;
    setText(id("follow"), on ? "pause" : "back to live");
    id("follow").setAttribute("aria-pressed", String(!on));
    for (const button of document.querySelectorAll(".window"))
      button.setAttribute("aria-pressed", String(Number(button.dataset.window) === window_ && zoom === null));
    show(id("trends-earlier"), !on);
    show(id("trends-later"), !on);
    if (on) fresh();
  }

  /* What the charts show now [ms UTC]. */
  function span() {
    const range = lightoff.charts.range();
    return range ? [range[0] - shift, range[1] - shift] : null;
  }

  function look(start, end) {
    zoom = [start, end];
    follow(false);
    fresh();
  }

  function move(direction) {
    const now = zoom || span();
    if (!now) return;
    const step = direction * STEP * (now[1] - now[0]);
    look(now[0] + step, now[1] + step);
  }

  /* Show the time around a moment [ns], with the cursor on it, and bring the charts into sight; the focus stays. */
  function around(time) {
    const ms = time / 1e6;
    const half = Math.min(window_ || 2 * AROUND, 2 * AROUND) * 500;
    look(ms - half, ms + half);
    lightoff.cursor.at(0.5);
    const { top } = id("trends-title").getBoundingClientRect();
    if (top < 0 || top > window.innerHeight) lightoff.dom.toTop(id("trends-section"));
  }

  function live() {
    lightoff.cursor.at(null);
    follow(true);
  }

  function jump(time) {
    around(time);
    lightoff.views.go("live");
    lightoff.dom.jump("trends-section", "trends-title");
  }

  function request() {
    return {
      window: window_,
      start: zoom ? zoom[0] : null,
      end: zoom ? zoom[1] : null,
      shift: shiftWanted(),
      units: lightoff.settings.units,
      light: lightoff.light(),
      width: id("trends").clientWidth || document.documentElement.clientWidth,
      keep: lightoff.charts.ranges(),
    };
  }

  async function ask() {
    asked = performance.now();
    wanted = false;
    const own = (waiting = new AbortController());
    const { units } = lightoff.settings;
    const late = setTimeout(() => own.abort(), PATIENCE);
    try {
      const answer = await fetch("/trends", { method: "POST", body: JSON.stringify(request()), signal: own.signal });
      const figures = await answer.json();
      if (units === lightoff.settings.units) use(figures);
      else wanted = true; // made for what is no longer shown
    } catch {
      wanted = true; // the server is gone or slow; asked again when it may be there
    } finally {
      clearTimeout(late);
      waiting = null;
    }
  }

  function use(answer) {
    const told = answer.message || "";
    setText(id("trends-message"), told);
    show(id("trends-message"), told !== "");
    shift = answer.shift || 0;
    shiftAsked = answer.asked || 0;
    setText(id("trends-axis"), Object.keys(answer.figures).length ? (answer.counted ? "time from the start" : "local time") : "");
    const hidden = !id("trends").clientWidth; // a drawing that is not shown gets a width of its own: it waits
    lightoff.charts.use(hidden ? {} : answer.figures);
    if (hidden && Object.keys(answer.figures).length) wanted = true;
    lightoff.cursor.draw();
  }

  function mayAsk() {
    const since = performance.now() - asked;
    if (waiting || document.hidden || lightoff.views.shown() !== "live" || !window.Plotly || lightoff.guest.ended()) return false;
    return since > (zoom ? 100 : LEAST_BETWEEN / (window_ ? 5 : 1)) && !(waitForReading && since < 3000);
  }

  let due = null;
  let drawn = 0;

  /* Draw one chart when its turn has come. */
  function tick() {
    due = null;
    if (wanted && mayAsk()) ask();
    if (document.hidden || lightoff.views.shown() !== "live") return;
    const began = performance.now();
    const going = following && !waiting && newest() > 0;
    if (going && shiftAsked !== shiftWanted() && began - asked > LEAST_BETWEEN) fresh();
    const more = lightoff.charts.draw({
      going,
      end: newest() + shift,
      wide: window_ * 1000,
      first: counted() ? shift : -Infinity,
      shift,
    });
    if (more === "fresh" && began - asked > LEAST_BETWEEN) fresh();
    drawn = performance.now() - began;
    if (more === "more") soon();
  }

  /* What was drawn longest is rested from half as long, so that the rest of the page moves too. */
  function soon() {
    if (due === null) due = setTimeout(tick, Math.max(TICK / 2, drawn / 2));
  }

  function start() {
    for (const button of document.querySelectorAll(".window"))
      button.addEventListener("click", () => setWindow(Number(button.dataset.window)));
    id("follow").addEventListener("click", () => {
      if (following) look(...(span() || [newest() - 1000 * (window_ || 300), newest()]));
      else follow(true);
    });
    id("trends-earlier").addEventListener("click", () => move(-1));
    id("trends-later").addEventListener("click", () => move(1));
    lightoff.cursor.start();
    lightoff.views.when("live", fresh);
    follow(true);
    setInterval(soon, 100);
  }

  return {
    useReadings, fresh, forget, jumped, withdrawn, jump, around, live, start, look, span,
    shift: () => shift,
    /* A replay that runs faster than a sound can follow. */
    hurried: () => { const status = lightoff.readings.status(); return Boolean(status && status.replay && status.replay.speed > 2); },
    toggle: () => id("follow").click(),
    points: new Set(),
  };
})();
