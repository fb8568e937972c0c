/* The page of somebody who only looks on in the same building: it says so, and hides what can only be done at the unit. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.guest = (function () {
  const CUT_OFF = 4401; // as in dashboard/app.py
  const VIEWS = ["live", "meters"]; // the others are about this computer and other calls

  const { id, setText, show } = lightoff.dom;
  let guest = false;
  let ended = false;

  function begin() {
    if (guest) return;
    guest = true;
    document.documentElement.dataset.guest = "looking";
    for (const way of document.querySelectorAll(".way")) if (!VIEWS.includes(way.dataset.view)) way.remove();
    if (!VIEWS.includes(lightoff.views.shown())) lightoff.views.go("live");
    draw();
  }

  function draw() {
    if (!guest || ended) return;
    show(id("guest-banner"), true);
    setText(id("guest-banner"), "Read only · shared by " + (lightoff.readings.site() || "this call"));
  }

  /* What was shown last must not be taken for the present. */
  function end(text) {
    ended = true;
    document.documentElement.dataset.guest = "ended";
    show(id("guest-banner"), true);
    setText(id("guest-banner"), "No longer shown here: " + text.replace(/^refused: /, ""));
  }

  /* Whether the connection was ended for good; where that is not known yet the server is asked. */
  function cutOff(event) {
    if (!guest) return false;
    if (event && event.code === CUT_OFF) end(event.reason);
    else fetch("/", { cache: "no-store" }).then(async (answer) => { if (answer.status === 403) end(await answer.text()); }, () => {});
    return ended;
  }

  return { begin, draw, cutOff, on: () => guest, ended: () => ended };
})();
