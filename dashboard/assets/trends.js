/* Trends: asks the server for a fresh figure, and between two of them adds live readings to it. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.trends = (function () {
  const FLUSH = 200; // [ms]
  const KEPT = 20000; // [ms] live readings kept: a fresh figure may lack what the recorder had not written yet
  const MOST_KEPT = 4000;
  const MOST_POINTS = 2000; // a trace; near it a fresh, thinned figure is asked for
  const LEAST_BETWEEN = 1500; // [ms] between two requests for a figure
  const SHORTEST_BREAK = 3000; // [ms] as in dashboard/figures.py
  const SPACINGS = 5;
  const MOST_DOTS = 50;
  const SPARSE = 3; // [s] as there: readings further apart have a dot each
  const NEAR_EDGE = 0.02; // part of the window left empty at the right

  let recent = {}; // key -> [[ms, value], ...] in order
  let newest = 0; // [ms]
  let window_ = 300; // [s], 0 is everything
  let following = true;
  let zoom = null; // [start, end] ms
  let serial = 0;
  let wanted = true;
  let asked = -Infinity;
  let waiting = false; // for the figure asked for
  let waitForReading = false;
  let graph = null;
  let shownSerial = null;

  function useReadings(rows) {
    if (rows.length) waitForReading = false;
    for (const [key, time, value, quality] of rows) {
      const ms = time / 1e6;
      const kept = (recent[key] = recent[key] || []);
      if (kept.length && ms <= kept[kept.length - 1][0]) continue;
      kept.push([ms, quality === 2 ? null : value]);
      newest = Math.max(newest, ms);
    }
    for (const kept of Object.values(recent)) {
      while (kept.length > MOST_KEPT || (kept.length && kept[0][0] < newest - KEPT)) kept.shift();
    }
  }

  function fresh() {
    wanted = true;
  }

  /* Another recorder, or the same one again: what was kept may be another recording's. */
  function forget() {
    recent = {};
    newest = 0;
    fresh();
  }

  /* The replay moved: what was shown is another time's; the figure follows with the first reading there. */
  function jumped() {
    forget();
    waitForReading = true;
    following = true;
    zoom = null;
  }

  /* Plotly shows a number of milliseconds as local time. Where times count from the start of a recording there is
     none, and the figure's times are moved by this [ms], settled when it was made, so that 0 shows as 0:00. */
  const shiftOf = (figure) => (figure.layout.meta && figure.layout.meta.shift) || 0;
  const counted = () => newest < lightoff.format.page().from_start * 1000;
  const shiftWanted = () => (newest && counted() ? new Date(0).getTimezoneOffset() * 60000 : 0);

  function setWindow(seconds) {
    window_ = seconds;
    follow(true);
  }

  function follow(on) {
    following = on;
    if (on) zoom = null;
    const { id, setText } = lightoff.dom;
    setText(id("follow"), on ? "stop here" : "follow again");
    id("follow").setAttribute("aria-pressed", String(on));
    for (const button of document.querySelectorAll(".window")) {
      const own = Number(button.dataset.window) === window_;
      button.setAttribute("aria-pressed", String(own && zoom === null));
    }
    if (on) fresh();
  }

  function request() {
    serial += 1;
    asked = performance.now();
    wanted = false;
    waiting = true;
    const data = {
      window: window_,
      start: zoom ? zoom[0] : null,
      end: zoom ? zoom[1] : null,
      shift: shiftWanted(),
      units: lightoff.settings.units,
      light: lightoff.light(),
      width: graph ? graph.clientWidth : document.documentElement.clientWidth,
      revision: String(serial),
    };
    window.dash_clientside.set_props("trend-request", { data });
  }

  /* The drawn figure, or null while there is none to add to. */
  function drawing() {
    const found = document.querySelector("#trends .js-plotly-plot");
    if (!found || !window.Plotly || !found.layout || !found.layout.xaxis || !found._fullLayout) return null;
    if (found !== graph) {
      graph = found;
      graph.on("plotly_relayout", relayouted);
      graph.on("plotly_doubleclick", () => follow(true));
    }
    return found.layout.uirevision ? found : null;
  }

  function relayouted(change) {
    const start = change["xaxis.range[0]"];
    if (start === undefined) return;
    const shift = shiftOf(graph);
    zoom = [milliseconds(start) - shift, milliseconds(change["xaxis.range[1]"]) - shift];
    follow(false);
    fresh();
  }

  /* Plotly gives dates as text without a zone: local time. */
  function milliseconds(date) {
    return typeof date === "number" ? date : Date.parse(date.includes(":") ? date.replace(" ", "T") : date + "T00:00");
  }

  const DASHES = { solid: "", dash: "9 5", dot: "3 4", dashdot: "10 4 3 4" };
  const SVG = "http://www.w3.org/2000/svg";

  function sample(trace) {
    const drawing = document.createElementNS(SVG, "svg");
    const line = document.createElementNS(SVG, trace.fillcolor ? "rect" : "line");
    const facts = trace.fillcolor
      ? { width: 36, height: 12, fill: trace.fillcolor, stroke: "currentColor", "stroke-width": 0.5 }
      : { x2: 36, y1: 6, y2: 6, stroke: trace.line.color, "stroke-width": 4, "stroke-dasharray": DASHES[trace.line.dash] };
    for (const [name, value] of Object.entries(facts)) line.setAttribute(name, value);
    drawing.setAttribute("width", 36);
    drawing.setAttribute("height", 12);
    drawing.append(line);
    return drawing;
  }

  /* One line of the legend a chart. */
  function drawLegend(traces) {
    const { id, element } = lightoff.dom;
    const charts = {};
    for (const trace of traces.filter((one) => one.name))
      (charts[trace.yaxis] = charts[trace.yaxis] || []).push(
        element("span", { class: "legend-entry" }, sample(trace), trace.name));
    id("legend").replaceChildren(...Object.values(charts).map((entries) => element("div", { class: "buttons" }, ...entries)));
  }

  /* First, smallest, largest and last of many points between two flushes. */
  function few(points) {
    if (points.length <= 4) return points;
    let [low, high] = [0, 0];
    points.forEach((point, index) => {
      if (point[1] === null) return;
      if (points[low][1] === null || point[1] < points[low][1]) low = index;
      if (points[high][1] === null || point[1] > points[high][1]) high = index;
    });
    const kept = [...new Set([0, low, high, points.length - 1])].sort((a, b) => a - b);
    return kept.map((index) => points[index]);
  }

  function addition(trace, shift) {
    const { key, scale, offset, longest } = trace.meta;
    if (!recent[key] || !recent[key].length) return null;
    let last = trace.x.length ? trace.x[trace.x.length - 1] : -Infinity;
    const news = recent[key].filter((point) => point[0] + shift > last).map(([ms, value]) => [ms + shift, value]);
    if (!news.length) return null;
    const usual = lightoff.readings.spacing(key);
    let limit = Infinity; // the plate's window is not broken
    if (longest !== null) limit = Math.max(SHORTEST_BREAK, usual === null ? longest : SPACINGS * usual * 1000);
    const [x, y] = [[], []];
    let unbroken = [];
    const draw = () => {
      for (const [ms, value] of few(unbroken)) {
        x.push(ms);
        y.push(value === null ? null : value * scale + offset);
      }
      unbroken = [];
    };
    for (const point of news) {
      if (isFinite(last) && point[0] - last > limit) {
        draw();
        x.push((point[0] + last) / 2);
        y.push(null);
      }
      unbroken.push(point);
      last = point[0];
    }
    draw();
    return { x, y };
  }

  function outside(axis, y) {
    const range = axis && axis.range;
    return range && y.some((value) => value !== null && (value < range[0] || value > range[1]));
  }

  function flush() {
    const found = drawing();
    if (found && found.layout.uirevision !== shownSerial) {
      shownSerial = found.layout.uirevision;
      if (shownSerial === String(serial)) waiting = false;
      drawLegend(found.data);
    }
    const now = performance.now();
    if (waiting && now - asked > 8000) waiting = false;
    if (wanted && !waiting && now - asked > LEAST_BETWEEN / (window_ ? 5 : 1) && !(waitForReading && now - asked < 3000))
      request();
    if (!found || !following || waiting || document.hidden) return;
    const shift = shiftOf(found);
    if (newest && shift !== shiftWanted() && now - asked > LEAST_BETWEEN) fresh();
    const [x, y, indices] = [[], [], []];
    const drawn = new Set();
    found.data.forEach((trace, index) => {
      if (!trace.meta || !trace.meta.key || !Array.isArray(trace.x)) return;
      drawn.add(trace.meta.key);
      const added = addition(trace, shift);
      if (!added) return;
      x.push(added.x);
      y.push(added.y);
      indices.push(index);
      const rescale = outside(found.layout["yaxis" + trace.yaxis.slice(1)], added.y);
      const full = trace.x.length + added.x.length > MOST_POINTS - 20;
      const dotted = trace.mode === "lines+markers" && trace.x.length > MOST_DOTS
        && (lightoff.readings.spacing(trace.meta.key) || Infinity) <= SPARSE;
      if ((rescale || full || dotted) && now - asked > LEAST_BETWEEN) fresh();
    });
    for (const channel of lightoff.readings.channels()) {
      const missing = recent[channel.key] && lightoff.trends.points.has(channel.point) && !drawn.has(channel.key);
      if (missing && now - asked > LEAST_BETWEEN) fresh();
    }
    if (!indices.length) return;
    move(found.layout.xaxis, shift);
    Plotly.extendTraces(found, { x, y }, indices, MOST_POINTS);
  }

  function move(axis, shift) {
    if (!newest) return;
    const end = newest + shift;
    let wide = window_ * 1000;
    if (!window_) wide = (end - milliseconds(axis.range[0])) / (1 - NEAR_EDGE);
    axis.range = [end - wide * (1 - NEAR_EDGE), end + wide * NEAR_EDGE];
    if (counted()) axis.range[0] = Math.max(shift, axis.range[0]); // there is nothing before the start
  }

  function start() {
    for (const button of document.querySelectorAll(".window"))
      button.addEventListener("click", () => setWindow(Number(button.dataset.window)));
    lightoff.dom.id("follow").addEventListener("click", () => follow(!following));
    follow(true);
    setInterval(flush, FLUSH);
  }

  return { useReadings, fresh, forget, jumped, start, points: new Set() };
})();
