/* The charts: each a drawing of its own, so that one is drawn at a time and none holds up the numbers. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.charts = (function () {
  const PERIOD = 100; // [ms] a chart is drawn anew this often at the most
  const FEW_PIXELS = 2; // a chart with nothing new still moves on with the others, when they moved so far
  const MOST_POINTS = 2000; // a trace; near it fresh, thinned figures are asked for
  const SHORTEST_BREAK = 3000; // [ms] as in dashboard/figures.py
  const SPACINGS = 5;
  const MOST_DOTS = 50;
  const SPARSE = 3; // [s] as there: readings further apart have a dot each
  const NEAR_EDGE = 0.02; // part of the window left empty at the right
  const CONFIG = { displayModeBar: false, scrollZoom: false, doubleClick: false, responsive: true };

  const { setText, show } = lightoff.dom;
  const charts = {}; // name -> {room, node, figure, queued, made}
  let order = [];
  let round = { began: -Infinity, now: null, left: [] };

  function make(room) {
    const name = room.dataset.chart;
    charts[name] = { name, room, node: room.querySelector(".chart-drawing"), figure: null, queued: false, made: false };
    order.push(name);
  }

  function all() {
    if (!order.length) document.querySelectorAll("#trends .chart").forEach(make);
    return order.map((name) => charts[name]);
  }

  /* Fresh figures from the server; each is drawn in its turn. */
  function use(figures) {
    round.left = [];
    for (const chart of all()) {
      const figure = figures[chart.name] || null;
      show(chart.room, Boolean(figure));
      chart.figure = figure;
      chart.queued = Boolean(figure);
      if (!figure) continue;
      const meta = figure.layout.meta;
      chart.node.style.height = meta.height + "px";
      setText(chart.room.querySelector(".chart-unit"), (meta.unit ? ", " + meta.unit : "") + (meta.empty ? " – no readings in this span" : ""));
    }
  }

  function make_(chart) {
    chart.queued = false;
    window.Plotly.react(chart.node, chart.figure.data, chart.figure.layout, CONFIG);
    if (!chart.made) {
      chart.made = true;
      chart.node.on("plotly_relayout", relayouted);
    }
    lightoff.legend.make(chart);
    lightoff.cursor.draw();
  }

  function relayouted(change) {
    const start = change["xaxis.range[0]"];
    if (start === undefined) return;
    const shift = lightoff.trends.shift();
    lightoff.trends.look(milliseconds(start) - shift, milliseconds(change["xaxis.range[1]"]) - shift);
  }

  /* Dates come as text without a zone: local time. */
  function milliseconds(date) {
    return typeof date === "number" ? date : Date.parse(date.includes(":") ? date.replace(" ", "T") : date + "T00:00");
  }

  const shown = () => all().filter((chart) => chart.figure && chart.made);

  function range() {
    const [first] = shown();
    return first ? first.figure.layout.xaxis.range.map(milliseconds) : null;
  }

  /* Ranges that a fresh figure has to hold: an axis grows, and never shrinks under the eye. */
  function ranges() {
    const found = {};
    for (const chart of all())
      if (chart.figure && !chart.figure.data.some((trace) => "lane" in (trace.meta || {})) && chart.figure.layout.meta.kept !== false)
        found[chart.name] = chart.figure.layout.yaxis.range;
    return found;
  }

  function forgetRanges() {
    for (const chart of all()) if (chart.figure) chart.figure.layout.meta.kept = false;
  }

  function forget() {
    forgetRanges();
    for (const chart of all()) chart.queued = false;
  }

  /* First, smallest, largest and last of many points between two drawings. */
  function few(points) {
    if (points.length <= 4) return points;
    let [low, high] = [0, 0];
    points.forEach((point, index) => {
      if (point[1] === null) return;
      if (points[low][1] === null || point[1] < points[low][1]) low = index;
      if (points[high][1] === null || point[1] > points[high][1]) high = index;
    });
    return [...new Set([0, low, high, points.length - 1])].sort((a, b) => a - b).map((index) => points[index]);
  }

  /* Add to a trace what came since its last point; true when there was anything. */
  function grow(trace, shift) {
    const { key, scale, offset, longest } = trace.meta;
    let last = trace.x.length ? trace.x[trace.x.length - 1] : -Infinity;
    const news = lightoff.recent.after(key, last - shift);
    if (!news.length) return false;
    const usual = lightoff.readings.spacing(key);
    let limit = Infinity; // the plate's window is not broken
    if (longest !== null) limit = Math.max(SHORTEST_BREAK, usual === null ? longest : SPACINGS * usual * 1000);
    let unbroken = [];
    const put = () => {
      for (const [ms, value] of few(unbroken)) {
        trace.x.push(ms + shift);
        trace.y.push(value === null ? null : value * scale + offset);
      }
      unbroken = [];
    };
    for (const point of news) {
      if (isFinite(last) && point[0] + shift - last > limit) {
        put();
        trace.x.push((point[0] + shift + last) / 2);
        trace.y.push(null);
      }
      unbroken.push(point);
      last = point[0] + shift;
    }
    put();
    return true;
  }

  /* A contact's bar: it begins, goes on to the newest reading of all, or ends where the contact was read open. */
  function growLane(trace, { shift, end }) {
    const { key, lane } = trace.meta;
    const last = trace.x.length ? trace.x[trace.x.length - 1] : -Infinity;
    let changed = false;
    let open = trace.y.length > 0 && trace.y[trace.y.length - 1] !== null;
    const since = Math.max(trace.meta.read || -Infinity, open ? -Infinity : last);
    for (const [ms, value] of lightoff.recent.after(key, (isFinite(since) ? since : last) - shift)) {
      trace.meta.read = ms + shift;
      lightoff.legend.know(trace, ms + shift);
      const closed = value !== null && value >= 0.5;
      if (closed === open) continue;
      changed = true;
      if (closed) { trace.x.push(ms + shift, ms + shift); trace.y.push(lane, lane); }
      else { trace.x[trace.x.length - 1] = ms + shift; trace.x.push(ms + shift); trace.y.push(null); }
      open = closed;
    }
    if (open && !lightoff.readings.stale(key)) trace.x[trace.x.length - 1] = Math.max(trace.x[trace.x.length - 1], end);
    return changed;
  }

  /* An axis grows by its steps when a reading would leave it. */
  function hold(layout, value) {
    const [low, high] = layout.yaxis.range;
    const { step } = layout.meta;
    if (value === null || (value >= low && value <= high)) return;
    layout.yaxis.range = [Math.min(low, Math.floor(value / step) * step), Math.max(high, Math.ceil(value / step) * step)];
  }

  /* Add what is new; what is wanted of the server: "" or "fresh". */
  function extend(chart, now) {
    const { data, layout } = chart.figure;
    let wanted = "";
    for (const trace of data) {
      if ("lane" in trace.meta) { growLane(trace, now); continue; }
      const before = trace.y.length;
      if (!grow(trace, now.shift)) continue;
      for (let at = before; at < trace.y.length; at += 1) hold(layout, trace.y[at]);
      const dotted = trace.mode === "lines+markers" && trace.x.length > MOST_DOTS
        && (lightoff.readings.spacing(trace.meta.key) || Infinity) <= SPARSE;
      if (dotted || trace.x.length > MOST_POINTS - 40) wanted = "fresh";
      while (trace.x.length > MOST_POINTS) { trace.x.shift(); trace.y.shift(); }
    }
    return wanted;
  }

  function slide(chart, { end, wide, first }) {
    const axis = chart.figure.layout.xaxis;
    const width = wide || (end - milliseconds(axis.range[0])) / (1 - NEAR_EDGE);
    axis.range = [Math.max(first, end - width * (1 - NEAR_EDGE)), end + width * NEAR_EDGE]; // nothing is before the start
  }

  /* Whether a line of the chart has a reading that is not drawn yet; a bar of the strip, one that changes it. */
  function news(chart, { shift }) {
    return chart.figure.data.some((trace) => {
      const last = trace.x.length ? trace.x[trace.x.length - 1] : -Infinity;
      if (!("lane" in trace.meta)) return lightoff.recent.after(trace.meta.key, last - shift).length > 0;
      const open = trace.y.length > 0 && trace.y[trace.y.length - 1] !== null;
      return lightoff.recent.after(trace.meta.key, (trace.meta.read || last) - shift)
        .some((reading) => (reading[1] !== null && reading[1] >= 0.5) !== open);
    });
  }

  const behind = (chart, now) => {
    const [start, end] = chart.figure.layout.xaxis.range.map(milliseconds);
    return Math.abs(now.end + NEAR_EDGE * (end - start) - end) * chart.node.clientWidth > FEW_PIXELS * (end - start);
  };

  /* The charts that are drawn in one round, all up to the same time. */
  function begin(now) {
    const clock = performance.now();
    if (clock - round.began < PERIOD) return;
    round = { began: clock, now, left: shown().filter((chart) => news(chart, now) || behind(chart, now)) };
  }

  /* Draw the one chart whose turn it is; "more" while others wait, "fresh" when the server is to be asked. */
  function draw(now) {
    const queued = all().find((chart) => chart.queued);
    if (queued) {
      make_(queued);
      return "more";
    }
    if (!now.going) {
      round.left = [];
      return "";
    }
    if (!round.left.length) begin(now);
    const next = round.left.shift();
    if (!next || !next.figure) return missing() ? "fresh" : "";
    const wanted = extend(next, round.now);
    slide(next, round.now);
    window.Plotly.redraw(next.node);
    lightoff.cursor.draw();
    return wanted || (missing() ? "fresh" : "more");
  }

  /* Whether a channel with readings has no line yet. */
  function missing() {
    const drawn = new Set(shown().flatMap((chart) => chart.figure.data.map((trace) => trace.meta.key)));
    return lightoff.readings.channels().some((channel) =>
      lightoff.trends.points.has(channel.point) && lightoff.recent.has(channel.key) && !drawn.has(channel.key));
  }

  return { use, draw, range, ranges, forget, forgetRanges, milliseconds, shown };
})();
