/* Step 3 of a new meter: its values live, whether each has moved, and what moves it without any danger. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.wizardTrial = (function () {
  const { id, element, setText, show, setClass } = lightoff.dom;
  const SVG = "http://www.w3.org/2000/svg";
  const WIDTH = 160;
  const HEIGHT = 40;
  let rows = {}; // point and unit -> nodes

  /* Begin a trial; the sentences that stand in its way. */
  function begin(state) {
    return lightoff.wizard.ask("trial_start", { instrument: lightoff.wizard.entry(state) }).then((done) => {
      if (!done.ok) return [done.text];
      if (!done.data.started) return done.data.mistakes.map((one) => one.text);
      state.number = done.data.number;
      state.cautions = done.data.cautions;
      return [];
    });
  }

  function line() {
    const made = document.createElementNS(SVG, "svg");
    made.setAttribute("viewBox", "0 0 " + WIDTH + " " + HEIGHT);
    made.setAttribute("preserveAspectRatio", "none");
    made.setAttribute("aria-hidden", "true");
    made.setAttribute("class", "trial-line");
    made.append(document.createElementNS(SVG, "polyline"));
    return made;
  }

  function drawLine(node, recent, least) {
    const low = Math.min(...recent);
    const span = Math.max(Math.max(...recent) - low, least || 1e-9);
    const points = recent.map((value, place) =>
      (recent.length < 2 ? WIDTH : (place / (recent.length - 1)) * WIDTH).toFixed(1) + "," + (HEIGHT - 3 - ((value - low) / span) * (HEIGHT - 6)).toFixed(1));
    node.firstChild.setAttribute("points", points.join(" "));
  }

  /* A distance that a value went, in the unit on screen. */
  function distance(point, by) {
    const scale = lightoff.format.screen(point);
    return scale ? ((by * scale.scale).toFixed(scale.decimals) + " " + scale.label).trim() : String(by);
  }

  function row(one) {
    const place = lightoff.wizardPoints.places()[one.point] || { move: "" };
    const nodes = {
      number: element("span", { class: "trial-number" }), native: element("span", { class: "trial-native" }),
      moved: element("span", { class: "trial-moved" }), line: line(),
    };
    nodes.node = element("li", { class: "trial-row", "data-point": one.point },
      element("strong", {}, lightoff.format.pointText(one.point)),
      element("div", { class: "trial-live" }, nodes.number, nodes.native, nodes.line),
      nodes.moved, element("span", { class: "trial-how" }, place.move));
    return nodes;
  }

  function drawRow(one) {
    const key = one.point + " " + one.unit;
    const nodes = (rows[key] = rows[key] || row(one));
    if (!nodes.node.parentNode) id("trial-values").append(nodes.node);
    const shown = one.value === null ? (one.count ? "no good value" : "–") : lightoff.format.text(one.point, one.value);
    const old = one.age !== null && one.age > 5 ? ", " + lightoff.format.span(one.age) + " ago" : "";
    setText(nodes.number, shown);
    const native = one.native === null ? "" : "the meter says " + String(one.native).replace("-", "−") + (one.unit === "1" ? "" : " " + one.unit);
    setText(nodes.native, native + (native ? old : "") + (one.quality === 1 ? ", doubtful" : ""));
    setText(nodes.moved, one.moved ? "✓ moved by " + distance(one.point, one.by)
      : one.count ? "○ has not moved yet (" + distance(one.point, one.by) + ")" : "○ nothing read yet");
    setClass(nodes.node, "moved", one.moved);
    if (one.recent.length) drawLine(nodes.line, one.recent, 0);
  }

  function draw(state, done) {
    if (!id("trial-values")) return;
    if (!done.ok) { over(done.text); return; }
    const data = done.data;
    for (const one of data.values) drawRow(one);
    const moved = data.values.filter((one) => one.moved).length;
    setText(id("trial-summary"), moved + " of " + data.values.length + (data.values.length === 1 ? " value has moved" : " values have moved"));
    state.moved = moved > 0 && moved === data.values.length;
    const troubled = ["trying again", "stopped"].includes(data.state);
    const misfit = data.running && !troubled && data.unreadable > 0 && data.values.every((one) => !one.count);
    const way = state.offers.ways.find((one) => one.name === state.way);
    const other = "it speaks, but nothing fits: go back and choose another kind" + (way && (way.bauds || []).length ? " or baud" : "");
    setText(id("trial-state"), misfit ? other
      : data.running ? (troubled ? data.text : data.state === "reading" ? "reading; nothing of this is recorded" : "connecting")
        : data.state === "stopped" ? data.text : "");
    setClass(id("trial-state"), "bad", misfit || troubled || data.state === "stopped");
    setText(id("trial-said"), data.said);
    show(id("trial-said"), data.said !== "");
    over(data.running ? "" : data.why ? "The trial has " + (data.why.startsWith("ended") ? data.why : "ended") + "." : "The trial has ended.");
    lightoff.wizard.drawFoot();
  }

  function over(text) {
    setText(id("trial-over"), text);
    show(id("trial-over"), text !== "");
    setText(id("trial-again"), text ? "try again" : "begin anew");
  }

  function again(state) {
    begin(state).then((hindrances) => {
      if (hindrances.length) { lightoff.wizard.trouble(...hindrances); return; }
      lightoff.wizard.trouble();
      rows = {};
      id("trial-values").replaceChildren();
    });
  }

  function make(room, state) {
    rows = {};
    const caution = lightoff.wizard.caution(state);
    room.replaceChildren(
      ...(caution ? [element("p", { class: "wizard-caution" }, caution)] : []),
      element("p", {}, "Make each value move, so that you know which meter it is and that it is alive. A trial ends after three minutes."),
      element("p", { id: "trial-state", class: "facts", role: "status" }, "connecting"),
      element("p", { id: "trial-said", class: "facts", hidden: true }),
      element("ul", { id: "trial-values", "aria-label": "values on trial" }),
      element("p", { id: "trial-summary", class: "facts", role: "status" }),
      element("p", { id: "trial-over", role: "status", hidden: true }),
      element("div", { class: "buttons" }, element("button", { id: "trial-again", type: "button", onclick: () => again(state) }, "begin anew")));
  }

  return {
    begin, make, every: 400,
    look: (state) => lightoff.wizard.ask("trial_state", { number: state.number }).then((done) => draw(state, done)),
    leave: () => lightoff.wizard.ask("trial_stop"),
    next: () => [],
    nextText: (state) => (state.moved ? "next" : "go on without having seen it move"),
  };
})();
