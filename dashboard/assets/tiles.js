/* Tiles: the latest of each point as text, at once when it comes, each tile four times a second at most. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.tiles = (function () {
  const LEAST_BETWEEN = 250; // [ms] between two changes of a tile's text
  const LONGEST_BETWEEN = 450; // [ms] a change waits for the next reading, and not longer than this
  const LOOK_BACK = 10000; // [ms] over which a trend is told
  const FEWEST = 4; // readings for it
  const STEPS = 1.5; // it counts from this many of the last digit shown

  let drawn = new Map(); // tile -> when
  let due = new Map(); // tile -> timer
  let tileOf = {}; // point -> its tile

  function qualityText(found) {
    if (found.quality === 2 || found.value === null) return lightoff.readings.typed(found.key) ? "withdrawn" : "no good value";
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
    const told = others.length || lightoff.readings.typed(found.key); // of a number that was typed in: off which meter
    const name = told && found.instrument ? lightoff.readings.instrumentText(found.instrument) : "";
    return [lightoff.meters.suspicionOf(point), qualityText(found), name, zero ? "zeroed " + zero : "", plateText(point)].filter(Boolean).join(" · ");
  }

  /* "basement meter 0.30 in. w.c., stale 12 s" */
  function beside(point, one) {
    const { instrumentText, typed, stale, ageText } = lightoff.readings;
    const value = one.quality === 2 || one.value === null ? qualityText(one) : lightoff.format.text(point, one.value);
    const old = typed(one.key) || stale(one.key) ? ", " + ageText(one.key) : "";
    return instrumentText(one.instrument) + " " + value + old;
  }

  const mean = (rows) => rows.reduce((sum, row) => sum + row[1], 0) / rows.length;

  /* Rising, falling or steady over the last seconds; empty where that is not known. */
  function direction(point, found) {
    const scale = lightoff.format.screen(point);
    if (!scale || found.value === null || found.quality === 2 || lightoff.readings.old(found.key) || lightoff.readings.typed(found.key)) return "";
    const rows = lightoff.recent.after(found.key, found.time / 1e6 - LOOK_BACK).filter((row) => row[1] !== null);
    if (rows.length < FEWEST) return "";
    const part = Math.max(1, Math.floor(rows.length / 4));
    const change = (mean(rows.slice(-part)) - mean(rows.slice(0, part))) * scale.scale;
    if (Math.abs(change) < STEPS * Math.pow(10, -scale.decimals)) return "steady";
    return change > 0 === !(lightoff.format.suction(point, found.value)) ? "rising" : "falling";
  }

  const ARROWS = { rising: "↗", falling: "↘", steady: "→", "": "" };

  function drawTrend(node, point, found) {
    const word = direction(point, found);
    lightoff.dom.setText(node.querySelector(".trend-arrow"), ARROWS[word]);
    lightoff.dom.setText(node.querySelector(".trend-word"), word);
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
    drawTrend(row.querySelector(".tile-trend"), point, found);
    setText(row.querySelector(".tile-note"), note(point, found, more));
    setText(row.querySelector(".tile-age"), ageText(found.key));
    setText(row.querySelector(".tile-also"), more.length ? "also: " + more.map((one) => beside(point, one)).join(" · ") : "");
    setClass(row, "stale", old(found.key));
    setClass(row, "doubtful", found.quality > 0 || lightoff.meters.suspicionOf(point) !== "");
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

  function draw(tile) {
    clearTimeout(due.get(tile));
    due.delete(tile);
    let shown = 0;
    for (const row of tile.querySelectorAll(".tile-row")) shown += drawRow(row);
    for (const item of tile.querySelectorAll(".contact")) shown += lightoff.contacts.draw(item);
    lightoff.margin.draw(tile);
    drawAlarm(tile);
    lightoff.dom.show(tile, shown > 0);
    queueMicrotask(() => drawn.set(tile, performance.now()));  /* from when it is seen: on a busy machine not from when it began */
  }

  /* At once when the last change of its text is long enough ago; else with the next reading, or before long. */
  function schedule(tile) {
    const since = performance.now() - (drawn.get(tile) || -Infinity);
    if (since >= LEAST_BETWEEN) draw(tile);
    else if (!due.has(tile)) due.set(tile, setTimeout(() => draw(tile), LONGEST_BETWEEN - since));
  }

  const all = () => [...document.querySelectorAll("#tiles > .tile")];

  function places() {
    for (const tile of all())
      for (const node of tile.querySelectorAll("[data-point], [data-margin]")) tileOf[node.dataset.point || node.dataset.margin] = tile;
  }

  /* New readings: the tiles of their points. */
  function useReadings(rows) {
    if (!Object.keys(tileOf).length) places();
    const touched = new Set();
    for (const [key] of rows) touched.add(tileOf[lightoff.readings.pointOf(key)]);
    touched.delete(undefined);
    touched.forEach(schedule);
    if (rows.some(([key]) => lightoff.readings.pointOf(key) === "room_co")) lightoff.room.draw();
  }

  /* Ages, alarms and connections go on when nothing comes. */
  function soon() {
    const tiles = all();
    tiles.forEach(schedule);
    drawNothing(tiles.some((tile) => !tile.hidden) || lightoff.readings.all("room_co").length > 0);
    lightoff.room.draw();
    drawDewPoint();
  }

  return { soon, useReadings };
})();
