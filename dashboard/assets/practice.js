/* Faults of a simulated unit, set by hand while it runs; what is set stays folded away, so that somebody can be examined. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.practice = (function () {
  const USUAL = 70; // [%]

  const { id, element, setText, show } = lightoff.dom;
  let causes = {};
  let drawn = "";

  const send = (name, given) => lightoff.live.send(name, given);
  const drawSeverity = () => setText(id("practice-severity-text"), "how bad: " + id("practice-severity").value + " %");

  /* Back to nothing chosen: what was set must not be read off the form. */
  function reset() {
    id("practice-cause").value = "";
    id("practice-severity").value = USUAL;
    drawSeverity();
  }

  function act(name, given) {
    const cause = id("practice-cause").value;
    if (cause) send(name, { cause, ...given }).then((done) => { if (done.ok) reset(); });
    else id("practice-cause").focus();
  }

  function make() {
    const options = Object.entries(causes).map(([name, words]) => element("option", { value: name }, words));
    const cause = element("select", { id: "practice-cause" },
      element("option", { value: "" }, "choose what is to be wrong or right"), ...options);
    const severity = element("input", { id: "practice-severity", type: "range", min: 5, max: 100, step: 5, value: USUAL, oninput: drawSeverity });
    id("practice-body").replaceChildren(
      element("p", { class: "facts" }, "Changes the simulated unit only. The recording never says what is set here."),
      element("div", { class: "form" },
        element("label", {}, element("span", {}, "what"), cause),
        element("label", {}, element("span", { id: "practice-severity-text" }), severity),
        element("div", { class: "buttons" },
          element("button", { id: "practice-inject", type: "button",
            onclick: () => act("inject", { severity: Number(severity.value) / 100 }) }, "make it so"),
          element("button", { id: "practice-repair", type: "button", onclick: () => act("repair", {}) }, "repaired"))),
      element("details", { id: "practice-set" },
        element("summary", {}, "show what is set now (not for whoever is to find it)"),
        element("ul", { id: "practice-list" })));
    drawSeverity();
  }

  function useHello(message) {
    causes = message.causes || {};
    drawn = "";
    id("practice-body").replaceChildren();
  }

  function draw(status) {
    const practice = status.practice;
    show(id("practice"), Boolean(practice));
    if (!practice) return;
    if (!id("practice-cause")) make();
    const shape = JSON.stringify(practice.set);
    if (shape === drawn) return;
    drawn = shape;
    const rows = practice.set.map((one) =>
      element("li", {}, (causes[one.cause] || one.cause) + ": " + Math.round(100 * one.severity) + " %"));
    id("practice-list").replaceChildren(...(rows.length ? rows : [element("li", {}, "nothing: it works as it should")]));
  }

  return { useHello, draw };
})();
