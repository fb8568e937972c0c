/* Figures below each other on one axis of time: drawn from an answer of the server, with a legend, a cursor and a zoom. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.drawings = (function () {
  const CONFIG = { displaylogo: false, displayModeBar: false, scrollZoom: false, doubleClick: false, responsive: true };
  const SIGNS = ["●", "■", "◆", "▲", "✖", "★"]; // in the order of the marks in dashboard/compare_look.py

  const { element } = lightoff.dom;

  /* Ask the server for something of the library; what it refuses is an error with its sentence. */
  async function ask(path, given) {
    const query = new URLSearchParams();
    for (const [name, value] of Object.entries(given || {}))
      if (value !== null && value !== undefined) query.set(name, value);
    let answer = null;
    try {
      answer = await fetch(path + (query.size ? "?" + query : ""), { cache: "no-store" });
    } catch {
      throw new Error("the page's program does not answer; try again in a moment");
    }
    if (!answer.ok) throw new Error(answer.status === 404 ? await answer.text() : "the page could not be answered (" + answer.status + "); load it again");
    return answer.json();
  }

  /* How a figure is to look here and now. */
  const look = (room) => ({
    units: lightoff.settings.units, light: lightoff.light(), width: room.clientWidth || document.documentElement.clientWidth,
  });

  function legendOf(one) {
    const entry = (...parts) => element("span", { class: "legend-entry" }, ...parts);
    const sign = (row) => {
      const made = element("span", { class: "chart-sign", "aria-hidden": "true" }, SIGNS[row.place % SIGNS.length]);
      made.style.color = row.colour;
      return made;
    };
    if (one.legend) return one.legend.map((row) => entry(sign(row), row.text));
    return one.figure.data.filter((trace) => trace.name && trace.line && !trace.fill && !(trace.meta && "lane" in trace.meta))
      .map((trace) => entry(lightoff.legend.sample(trace.line.dash, trace.line.color), trace.name));
  }

  function titleOf(one) {
    const { title, unit } = (one.figure.layout && one.figure.layout.meta) || {};
    return title ? [element("strong", {}, title + (unit ? ", " + unit : ""))] : [];
  }

  /* Charts in `room`; `zoomed(start, end)` and `pointed(time)` are told in the axis' own numbers: [ms] of what is written
     on an axis of dates, whatever the zone. */
  function make(room, { zoomed, pointed }) {
    let cursor = null;

    const axisOf = (plot) => plot._fullLayout && plot._fullLayout.xaxis;

    function drawCursor() {
      for (const own of room.children) {
        const plot = own.querySelector(".chart-plot");
        const axis = axisOf(plot);
        const line = own.querySelector(".chart-cursor");
        const place = axis && cursor !== null ? axis.l2p(cursor) : NaN;
        const inside = place >= 0 && place <= axis._length;
        lightoff.dom.show(line, inside);
        if (inside) line.style.left = axis._offset + place + "px";
      }
    }

    function chart() {
      const plot = element("div", { class: "chart-plot" });
      const own = element("div", { class: "recorded-chart" }, element("div", { class: "chart-legend buttons" }),
        element("div", { class: "chart-room" }, plot, element("div", { class: "chart-cursor", hidden: true })));
      plot.addEventListener("click", (event) => {
        const axis = axisOf(plot);
        if (!axis || !pointed) return;
        const place = event.clientX - plot.getBoundingClientRect().left - axis._offset;
        if (place >= 0 && place <= axis._length) pointed(axis.p2l(place));
      });
      return own;
    }

    async function draw(figures) {
      while (room.children.length > figures.length) {
        Plotly.purge(room.lastChild.querySelector(".chart-plot"));
        room.lastChild.remove();
      }
      while (room.children.length < figures.length) room.append(chart());
      for (const [index, one] of figures.entries()) {
        const own = room.children[index];
        const plot = own.querySelector(".chart-plot");
        plot.style.height = one.height + "px";
        own.querySelector(".chart-legend").replaceChildren(...titleOf(one), ...legendOf(one));
        await Plotly.react(plot, one.figure.data, one.figure.layout, CONFIG);
        if (plot.dataset.listening) continue;
        plot.dataset.listening = "yes";
        plot.on("plotly_relayout", (change) => {
          const axis = axisOf(plot);
          if (change["xaxis.range[0]"] !== undefined) zoomed(...axis.range.map((end) => axis.r2l(end)));
          drawCursor();
        });
      }
      drawCursor();
    }

    function moveCursor(time) {
      cursor = time;
      drawCursor();
    }

    function resize() {
      for (const plot of room.querySelectorAll(".chart-plot")) if (axisOf(plot) && plot.clientWidth) Plotly.Plots.resize(plot);
      requestAnimationFrame(drawCursor);
    }
    window.addEventListener("resize", () => setTimeout(drawCursor, 200));

    /* Where the time axis lies in the room: {left, width} [px]; null where nothing is drawn. */
    function area() {
      const plot = room.querySelector(".chart-plot");
      const axis = plot && axisOf(plot);
      if (!axis) return null;
      const left = plot.getBoundingClientRect().left - room.getBoundingClientRect().left + axis._offset;
      return { left, width: axis._length };
    }

    return { draw, moveCursor, resize, area };
  }

  return { ask, look, make };
})();
