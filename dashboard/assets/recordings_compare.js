/* Two recordings on one axis of time: A solid, B dashed; B is aligned and moved. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.compare = (function () {
  const STEPS = [[-10, "−10 s"], [-1, "−1 s"], [1, "+1 s"], [10, "+10 s"]];
  const FARTHEST = 1e7; // [s]
  const SOON = 250; // [ms] several presses are one request

  const { id, element, setText, show } = lightoff.dom;
  let charts = null;
  let serial = 0;
  let range = null; // [start, end] ms, null is all
  let due = null;

  const chosen = () => [id("compare-a").value, id("compare-b").value];

  function amount() {
    const text = id("compare-by").value.trim().replace("−", "-").replace(",", ".");
    const given = Number(text || 0);
    return isFinite(given) && Math.abs(given) <= FARTHEST ? given : null;
  }

  function say(text, bad) {
    setText(id("compare-text"), text);
    lightoff.dom.setClass(id("compare-text"), "unknown-now", Boolean(bad));
  }

  async function draw() {
    due = null;
    const [a, b] = chosen();
    const own = serial += 1;
    const there = Boolean(a && b);
    show(id("compare-key"), there);
    if (!there) {
      charts.draw([]);
      say("Choose two recordings.");
      return;
    }
    const by = amount();
    if (by === null) {
      say("Type a number of seconds, such as 12.5 or −3.", true);
      return;
    }
    setText(id("compare-key-a"), "A, solid, full marks: " + a);
    setText(id("compare-key-b"), "B, dashed, hollow marks: " + b);
    const asked = { a, b, by, align: id("compare-align").value, ...lightoff.drawings.look(id("compare-charts")) };
    if (range) Object.assign(asked, { start: range[0], end: range[1] });
    try {
      const answer = await lightoff.drawings.ask("/comparison", asked);
      if (own !== serial) return;
      say("B begins at " + (answer.moved >= 0 ? "+" : "−") + Math.abs(answer.moved).toFixed(1) + " s: " + answer.text + ".");
      id("compare-text").dataset.moved = answer.moved;
      await charts.draw(answer.figures);
    } catch (error) {
      if (own === serial) say(error.message, true);
    }
  }

  function soon() {
    clearTimeout(due);
    due = setTimeout(draw, SOON);
  }

  function nudge(seconds) {
    const by = amount();
    id("compare-by").value = String(Math.round(((by === null ? 0 : by) + seconds) * 1000) / 1000).replace("-", "−");
    soon();
  }

  function make() {
    const field = (label, input) => element("label", {}, element("span", {}, label), input);
    const all = () => { range = null; soon(); };
    const choice = (name) => element("select", { id: name, onchange: all }, element("option", { value: "" }, "choose one"));
    const align = element("select", { id: "compare-align", onchange: all },
      element("option", { value: "start" }, "both at their start"),
      element("option", { value: "gas" }, "where the gas valve opens first (else the switch closes)"));
    const by = element("input", { id: "compare-by", type: "text", inputmode: "decimal", maxlength: 12, value: "0", oninput: soon });
    id("compare-body").append(
      element("div", { class: "form" }, field("A, drawn solid", choice("compare-a")), field("B, drawn dashed", choice("compare-b")), field("align", align)),
      element("div", { class: "form", id: "compare-move" }, field("then move B by [s]", by),
        element("div", { class: "buttons" }, ...STEPS.map(([seconds, text]) =>
          element("button", { type: "button", class: "compare-step", "aria-label": "move B by " + text, onclick: () => nudge(seconds) }, text)),
        element("button", { type: "button", id: "compare-all", onclick: all }, "show all"))),
      element("p", { id: "compare-text", role: "status", class: "facts" }, "Choose two recordings."),
      element("p", { id: "compare-key", class: "buttons", hidden: true },
        element("span", { class: "legend-entry" }, lightoff.legend.sample("solid", "currentColor"), element("span", { id: "compare-key-a" })),
        element("span", { class: "legend-entry" }, lightoff.legend.sample("dash", "currentColor"), element("span", { id: "compare-key-b" }))),
      element("div", { id: "compare-charts" }));
    charts = lightoff.drawings.make(id("compare-charts"), { zoomed: (start, end) => { range = [start * 1000, end * 1000]; soon(); } });
  }

  /* The recordings that can be chosen: what was chosen stays while it is there. */
  function offer(recordings) {
    const usable = recordings.filter((one) => !one.problem && one.length !== null);
    show(id("compare"), usable.length > 1);
    for (const name of ["compare-a", "compare-b"]) {
      const select = id(name);
      const before = select.value;
      const options = usable.map((one) => element("option", { value: one.name }, one.name + (one.job ? " – " + one.job : "")));
      select.replaceChildren(element("option", { value: "" }, "choose one"), ...options);
      select.value = options.some((one) => one.value === before) ? before : "";
      if (select.value !== before) soon();
    }
  }

  function redraw() {
    if (chosen().every(Boolean)) soon();
  }

  return { make, offer, redraw, resize: () => { if (charts) charts.resize(); } };
})();
