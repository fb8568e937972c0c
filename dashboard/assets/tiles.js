/* Tiles, margins and contacts: the latest of each point as text, four times a second at most. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.tiles = (function () {
  const LEAST_BETWEEN = 250; // [ms] between two changes of text

  let drawn = 0;
  let due = null;

  function qualityText(found) {
    if (found.quality === 2 || found.value === null) return "no good value";
    return found.quality === 1 ? "doubtful" : "";
  }

  function plateText(point) {
    const plate = lightoff.readings.plate();
    const { value, text } = lightoff.format;
    const window_ = (pair) => (pair ? "plate " + value(point, pair[0]).number + " to " + text(point, pair[1]) : "");
    const limit = (word, known) => (typeof known === "number" ? word + " " + text(point, known) : "");
    switch (point) {
      case "temp_supply": return limit("limit", plate.supply_max);
      case "temp_rise": return window_(plate.rise);
      case "gas_inlet": return window_(plate.gas_inlet);
      case "gas_manifold":
        return (plate.manifold || []).length ? "plate " + plate.manifold.map((one) => value(point, one).number).join(" / ") : "";
      case "flame_current": return limit("least", plate.flame_current_min);
      case "static_external": return limit("plate at most", plate.static_max);
      default: return "";
    }
  }

  function note(point, found, others) {
    const zero = lightoff.readings.zeroed(found.key);
    const name = others.length && found.instrument ? lightoff.readings.instrumentText(found.instrument) : "";
    return [qualityText(found), name, zero ? "zeroed " + zero : "", plateText(point)].filter(Boolean).join(" · ");
  }

  /* "basement meter 0.30 in. w.c., stale 12 s" */
  function beside(point, one) {
    const { instrumentText, typed, stale, ageText } = lightoff.readings;
    const value = qualityText(one) === "no good value" ? "no good value" : lightoff.format.text(point, one.value);
    const old = typed(one.key) || stale(one.key) ? ", " + ageText(one.key) : "";
    return instrumentText(one.instrument) + " " + value + old;
  }

  function drawRow(row) {
    const { setText, show, setClass } = lightoff.dom;
    const { reading, others, old, ageText } = lightoff.readings;
    const point = row.dataset.point;
    const found = reading(point);
    show(row, found !== null);
    if (!found) return false;
    const more = others(point, found);
    const parts = lightoff.format.value(point, found.quality === 2 ? null : found.value);
    setText(row.querySelector(".tile-word"), parts.word);
    setText(row.querySelector(".tile-value"), parts.number);
    setText(row.querySelector(".tile-unit"), parts.unit);
    setText(row.querySelector(".tile-note"), note(point, found, more));
    setText(row.querySelector(".tile-age"), ageText(found.key));
    setText(row.querySelector(".tile-also"), more.length ? "also: " + more.map((one) => beside(point, one)).join(" · ") : "");
    setClass(row, "stale", old(found.key));
    setClass(row, "doubtful", found.quality > 0);
    return true;
  }

  /* What keeps a margin from being taken for the present one, in a few words; empty when nothing does. */
  function marginDoubt(margin, pressure, contact) {
    const { stale, old, typed, ageText } = lightoff.readings;
    if (!pressure) return "pressure not measured";
    if (typed(pressure.key) || stale(pressure.key)) return "pressure " + ageText(pressure.key);
    if (pressure.value === null || pressure.quality === 2) return "no good pressure";
    if (contact && old(contact.key)) return "switch contact " + ageText(contact.key);
    if (margin.value === null && contact && typed(contact.key)) return "switch contact " + ageText(contact.key);
    if (margin.value === null || margin.quality === 2) return "no good value";
    return stale(margin.key) ? ageText(margin.key) : "";
  }

  function drawMargin(tile) {
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
    const pick = (list) => (list && list.length ? list[high ? 0 : list.length - 1] : null);
    const [make, breaks] = [pick(plate.switch_close), pick(plate.switch_open)];
    const lines = [];
    if (make !== null) lines.push("make " + format.text(point, make));
    if (breaks !== null) lines.push("break " + format.text(point, breaks));
    setText(tile.querySelector(".tile-lines"), lines.join(" · "));
  }

  function drawContact(item) {
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
    return true;
  }

  /* The most urgent active alarm of a tile's points: an edge, a shape and words. */
  function drawAlarm(tile) {
    const marks = lightoff.notices.marks();
    const points = [...tile.querySelectorAll("[data-point], [data-margin]")].map((node) => node.dataset.point || node.dataset.margin);
    const found = points.map((point) => marks[point]).filter(Boolean).sort((a, b) => a.rank - b.rank)[0];
    const node = tile.querySelector(".tile-alarm");
    lightoff.dom.show(node, Boolean(found));
    lightoff.dom.setClass(tile, "in-alarm", Boolean(found));
    if (found) lightoff.dom.setText(node, found.shape + " " + found.priority + " alarm: " + lightoff.format.pointText(found.point));
  }

  function drawDewPoint() {
    const { id, setText, show, setClass } = lightoff.dom;
    const { reading, stale, ageText } = lightoff.readings;
    const found = reading("dew_point_margin");
    const known = found !== null && found.value !== null;
    show(id("dew-point"), known);
    if (!known) return;
    const amount = lightoff.format.text("dew_point_margin", Math.abs(found.value));
    const words = found.value >= 0 ? " above the dew point" : " BELOW the dew point: condensation";
    setText(id("dew-point"), "coldest watched surface: " + amount + words + (stale(found.key) ? ", " + ageText(found.key) : ""));
    setClass(id("dew-point"), "dimmed", stale(found.key));
  }

  /* Before the first reading: what is awaited, or what to do. */
  function drawNothing(any) {
    const { id, setText, setClass, show } = lightoff.dom;
    show(id("no-tiles"), !any);
    setClass(id("trends-section"), "empty", !any);
    if (any) return;
    const status = lightoff.readings.status();
    const instruments = status ? status.instruments.filter((one) => !one.name.startsWith("by hand")) : [];
    const none = status !== null && !instruments.length && !status.replay;
    const names = instruments.map((one) => one.name).slice(0, 4).join(", ");
    show(id("to-type-in"), Boolean(status && !status.replay));
    setText(id("no-tiles-text"), none ? "No instrument yet: type in a reading below."
      : "Waiting for the first reading" + (names ? " of " + names : "") + ".");
  }

  function draw() {
    due = null;
    drawn = performance.now();
    let any = false;
    for (const tile of document.querySelectorAll("#tiles > .tile")) {
      let shown = 0;
      for (const row of tile.querySelectorAll(".tile-row")) shown += drawRow(row);
      for (const item of tile.querySelectorAll(".contact")) shown += drawContact(item);
      drawMargin(tile);
      drawAlarm(tile);
      lightoff.dom.show(tile, shown > 0);
      any = any || shown > 0;
    }
    drawNothing(any || lightoff.readings.all("room_co").length > 0);
    lightoff.room.draw();
    drawDewPoint();
  }

  /* Draw at once when the last change of text is long enough ago, else as soon as it is. */
  function soon() {
    if (due !== null) return;
    const wait = Math.max(0, drawn + LEAST_BETWEEN - performance.now());
    due = setTimeout(draw, wait);
  }

  return { soon };
})();
