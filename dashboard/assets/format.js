/* Inside values into text: units, signs, ages, local time. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.format = (function () {
  const NO_PAGE = { measures: {}, points: {}, contacts: {}, typed: [], ladder: [], examples: {}, from_start: 0 };
  let page = NO_PAGE;

  function screen(point) {
    const known = page.points[point];
    return known ? page.measures[known.measure][lightoff.settings.units] : null;
  }

  /* {word, number, unit} of an inside value; a suction is told by its word, its sign stays in the data. */
  function value(point, inside) {
    const scale = screen(point);
    if (!scale) return { word: "", number: String(inside), unit: "" };
    if (inside === null || inside === undefined || !isFinite(inside)) return { word: "", number: "no value", unit: "" };
    let shown = inside * scale.scale + scale.offset;
    const least = 0.5 * Math.pow(10, -scale.decimals);
    let word = "";
    if (page.points[point].suction && shown <= -least) {
      word = "suction";
      shown = -shown;
    }
    if (Math.abs(shown) < least) shown = 0;
    return { word, number: shown.toFixed(scale.decimals).replace("-", "−"), unit: scale.label };
  }

  /* Whether a value is told as a suction: then a larger number is a lower pressure. */
  const suction = (point, inside) => Boolean(page.points[point] && page.points[point].suction && inside < 0);

  function text(point, inside) {
    const parts = value(point, inside);
    return [parts.word, parts.number, parts.unit].filter(Boolean).join(" ");
  }

  function span(seconds) {
    if (seconds < 90) return Math.floor(seconds) + " s";
    if (seconds < 5400) return Math.floor(seconds / 60) + " min";
    return Math.floor(seconds / 3600) + " h";
  }

  /* How far local time is ahead of UTC at a time [ms]; none where times are counted from the start of a recording. */
  function offset(ms) {
    return ms < page.from_start * 1000 ? 0 : -new Date(ms).getTimezoneOffset() * 60000;
  }

  /* Local time of day, with the date where that is not today's of the recording; or time from the start. */
  function clock(nanoseconds, now) {
    const ms = nanoseconds / 1e6;
    const local = (time) => new Date(time + offset(time)).toISOString();
    const day = now && local(now / 1e6).slice(0, 10) !== local(ms).slice(0, 10) ? local(ms).slice(0, 10) + " " : "";
    return day + local(ms).slice(11, 19);
  }

  function minutes(seconds) {
    const whole = Math.max(0, Math.round(seconds));
    return Math.floor(whole / 60) + ":" + String(whole % 60).padStart(2, "0");
  }

  return {
    value, text, suction, span, clock, offset, minutes, screen,
    use: (message) => { page = { ...NO_PAGE, ...message }; },
    page: () => page,
    pointText: (point) => (page.points[point] || { text: point }).text,
    measureOf: (point) => (page.points[point] || {}).measure,
  };
})();
