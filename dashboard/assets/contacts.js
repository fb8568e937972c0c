/* The strip of contacts: a shape and a word each, and which one opened first when the fire went out. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.contacts = (function () {
  function draw(item) {
    const { setText, show, setClass } = lightoff.dom;
    const { readings } = lightoff;
    const point = item.dataset.point;
    const found = readings.reading(point);
    show(item, found !== null);
    if (!found) return false;
    const words = lightoff.format.page().contacts[point];
    const told = (one) => (one.value === null || one.quality === 2 ? "no value" : one.value >= 0.5 ? words.on : words.off);
    const known = found.value !== null && found.quality < 2;
    const dated = readings.typed(found.key) || readings.stale(found.key);
    const different = readings.others(point, found).filter((one) => told(one) !== told(found));
    setClass(item, "on", known && found.value >= 0.5);
    setClass(item, "unknown", !known);
    setClass(item, "stale", readings.old(found.key));
    const parts = [dated ? told(found) + ", " + readings.ageText(found.key) : told(found)];
    parts.push(...different.map((one) => readings.instrumentText(one.instrument) + ": " + told(one)
      + (readings.typed(one.key) || readings.stale(one.key) ? ", " + readings.ageText(one.key) : "")));
    setText(item.querySelector(".contact-word"), parts.join(" · "));
    const first = firstText(point);
    setText(item.querySelector(".contact-first"), first);
    setClass(item, "opened-first", first !== "");
    return true;
  }

  /* "opened first" only where clocks and sampling allow to say it. */
  function firstText(point) {
    const status = lightoff.readings.status();
    const first = status && status.first_drop;
    if (!first || !first.points.includes(point)) return "";
    return first.points.length === 1 ? "opened first" : "opened together";
  }

  return { draw };
})();
