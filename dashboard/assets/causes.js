/* What may be wrong: the leading causes of this call, what speaks for and against each, and the next tests. It is looked
   for when an attempt has ended, by another process, for that takes some seconds of a processor. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.causes = (function () {
  const EVERY = 5000; // [ms]
  const TRIES = 12; // so often it is asked whether something was found since the last attempt ended
  const { id, element, show } = lightoff.dom;
  let drawn = "";
  let attempts = 0;
  let due = 0;
  let open = new Set(); // causes whose evidence is unfolded

  function evidence(one) {
    const row = element("li", {}, one.text);
    if (one.at !== null) row.append(" ", element("button", { type: "button", class: "event-show", onclick: () => lightoff.trends.jump(one.at * 1e6) }, "show"));
    return row;
  }

  function cause(one) {
    const more = element("details", { class: "cause" },
      element("summary", {}, element("strong", {}, one.likely), " " + one.text),
      one.caution ? element("p", { class: "caution" }, one.caution) : "",
      element("ul", {}, ...one.evidence.map(evidence)));
    more.open = open.has(one.text);
    more.addEventListener("toggle", () => { if (more.open) open.add(one.text); else open.delete(one.text); });
    return element("li", {}, more);
  }

  function test(one) {
    return element("li", {}, element("details", {},
      element("summary", {}, one.text + " (" + one.minutes + " min, " + one.tells + ")"),
      element("p", {}, one.safely)));
  }

  function draw(found) {
    const said = JSON.stringify(found);
    if (said === drawn) return;
    drawn = said;
    due = 0;
    const body = id("causes-body");
    body.replaceChildren();
    show(id("causes"), Boolean(found));
    if (!found) return;
    if (found.problem) { body.append(element("p", { class: "facts" }, "Nothing can be said of causes yet: " + found.problem)); return; }
    if (found.cannot_tell) body.append(element("p", { class: "facts" }, found.cannot_tell + "."));
    body.append(element("ol", { id: "causes-list" }, ...found.causes.map(cause)));
    if (found.tests.length) {
      body.append(element("h3", {}, "Next test"));
      for (const text of found.before) body.append(element("p", { class: "caution" }, text));
      body.append(element("ul", { id: "causes-tests" }, ...found.tests.map(test)));
    }
    body.append(element("p", { class: "facts" }, "Up to " + lightoff.format.clock(found.until * 1e6) + ". Keep checking: one fault found is not the only one."));
  }

  async function look() {
    if (document.visibilityState !== "visible" || document.documentElement.dataset.guest === "ended") return;
    const ended = lightoff.sequence.ended().length;
    if (ended > attempts) due = TRIES;
    attempts = ended;
    if (!due) return;
    due -= 1;
    try {
      const answer = await fetch("/causes");
      const found = answer.ok ? await answer.json() : null;
      if (found) draw(found);
    } catch { /* the page says itself that the connection is lost */ }
  }

  function start() {
    setInterval(look, EVERY);
  }

  return { start };
})();
