/* Alarms, instruments, events, replay, forms: what a status or an event says, as lists. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.lists = (function () {
  const EVENTS = 50;
  const SURE = 4000; // [ms] a second press within this confirms

  const STATES = {
    normal: "quiet",
    unacknowledged: "ACTIVE, not acknowledged",
    acknowledged: "active, acknowledged",
    returned: "over, not acknowledged",
    latched_unacknowledged: "over, held until acknowledged",
    latched_acknowledged: "over, held until acknowledged again",
    shelved: "muted",
    suppressed: "not watched now",
    out_of_service: "out of service",
  };
  const ACTIVE = new Set(["unacknowledged", "acknowledged"]);
  const UNSEEN = new Set(["unacknowledged", "returned", "latched_unacknowledged", "latched_acknowledged"]);
  const QUIET = new Set(["normal", "suppressed"]);
  const ORDER = ["safety", "high", "medium", "low"];

  const { id, element, setText, show, setClass } = lightoff.dom;
  let events = [];
  let drawnAlarms = "";
  let drawnInstruments = "";
  let seeking = false;

  const send = (name, given) => lightoff.live.send(name, given);

  /* A button that acts at its second press, for what can't be taken back. */
  function sureButton(text, question, act) {
    let sure = false;
    const button = element("button", {
      type: "button",
      onclick: () => {
        if (sure) act();
        else setTimeout(() => { sure = false; button.textContent = text; }, SURE);
        sure = !sure;
        button.textContent = sure ? question : text;
      },
    }, text);
    return button;
  }

  function alarmRow(alarm) {
    const muted = alarm.state === "shelved";
    const since = alarm.since ? "since " + lightoff.format.clock(alarm.since) : "";
    const until = muted && alarm.shelved_until ? "until " + lightoff.format.clock(alarm.shelved_until) : "";
    const value = alarm.value === null ? "" : "now " + lightoff.format.text(alarm.point, alarm.value);
    const limit = "limit " + lightoff.format.text(alarm.point, alarm.limit);
    const facts = [since, until, value, limit, alarm.count > 1 ? "came " + alarm.count + " times" : ""];
    const buttons = element("div", { class: "buttons" });
    if (UNSEEN.has(alarm.state))
      buttons.append(element("button", { type: "button", class: "alarm-acknowledge",
        onclick: () => send("acknowledge", { alarm: alarm.name }) }, "acknowledge"));
    if (muted)
      buttons.append(element("button", { type: "button", class: "alarm-unmute",
        onclick: () => send("unshelve", { alarm: alarm.name }) }, "end mute"));
    else if (alarm.priority !== "safety" && !alarm.state.startsWith("latched"))
      buttons.append(element("button", { type: "button", class: "alarm-mute",
        onclick: () => send("shelve", { alarm: alarm.name, minutes: 10 }) }, "mute 10 min"));
    return element("div", {
      class: "alarm-row priority-" + alarm.priority + (ACTIVE.has(alarm.state) ? " active" : ""),
      "data-name": alarm.name, "data-state": alarm.state,
    },
      element("div", { class: "alarm-head" },
        element("span", { class: "alarm-priority" }, alarm.priority),
        element("strong", {}, alarm.text || alarm.name),
        alarm.first_out ? element("span", { class: "first-out" }, "came first") : null),
      element("div", { class: "alarm-state" }, STATES[alarm.state] || alarm.state),
      element("div", { class: "facts" }, facts.filter(Boolean).join(" · ")),
      alarm.action ? element("div", { class: "alarm-action" }, alarm.action) : null,
      buttons);
  }

  /* Only what is shown decides whether the rows are made anew: buttons under a thumb stay where they are. */
  function drawAlarms(status) {
    const told = status.alarms.filter((alarm) => !QUIET.has(alarm.state));
    const rank = (alarm) => (ACTIVE.has(alarm.state) ? 0 : 10) + ORDER.indexOf(alarm.priority);
    told.sort((a, b) => rank(a) - rank(b) || (a.since || 0) - (b.since || 0));
    const quiet = status.alarms.length - told.length;
    const rounded = told.map((alarm) => [alarm.name, alarm.state, alarm.since, alarm.first_out, alarm.count,
      alarm.shelved_until, alarm.text, alarm.action, lightoff.format.text(alarm.point, alarm.value)]);
    const now = JSON.stringify([rounded, quiet, status.flood, lightoff.settings.units]);
    if (now !== drawnAlarms) {
      drawnAlarms = now;
      const summary = status.alarms.length ? quiet + (quiet === 1 ? " alarm is quiet" : " alarms are quiet") : "no alarms are watched";
      id("alarms-body").replaceChildren(
        ...(status.flood ? [element("p", { class: "flood" }, "Many alarms at once: look at the one that came first.")] : []),
        ...told.map(alarmRow), element("p", { class: "facts" }, summary));
    }
    drawSafety(told);
  }

  function drawSafety(told) {
    const unsafe = told.filter((alarm) => alarm.priority === "safety"
      && (UNSEEN.has(alarm.state) || ACTIVE.has(alarm.state)));
    const box = id("safety-message");
    show(box, unsafe.length > 0);
    const mark = JSON.stringify(unsafe.map((alarm) => [alarm.name, alarm.state, alarm.text, alarm.action]));
    if (box.dataset.mark === mark) return;
    box.dataset.mark = mark;
    box.replaceChildren(...unsafe.map((alarm) => element("div", {
      class: UNSEEN.has(alarm.state) ? "unsafe" : "unsafe seen", "data-name": alarm.name },
      element("strong", {}, "STOP: " + (alarm.text || alarm.name)),
      element("span", {}, [alarm.action, STATES[alarm.state]].filter(Boolean).join(" · ")),
      UNSEEN.has(alarm.state) ? element("button", { type: "button", class: "alarm-acknowledge",
        onclick: () => send("acknowledge", { alarm: alarm.name }) }, "acknowledge") : null)));
  }

  const ZEROABLE = new Set(["pressure", "flame_current", "current", "voltage", "trace"]);

  function zeroButtons(keys) {
    const measure = (channel) => (lightoff.format.page().points[channel.point] || {}).measure;
    return lightoff.tiles.channels()
      .filter((channel) => keys.includes(channel.key) && ZEROABLE.has(measure(channel)))
      .map((channel) => sureButton(
        "zero " + lightoff.format.pointText(channel.point),
        measure(channel) === "pressure" ? "hoses off? zero now" : "leads off? zero now",
        () => send("zero", { channel: channel.key })));
  }

  /* Hands that have typed in nothing are no instrument yet. */
  const listed = (one) => one.readings > 0 || !one.name.startsWith("by hand");

  function drawInstruments(status) {
    const instruments = status.instruments.filter(listed);
    const shape = JSON.stringify(instruments.map((one) => [one.name, one.channels]));
    const body = id("instruments-body");
    if (shape !== drawnInstruments) {
      drawnInstruments = shape;
      body.replaceChildren(...instruments.map((one) => element("div", { class: "instrument", "data-name": one.name },
        element("div", {}, element("strong", {}, one.name), " ", element("span", { class: "instrument-state" })),
        element("div", { class: "facts" }), element("div", { class: "instrument-text" }),
        element("details", {}, element("summary", {}, "channels and zeroing"),
          element("p", { class: "facts" }, one.channels.join(", ") || "no channel yet"),
          element("div", { class: "buttons" }, ...zeroButtons(one.channels))))));
      if (!instruments.length) body.replaceChildren(element("p", { class: "facts" }, "no instrument"));
    }
    instruments.forEach((one, number) => {
      const row = body.children[number];
      const age = one.age === null ? "no reading yet" : "last reading " + lightoff.format.span(one.age) + " ago";
      const rate = one.rate ? one.rate.toFixed(one.rate < 10 ? 1 : 0) + " a second" : "";
      const extra = Object.entries(one.statistics || {}).map(([name, value]) => name.replaceAll("_", " ") + " " + value);
      const next = one.next_try ? "next try " + lightoff.format.clock(one.next_try) : "";
      setText(row.querySelector(".instrument-state"), one.state);
      setText(row.querySelector(".facts"), [age, one.readings + " readings", rate, ...extra, next].filter(Boolean).join(" · "));
      setText(row.querySelector(".instrument-text"), one.text || "");
      setClass(row, "lost", !["reading", "ended"].includes(one.state));
    });
  }

  const ORIGINS = {
    replay: ["REPLAY", "not a live call"],
    simulated: ["SIMULATED", "not a live call"],
    shared: ["SHARED", "measured on another machine"],
    "by hand": ["BY HAND", "typed in, not measured here"],
  };

  function drawOrigin(status) {
    const byOrigin = {};
    for (const one of status.instruments) {
      if (!one.origin || (one.origin === "by hand" && !one.readings)) continue;
      const name = one.name.startsWith(one.origin + ": ") ? one.name.slice(one.origin.length + 2) : one.name;
      (byOrigin[one.origin] = byOrigin[one.origin] || []).push(name);
    }
    if (status.replay) byOrigin.replay = [String(status.replay.name).replace(/^replay: /, "")];
    const texts = Object.entries(byOrigin).map(([origin, names]) => {
      const [head, tail] = ORIGINS[origin] || [origin.toUpperCase(), "not a live instrument"];
      const different = [...new Set(names)];
      const more = different.length > 3 ? " and " + (different.length - 2) + " more" : "";
      return head + ": " + different.slice(0, more ? 2 : 3).join(", ") + more + " — " + tail;
    });
    show(id("origin-banner"), texts.length > 0);
    setText(id("origin-banner"), texts.join("   |   "));
    const heads = Object.keys(byOrigin).map((origin) => (ORIGINS[origin] || [origin])[0]);
    document.title = [...heads, "lightoff"].join(" · ");
  }

  function drawRecorder(status, recording) {
    const { state, text, lost, queued } = status.recorder;
    const good = state === "recording";
    const name = String(status.recorder.path || recording || "").split(/[\\/]/).pop();
    const words = good ? "recording to " + name : "NOT RECORDING: " + (text || state);
    const more = [lost ? lost + " readings LOST" : "", !good && queued ? queued + " waiting" : ""].filter(Boolean);
    setText(id("recorder-state"), [words, ...more].join(" · "));
    id("recorder-state").title = recording || "";
    setClass(id("recorder-state"), "bad", !good || lost > 0);
    show(id("problem-line"), !good);
    if (!good) setText(id("problem-line"), "The recorder stands still: " + (text || state));
  }

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

  function useStatus(status, recording) {
    drawOrigin(status);
    drawRecorder(status, recording);
    drawAlarms(status);
    drawInstruments(status);
    drawReplay(status);
  }

  function drawEvents() {
    id("events").replaceChildren(...events.slice(-12).reverse().map((event) => element("div", { class: "event" },
      element("time", {}, lightoff.format.clock(event.time)), " ",
      element("span", { class: "event-kind" }, event.kind.replaceAll("_", " ")), " ", event.text)));
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

  function makeTypeIn() {
    if (id("type-in-point")) return;
    const page = lightoff.format.page();
    const points = Object.entries(page.points).filter(([name]) => page.typed.includes(name))
      .map(([name, point]) => element("option", { value: name }, point.text));
    const point = element("select", { id: "type-in-point" }, ...points);
    const value = element("input", { id: "type-in-value", type: "text", maxlength: 60 });
    const meter = element("input", { id: "type-in-meter", type: "text", maxlength: 60, placeholder: "which meter" });
    const example = () => {
      const scale = lightoff.format.screen(point.value);
      value.placeholder = scale && scale.label ? "number with unit, in " + scale.label : "1 or 0";
    };
    point.addEventListener("change", example);
    example();
    const record = () => send("type_in", { point: point.value, value: value.value.trim(), meter: meter.value.trim() })
      .then((done) => { if (done.ok) value.value = ""; });
    id("type-in-body").append(element("div", { class: "form" }, field("where", point), field("value", value),
      field("read off", meter), element("button", { id: "type-in-send", type: "button", onclick: record }, "record it")));
  }

  return { useStatus, useEvent, forget, makeForms, makeTypeIn };
})();
