/* The margin at a pressure switch: to make or to break, and what keeps it from being the present one; its scale. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.margin = (function () {
  const BEYOND = 1.6; // the scale reaches this many times the closing point, and further when the pressure does
  const STEP = 0.5;

  /* What keeps a margin from being taken for the present one, in a few words; empty when nothing does. */
  function marginDoubt(margin, pressure, contact) {
    const { stale, old, typed, ageText } = lightoff.readings;
    if (!pressure) return "pressure not measured";
    if (typed(pressure.key) || stale(pressure.key)) return "pressure " + ageText(pressure.key);
    if (pressure.value === null || pressure.quality === 2) return "no good pressure";
    if (contact && old(contact.key)) return "switch contact " + ageText(contact.key);
    if (margin.value === null && contact && typed(contact.key)) return "switch contact " + ageText(contact.key);
    if (margin.value === null || margin.quality === 2) return "no good value";
    if (stale(margin.key)) return ageText(margin.key);
    return lightoff.meters.suspicionOf(lightoff.readings.pointOf(pressure.key));
  }

  function draw(tile) {
    const node = tile.querySelector(".tile-margin");
    if (!node) return;
    const { setText, show, setClass } = lightoff.dom;
    const { readings, format } = lightoff;
    const high = node.dataset.margin === "draft_margin_high";
    const point = high ? "draft_switch_high" : "draft_switch";
    const margin = readings.reading(node.dataset.margin);
    const closes = (readings.plate().switch_close || []).length > (high ? 1 : 0);
    show(node, margin !== null && (margin.value !== null || closes));
    if (margin) {
      const contact = readings.reading(high ? "switch_high_closed" : "switch_closed");
      const pressure = readings.reading(point);
      const status = readings.status();
      const making = status && contact ? (high ? status.making_high : status.making) : null;
      const doubt = marginDoubt(margin, pressure, contact);
      const words = [margin.value === null ? "not known" : format.text(node.dataset.margin, margin.value)];
      if (margin.value !== null && making === true) words.push("to make");
      if (margin.value !== null && making === false) words.push("to break");
      if (!contact) words.push("(switch contact not measured)");
      setText(node, "margin " + words.join(" ") + (doubt ? ", " + doubt : ""));
      setClass(node, "dimmed", doubt !== "");
      setClass(node, "short", !doubt && making === false && margin.value < 0);
    }
    const plate = readings.plate();
    const pick = (list) => (list && list.length > (high ? 1 : 0) ? list[high ? 0 : list.length - 1] : null);
    const [make, breaks] = [pick(plate.switch_close), pick(plate.switch_open)];
    const lines = [];
    if (make !== null) lines.push("make " + format.text(point, make));
    if (breaks !== null) lines.push("break " + format.text(point, breaks));
    setText(tile.querySelector(".tile-lines"), lines.join(" · "));
    drawScale(tile, readings.reading(point), make, breaks);
  }

  /* The pressure as a bar between nothing and well beyond make; it grows by steps and never shrinks. */
  function drawScale(tile, pressure, make, breaks) {
    const { show, setClass } = lightoff.dom;
    const scale = tile.querySelector(".tile-scale");
    const value = pressure && pressure.quality < 2 ? pressure.value : null;
    show(scale, make !== null && value !== null);
    if (make === null || value === null) return;
    const needed = Math.ceil((Math.max(BEYOND * make, value) / make) / STEP) * STEP;
    const top = Math.max(Number(scale.dataset.top) || 0, needed);
    scale.dataset.top = top;
    const part = (pascal) => Math.min(100, Math.max(0, (100 * pascal) / (make * top))) + "%";
    scale.querySelector(".scale-fill").style.width = part(value);
    scale.querySelector(".scale-make").style.left = part(make);
    const mark = scale.querySelector(".scale-break");
    show(mark, breaks !== null);
    if (breaks !== null) mark.style.left = part(breaks);
    setClass(scale, "under", value < (breaks === null ? make : breaks));
    setClass(scale, "stale", lightoff.readings.old(pressure.key));
  }

  return { draw };
})();
