/* What I did: a button a deed, tests with their results, and the last entries, which can be taken back. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.done = (function () {
  const TESTED = "tested";
  const OTHER = "other";

  const [id, element, setText, show] = ["id", "element", "setText", "show"]
    .map((name) => (...given) => lightoff.dom[name](...given)); // this file is read before lightoff.dom is there
  let words = { deeds: [], tests: [], source: "" };
  let made = false;
  let drawn = "";

  const send = (name, given) => lightoff.live.send(name, given);

  /* Send an entry with what is written beside it, and empty that once it is kept. */
  function enter(given) {
    const text = id("done-text");
    if (given.what === OTHER && !text.value.trim()) { text.focus(); return; }
    send("did", { ...given, text: text.value.trim(), at: id("done-when").value.trim() }).then((done) => {
      if (!done.ok) return;
      text.value = "";
      id("done-when").value = "";
      id("done-test").value = "";
      drawResults();
    });
  }

  function deed(one) {
    return element("button", { type: "button", class: "done-button", "data-what": one.what, onclick: () => enter({ what: one.what }) },
      element("span", {}, one.text), one.caution ? element("span", { class: "done-caution" }, one.caution) : null);
  }

  function drawResults() {
    const test = words.tests.find((one) => one.test === id("done-test").value);
    id("done-results").replaceChildren(...(test ? test.results : []).map((one) => element("button", {
      type: "button", class: "done-button", "data-result": one.result,
      onclick: () => enter({ what: TESTED, test: test.test, result: one.result }),
    }, one.text)));
    show(id("done-results"), Boolean(test));
  }

  function make() {
    const options = words.tests.map((one) => element("option", { value: one.test }, one.text));
    id("done-body").replaceChildren(
      element("ul", { id: "done-list" }),
      element("p", { id: "done-count", class: "facts", hidden: true }),
      element("p", { id: "done-fixed", class: "facts", hidden: true }, "A replay: shown as it was recorded, nothing can be entered here."),
      element("details", { id: "done-add" },
        element("summary", {}, "enter what I did, or what a test showed"),
        element("div", { class: "done-fields" },
          element("label", {}, element("span", {}, "more about it, or what else"),
            element("input", { id: "done-text", type: "text", maxlength: 200, autocomplete: "off", placeholder: "only where it helps" })),
          element("label", {}, element("span", {}, "when, if not now"),
            element("input", { id: "done-when", type: "text", maxlength: 40, autocomplete: "off", placeholder: "06:31 or -5min" }))),
        element("div", { class: "done-buttons", role: "group", "aria-label": "done" }, ...words.deeds.map(deed)),
        element("label", { class: "done-tested" }, element("span", {}, "tested"),
          element("select", { id: "done-test", onchange: drawResults }, element("option", { value: "" }, "choose the test"), ...options)),
        element("div", { id: "done-results", class: "done-buttons", role: "group", "aria-label": "result", hidden: true }),
        element("p", { class: "facts" }, words.source)));
  }

  function row(entry, now, locked) {
    return element("li", { class: "done-entry" },
      element("span", { class: "done-text" }, entry.text + ", " + lightoff.format.clock(entry.time, now)),
      element("button", { type: "button", class: "done-undo", hidden: locked, "data-id": entry.id, "aria-label": "undo: " + entry.text,
        onclick: () => send("undo_did", { id: entry.id }) }, "undo"));
  }

  function useHello(message) {
    words = message.done || { deeds: [], tests: [], source: "" };
    made = false;
    drawn = "";
  }

  function draw(status) {
    show(id("done"), Boolean(status.done));
    if (!status.done) return;
    if (!made) make();
    made = true;
    const locked = Boolean(status.replay);
    show(id("done-add"), !locked);
    show(id("done-fixed"), locked);
    const { entries, count, ignored } = status.done;
    const shape = JSON.stringify([status.done, locked]);
    if (shape === drawn) return;
    drawn = shape;
    id("done-list").replaceChildren(...(entries.length ? entries.map((entry) => row(entry, status.now, locked))
      : [element("li", { class: "done-none" }, "nothing is entered")]));
    const more = [count > entries.length ? count - entries.length + " earlier ones are in the recording" : "",
      ignored ? ignored + " entries of this recording could not be followed" : ""].filter(Boolean).join("; ");
    show(id("done-count"), Boolean(more));
    setText(id("done-count"), more);
  }

  return { useHello, draw };
})();
