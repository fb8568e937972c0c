/* Events, the replay's controls, and the forms for notes and numbers typed in. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.lists = (function () {
  const EVENTS = 50;
  const NUMBER = /^[-+−]?(\d+\.?\d*|\.\d+)(e[-+]?\d+)?$/i;

  const { id, element, setText, show } = lightoff.dom;
  let events = [];
  let seeking = false;

  const send = (name, given) => lightoff.live.send(name, given);

  function drawReplay(status) {
    const replay = status.replay;
    show(id("replay"), Boolean(replay));
    if (!replay) return;
    const seek = id("replay-seek");
    seek.max = replay.end - replay.start;
    if (!seeking) seek.value = replay.position;
    setText(id("replay-pause"), replay.paused ? "go on" : "pause");
    id("replay-pause").dataset.paused = replay.paused;
    const speed = id("replay-speed");
    if (document.activeElement !== speed) {
      if (![...speed.options].some((one) => Number(one.value) === replay.speed))
        speed.append(element("option", { value: replay.speed }, replay.speed + " x"));
      speed.value = String(replay.speed);
    }
    const { minutes } = lightoff.format;
    setText(id("replay-position"), minutes(replay.position) + " of " + minutes(replay.end - replay.start)
      + (replay.paused ? ", paused" : "") + (replay.loop ? ", in a loop" : ""));
  }

  function drawEvents() {
    const shown = events.slice(-12).reverse();
    const now = shown.length ? shown[0].time : null;
    id("events").replaceChildren(...shown.map((event) => element("div", { class: "event" },
      element("time", { datetime: new Date(event.time / 1e6).toISOString() }, lightoff.format.clock(event.time, now)), " ",
      element("span", { class: "event-kind" }, event.kind.replaceAll("_", " ")), " ",
      element("span", { class: "event-text" }, event.text),
      ["mark", "note", "alarm"].includes(event.kind)
        ? element("button", { type: "button", class: "event-show", onclick: () => lightoff.trends.jump(event.time) }, "show") : null)));
  }

  function useEvent(event) {
    events.push(event);
    if (events.length > EVENTS) events.shift();
    drawEvents();
  }

  function forget() {
    events = [];
    drawEvents();
  }

  function field(label, input) {
    return element("label", {}, element("span", {}, label), input);
  }

  function makeForms() {
    const note = element("input", { id: "note-text", type: "text", maxlength: 500, placeholder: "what you see or do" });
    const sendNote = () => {
      if (note.value.trim()) send("note", { text: note.value.trim() }).then((done) => { if (done.ok) note.value = ""; });
    };
    note.addEventListener("keydown", (event) => { if (event.key === "Enter") sendNote(); });
    id("notes-body").append(
      element("div", { class: "form" }, field("note", note),
        element("button", { id: "note-send", type: "button", onclick: sendNote }, "add note")),
      element("div", { id: "events" }));

    const speeds = [0.5, 1, 2, 5, 10, 20, 50].map((speed) => element("option", { value: speed }, speed + " x"));
    const seek = element("input", { id: "replay-seek", type: "range", min: 0, max: 1, step: 1, value: 0,
      "aria-label": "position in the recording",
      oninput: () => { seeking = true; },
      onchange: (event) => send("seek", { position: Number(event.target.value) }).finally(() => { seeking = false; }) });
    id("replay-body").append(
      element("div", { class: "buttons" },
        element("button", { id: "replay-pause", type: "button",
          onclick: (event) => send(event.target.dataset.paused === "true" ? "resume" : "pause", {}) }, "pause"),
        field("speed", element("select", { id: "replay-speed",
          onchange: (event) => { send("speed", { speed: Number(event.target.value) }); event.target.blur(); } }, ...speeds)),
        element("span", { id: "replay-position" })),
      seek);
  }

  /* A bare number is meant in the unit that is shown. */
  function withUnit(point, text) {
    const scale = lightoff.format.screen(point);
    const given = text.trim();
    return NUMBER.test(given) && scale && scale.label ? given + " " + scale.label : given;
  }

  function drawExample() {
    const point = id("type-in-point");
    if (!point) return;
    const { screen, page, measureOf } = lightoff.format;
    const scale = screen(point.value);
    const example = (page().examples[measureOf(point.value)] || {})[lightoff.settings.units] || "";
    id("type-in-value").placeholder = [example, scale ? scale.label : ""].filter(Boolean).join(" ");
    setText(id("type-in-unit"), scale && scale.label ? "value [" + scale.label + "], or with its unit" : "value: 1 or 0");
  }

  function makeTypeIn() {
    if (id("type-in-point")) return;
    const page = lightoff.format.page();
    const points = Object.entries(page.points).filter(([name]) => page.typed.includes(name))
      .map(([name, point]) => element("option", { value: name }, point.text));
    const point = element("select", { id: "type-in-point", onchange: drawExample }, ...points);
    point.value = page.typed.includes("draft_switch") ? "draft_switch" : point.value;
    const value = element("input", { id: "type-in-value", type: "text", maxlength: 60, autocomplete: "off" });
    const meter = element("input", { id: "type-in-meter", type: "text", maxlength: 40, placeholder: "which meter" });
    const record = () => send("type_in", { point: point.value, value: withUnit(point.value, value.value), meter: meter.value.trim() })
      .then((done) => { if (done.ok) value.value = ""; });
    for (const input of [value, meter])
      input.addEventListener("keydown", (event) => { if (event.key === "Enter") record(); });
    id("type-in-body").append(element("div", { class: "form" }, field("where", point),
      element("label", {}, element("span", { id: "type-in-unit" }), value),
      field("read off", meter), element("button", { id: "type-in-send", type: "button", onclick: record }, "record it")));
    drawExample();
  }

  function toNote() {
    lightoff.views.go("live");
    lightoff.dom.jump("notes", "note-text");
  }

  return { toNote, drawReplay, useEvent, forget, makeForms, makeTypeIn, drawExample };
})();
