/* Events, the replay's controls, and the form for notes with their photographs. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.lists = (function () {
  const EVENTS = 50;
  const KINDS = {
    entry: "by hand", withdrawn: "by hand", done: "what I did",
    remote_note: "from elsewhere", remote_request: "from elsewhere", remote_done: "answered",
  };
  const IN_TRENDS = ["mark", "note", "alarm", "photo", "entry", "remote_note", "remote_request"];

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
      element("span", { class: "event-kind" }, KINDS[event.kind] || event.kind.replaceAll("_", " ")), " ",
      element("span", { class: "event-text" }, event.text),
      event.attachment ? lightoff.photos.thumbnail("/photos/" + event.attachment, event.text) : null,
      IN_TRENDS.includes(event.kind)
        ? element("button", { type: "button", class: "event-show", onclick: () => lightoff.trends.jump(event.at || event.time) }, "show") : null)));
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
    /* The photograph of what the note says, or of nothing in particular. */
    const attach = async (file, label) => {
      const done = await lightoff.photos.attach(file, note.value.trim(), label);
      if (done.ok) note.value = "";
    };
    note.addEventListener("keydown", (event) => { if (event.key === "Enter") sendNote(); });
    id("notes-body").append(
      element("div", { class: "form" }, field("note", note),
        element("button", { id: "note-send", type: "button", onclick: sendNote }, "add note"),
        lightoff.photos.button("note-photo", "photograph", attach)),
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

  function toNote() {
    lightoff.views.go("live");
    lightoff.dom.jump("notes", "note-text");
  }

  return { toNote, drawReplay, useEvent, forget, makeForms };
})();
