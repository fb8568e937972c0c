/* One time read off across all charts: under the mouse, or set with the slider by thumb and keys; and the legends. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.cursor = (function () {
  const STEPS = 1000;

  const { id, element, setText, show } = lightoff.dom;
  let hovered = null; // part of the width of the charts, 0 to 1
  let set = null;

  const part = () => (hovered !== null ? hovered : set);

  /* Left edge and width of the charts' area within #trends [px], or null. */
  function area() {
    const [first] = lightoff.charts.shown();
    const size = first && first.node._fullLayout && first.node._fullLayout._size;
    return size && size.w > 0 ? { left: first.node.offsetLeft + size.l, width: size.w } : null;
  }

  /* The time at the cursor as the charts count it [ms], or null. */
  function time() {
    const range = lightoff.charts.range();
    return part() === null || !range ? null : range[0] + part() * (range[1] - range[0]);
  }

  function at(share) {
    set = share;
    id("trends-cursor").value = share === null ? STEPS : Math.round(share * STEPS);
    draw();
  }

  function hover(event) {
    const room = area();
    if (!room) return;
    const x = (event.clientX - id("trends").getBoundingClientRect().left - room.left) / room.width;
    hovered = x >= 0 && x <= 1 ? x : null;
    draw();
  }

  function draw() {
    const room = area();
    const now = time();
    const line = id("trends-cursor-line");
    show(line, now !== null && room !== null);
    show(id("trends-cursor-clear"), set !== null);
    const words = now === null ? "" : lightoff.format.clock((now - lightoff.trends.shift()) * 1e6);
    setText(id("trends-cursor-time"), now === null ? "" : "at " + words);
    id("trends-cursor").setAttribute("aria-valuetext", now === null ? "not set" : words);
    if (room && part() !== null) line.style.left = room.left + part() * room.width + "px";
    for (const chart of lightoff.charts.shown()) lightoff.legend.read(chart, now);
    lightoff.sequence.strip();
  }

  function start() {
    const slider = element("input", { id: "trends-cursor", type: "range", min: 0, max: STEPS, step: 1, value: STEPS,
      oninput: (event) => { hovered = null; set = Number(event.target.value) / STEPS; draw(); } });
    id("trends-cursor-row").append(
      element("label", { for: "trends-cursor" }, "read off"), slider,
      element("span", { id: "trends-cursor-time" }),
      element("button", { id: "trends-cursor-clear", type: "button", hidden: true, onclick: () => at(null) }, "hide"));
    const trends = id("trends");
    trends.addEventListener("mousemove", hover);
    trends.addEventListener("mouseleave", () => { hovered = null; draw(); });
  }

  return { start, draw, at, area, time };
})();

lightoff.legend = (function () {
  const WIDTH = 36;
  const DASHES = { solid: "", dash: "9 5", dot: "3 4", dashdot: "10 4 3 4" };
  const SVG = "http://www.w3.org/2000/svg";
  const NEAR = 30000; // [ms] a value further from the cursor than this is none
  const HELD = 30000; // [ms] a contact that was not read for longer is not known, as in dashboard/strip.py

  const { element, setText } = lightoff.dom;

  function drawing(kind, facts) {
    const made = document.createElementNS(SVG, "svg");
    const line = document.createElementNS(SVG, kind);
    for (const [name, value] of Object.entries(facts)) line.setAttribute(name, value);
    for (const [name, value] of [["width", WIDTH], ["height", 12], ["aria-hidden", "true"]]) made.setAttribute(name, value);
    made.append(line);
    return made;
  }

  /* A piece of a line as it is drawn. */
  const sample = (dash, colour) =>
    drawing("line", { x2: WIDTH, y1: 6, y2: 6, stroke: colour, "stroke-width": 4, "stroke-dasharray": DASHES[dash] || "" });

  const sampleOf = (trace) => (trace.fillcolor
    ? drawing("rect", { width: WIDTH, height: 12, fill: trace.fillcolor, stroke: "currentColor", "stroke-width": 0.5 })
    : sample(trace.line.dash, trace.line.color));

  /* Names of the lines of a chart; a strip has them on its lanes, so that there only the words at the cursor are shown. */
  function make(chart) {
    const entries = chart.figure.data.filter((trace) => trace.name);
    const shape = JSON.stringify(entries.map((trace) => [trace.name, trace.line.color, trace.line.dash, trace.fillcolor]));
    if (chart.legend === shape) return;
    chart.legend = shape;
    chart.values = entries.map(() => element("span", { class: "legend-value" }));
    chart.room.querySelector(".legend").replaceChildren(...entries.map((trace, number) =>
      element("span", { class: "legend-entry" + ("lane" in trace.meta ? " legend-lane" : "") },
        "lane" in trace.meta ? null : sampleOf(trace), trace.name, chart.values[number])));
  }

  /* A contact was read at a time [ms]. */
  function know(trace, time) {
    const { known } = trace.meta;
    const last = known[known.length - 1];
    if (last && time - last[1] <= HELD) last[1] = Math.max(last[1], time);
    else known.push([time, time]);
  }

  /* Last point at or before a time. */
  function before(trace, time) {
    let low = 0;
    let high = trace.x.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (trace.x[middle] <= time) low = middle + 1;
      else high = middle;
    }
    return low - 1;
  }

  function text(trace, time) {
    const at = before(trace, time);
    const { point } = trace.meta;
    if ("lane" in trace.meta) {
      const words = lightoff.format.page().contacts[point];
      if (!trace.meta.known.some(([begin, end]) => time >= begin && time <= end + HELD)) return "not known";
      return at >= 0 && trace.y[at] !== null ? words.on : words.off;
    }
    if (at < 0 || trace.y[at] === null || time - trace.x[at] > NEAR) return "no value";
    return lightoff.format.text(point, (trace.y[at] - trace.meta.offset) / trace.meta.scale);
  }

  /* What each line shows at a time [ms], beside its name; nothing without a time. */
  function read(chart, time) {
    if (!chart.values) return;
    const entries = chart.figure.data.filter((trace) => trace.name && trace.meta);
    entries.forEach((trace, number) => {
      const band = Boolean(trace.fillcolor);
      if (chart.values[number]) setText(chart.values[number], time === null || band ? "" : text(trace, time));
    });
    lightoff.dom.setClass(chart.room, "reading-off", time !== null);
  }

  return { make, read, sample, know };
})();
