/* Tiles, contacts, room CO: the latest reading of each channel as text, four times a second at most. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.tiles = (function () {
  const LEAST_BETWEEN = 250; // [ms] between two changes of text
  const SLOW = 3; // a reading is stale beyond this many of its usual spacings
  const SHORTEST_STALE = 1; // [s] never stale below this: the way from the instrument has its own jitter
  const SPACINGS = 9;

  let channels = []; // as told: {key, point, instrument, unit}
  let byPoint = {};
  let latest = {}; // key -> {time, value, quality, arrived, spacings}
  let status = null;
  let statusArrived = 0;
  let hello = null;
  let drawn = 0;
  let due = null;

  function useChannels(list) {
    channels = list;
    byPoint = {};
    for (const channel of list) (byPoint[channel.point] = byPoint[channel.point] || []).push(channel);
    soon();
  }

  function useReadings(rows) {
    const now = performance.now();
    for (const [key, time, value, quality] of rows) {
      let known = latest[key];
      if (!known) known = latest[key] = { time: 0, spacings: [] };
      const step = (time - known.time) / 1e9;
      if (known.time && step > 0) {
        known.spacings.push(step);
        if (known.spacings.length > SPACINGS) known.spacings.shift();
      }
      Object.assign(known, { time, value, quality, arrived: now });
    }
    soon();
  }

  function useStatus(message) {
    status = message;
    statusArrived = performance.now();
    soon();
  }

  function useHello(message) {
    hello = message;
    latest = {};
    soon();
  }

  function jumped() {
    latest = {};
    soon();
  }

  /* Usual distance between readings of a key [s], null when not known yet. */
  function spacing(key) {
    const known = latest[key];
    if (!known || known.spacings.length < 2) return null;
    const sorted = [...known.spacings].sort((a, b) => a - b);
    return sorted[Math.floor(sorted.length / 2)];
  }

  function instrumentOf(key) {
    return status ? status.instruments.find((one) => (one.channels || []).includes(key)) : undefined;
  }

  /* Age on the way to the eye [s]: since the reading came here, and not less than the recorder says. */
  function age(key) {
    const known = latest[key];
    if (!known) return null;
    const now = performance.now();
    const sinceStatus = (now - statusArrived) / 1000;
    let seconds = (now - known.arrived) / 1000;
    if (status && !status.replay) seconds = Math.max(seconds, (status.now - known.time) / 1e9 + sinceStatus);
    const instrument = instrumentOf(key);
    if (instrument && instrument.age !== null) seconds = Math.max(seconds, instrument.age + sinceStatus);
    return seconds;
  }

  function stale(key) {
    if (status && status.replay && status.replay.paused) return false;
    const instrument = instrumentOf(key);
    if (instrument && instrument.origin === "by hand") return false;
    const speed = status && status.replay ? status.replay.speed || 1 : 1;
    const usual = (spacing(key) || 1) / speed;
    return age(key) > Math.max(SHORTEST_STALE, SLOW * usual);
  }

  /* The channel shown for a point: the first that is fresh, else the first that was ever read. */
  function chosen(point) {
    const read = (byPoint[point] || []).filter((channel) => latest[channel.key]);
    return read.find((channel) => !stale(channel.key)) || read[0] || null;
  }

  /* Latest of a point or derived quantity: {key, value, quality, instrument} or null. */
  function reading(point) {
    const channel = chosen(point);
    const key = channel ? channel.key : latest[point] ? point : null;
    if (key === null) return null;
    const { value, quality, time } = latest[key];
    return { key, value, quality, time, instrument: channel ? channel.instrument : null };
  }

  function ageText(key) {
    const seconds = age(key);
    if (status && status.replay && status.replay.paused) return "replay paused";
    const instrument = instrumentOf(key);
    if (instrument && instrument.origin === "by hand") return "typed in " + lightoff.format.span(seconds) + " ago";
    return (stale(key) ? "stale " : "age ") + lightoff.format.span(Math.max(0, seconds));
  }

  function qualityText(found) {
    if (found.quality === 2 || found.value === null) return "no good value";
    return found.quality === 1 ? "doubtful" : "";
  }

  function note(point, found) {
    const plate = (hello && hello.plate) || {};
    const format = lightoff.format;
    const parts = [];
    const window = (name, pair) => {
      if (pair) parts.push("plate " + format.value(name, pair[0]).number + " to " + format.text(name, pair[1]));
    };
    if (point === "temp_supply" && typeof plate.supply_max === "number")
      parts.push("limit " + format.text(point, plate.supply_max));
    if (point === "temp_rise") window(point, plate.rise);
    if (point === "gas_inlet") window(point, plate.gas_inlet);
    if (point === "gas_manifold" && (plate.manifold || []).length)
      parts.push("plate " + plate.manifold.map((one) => format.value(point, one).number).join(" / "));
    if (point === "flame_current" && typeof plate.flame_current_min === "number")
      parts.push("least " + format.text(point, plate.flame_current_min));
    if (point === "static_external" && typeof plate.static_max === "number")
      parts.push("plate at most " + format.text(point, plate.static_max));
    if (found.instrument && (byPoint[point] || []).length > 1) parts.push(found.instrument);
    const quality = qualityText(found);
    if (quality) parts.unshift(quality);
    return parts.join(" · ");
  }

  function drawRow(row) {
    const { setText, show, setClass } = lightoff.dom;
    const found = reading(row.dataset.point);
    show(row, found !== null);
    if (!found) return false;
    const parts = lightoff.format.value(row.dataset.point, found.quality === 2 ? null : found.value);
    setText(row.querySelector(".tile-word"), parts.word);
    setText(row.querySelector(".tile-value"), parts.number);
    setText(row.querySelector(".tile-unit"), parts.unit);
    setText(row.querySelector(".tile-note"), note(row.dataset.point, found));
    setText(row.querySelector(".tile-age"), ageText(found.key));
    setClass(row, "stale", stale(found.key));
    setClass(row, "doubtful", found.quality > 0);
    return true;
  }

  function drawMargin(tile) {
    const node = tile.querySelector(".tile-margin");
    if (!node) return;
    const { setText, show, setClass } = lightoff.dom;
    const format = lightoff.format;
    const name = node.dataset.margin;
    const found = reading(name);
    const high = name === "draft_margin_high";
    const point = high ? "draft_switch_high" : "draft_switch";
    const plate = (hello && hello.plate) || {};
    const pick = (list) => (list && list.length ? list[high ? 0 : list.length - 1] : null);
    show(node, found !== null && found.value !== null);
    if (found && found.value !== null) {
      const making = status ? status.making : null;
      const words = making === true ? " to make" : making === false ? " to break" : "";
      setText(node, "margin " + format.text(name, found.value) + (high ? "" : words));
      setClass(node, "short", making === false && found.value < 0);
    }
    const [make, breaks] = [pick(plate.switch_close), pick(plate.switch_open)];
    const lines = [];
    if (make !== null) lines.push("make " + format.text(point, make));
    if (breaks !== null) lines.push("break " + format.text(point, breaks));
    setText(tile.querySelector(".tile-lines"), lines.join(" · "));
  }

  function drawContact(item) {
    const { setText, show, setClass } = lightoff.dom;
    const point = item.dataset.point;
    const found = reading(point);
    show(item, found !== null);
    if (!found) return false;
    const words = lightoff.format.page().contacts[point];
    const known = found.value !== null && found.quality < 2;
    const on = known && found.value >= 0.5;
    setClass(item, "on", on);
    setClass(item, "unknown", !known);
    setClass(item, "stale", stale(found.key));
    const word = known ? (on ? words.on : words.off) : "no value";
    setText(item.querySelector(".contact-word"), stale(found.key) ? word + ", " + ageText(found.key) : word);
    return true;
  }

  function drawRoom() {
    const { id, setText, setClass } = lightoff.dom;
    const node = id("room-co");
    const found = reading("room_co");
    const measured = found !== null && found.value !== null && found.quality < 2;
    let text = "CO not measured";
    if (measured) text = "room CO " + lightoff.format.text("room_co", found.value);
    else if (found) text = "room CO: no good value";
    if (measured && stale(found.key)) text += ", " + ageText(found.key);
    setText(node, text);
    setClass(node, "not-measured", !measured || stale(found.key));
  }

  function drawDewPoint() {
    const { id, setText, show } = lightoff.dom;
    const found = reading("dew_point_margin");
    const known = found !== null && found.value !== null;
    show(id("dew-point"), known);
    if (!known) return;
    const above = found.value >= 0;
    const amount = lightoff.format.text("dew_point_margin", Math.abs(found.value));
    const words = above ? " above the dew point" : " BELOW the dew point: condensation";
    setText(id("dew-point"), "coldest watched surface: " + amount + words);
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
      lightoff.dom.show(tile, shown > 0);
      any = any || shown > 0;
    }
    lightoff.dom.show(lightoff.dom.id("no-tiles"), !any);
    drawRoom();
    drawDewPoint();
  }

  /* Draw at once when the last change of text is long enough ago, else as soon as it is. */
  function soon() {
    if (due !== null) return;
    const wait = Math.max(0, drawn + LEAST_BETWEEN - performance.now());
    due = setTimeout(draw, wait);
  }

  return {
    useChannels, useReadings, useStatus, useHello, jumped, spacing, soon,
    channels: () => channels,
  };
})();
