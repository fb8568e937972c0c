/* The connection to the page's server: messages in, commands out, connected again when it breaks. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.live = (function () {
  const SILENT = 4000; // [ms] the server says something every second; silence beyond this is a lost connection
  const ANSWER = 8000; // [ms]
  const FIRST_PAUSE = 300;
  const LONGEST_PAUSE = 1000; // a server that is back is found within this; it is on this machine

  const { id, setText, show, setClass } = lightoff.dom;
  let socket = null;
  let heard = 0;
  let pause = FIRST_PAUSE;
  let number = 0;
  let waiting = {};
  let feed = false;
  let recording = "";
  let lost = 0;
  let longest = 16000; // [characters] a longer command is refused

  const open = () => Boolean(socket && socket.readyState === WebSocket.OPEN);
  const connected = () => open() && feed;

  /* What the last status says, as far as it is still known. */
  function drawStatus() {
    const { readings, notices, instruments, meters, checks, done, lists, practice, recordings, headline, sequence, tiles, entry, talk } = lightoff;
    const status = readings.status();
    if (status) {
      notices.draw(status, connected());
      instruments.draw(status, connected(), recording);
      meters.draw(status, connected());
      checks.draw(status);
      done.draw(status);
      lists.drawReplay(status);
      entry.drawEntries(status);
      practice.draw(status);
      headline.draw(status, connected());
      sequence.draw();
      recordings.draw(status);
      talk.draw(status.talk);
    }
    tiles.soon();
  }

  function drawState() {
    const good = connected();
    let text = good ? "connected" : open() ? "no connection to the recorder, trying again" : "connection lost, trying again";
    if (lost) text += " · this page missed " + lost + " readings (the recording has them)";
    setText(id("page-state"), text);
    setClass(id("page-state"), "bad", !good);
    drawStatus();
  }

  function receive(message) {
    const { readings, tiles, trends, lists, practice, format, job, entry } = lightoff;
    switch (message.type) {
      case "page":
        format.use(message);
        if (message.guest) lightoff.guest.begin();
        longest = message.longest_command || longest;
        trends.points = new Set(message.trend_points);
        entry.make();
        break;
      case "feed": feed = message.connected; drawState(); break;
      case "hello":
        recording = message.recording;
        lists.forget();
        lightoff.sequence.forget();
        readings.useHello(message);
        practice.useHello(message);
        lightoff.checks.useHello(message);
        lightoff.done.useHello(message);
        job.useHello();
        trends.forget();
        lightoff.guest.draw();
        tiles.soon();
        break;
      case "sharing": lightoff.sharing.use(message); break;
      case "job": readings.useJob(message); lightoff.guest.draw(); job.changed(); trends.fresh(); drawStatus(); break;
      case "channels": readings.useChannels(message.channels, message.derived); trends.fresh(); tiles.soon(); break;
      case "readings":
        readings.useReadings(message.readings);
        trends.useReadings(message.readings);
        tiles.useReadings(message.readings);
        break;
      case "status": readings.useStatus(message); drawStatus(); break;
      case "event":
        lists.useEvent(message);
        if (["mark", "note", "alarm", "photo", "entry", "remote_note", "remote_request"].includes(message.kind)) trends.fresh();
        if (message.kind === "withdrawn") trends.withdrawn();
        break;
      case "attempts": lightoff.sequence.use(message); break;
      case "jump": readings.forget(); lightoff.sequence.forget(); trends.jumped(); tiles.soon(); break;
      case "dropped":
      case "behind": lost += message.count; trends.fresh(); drawState(); break;
      case "reply": answer(message); break;
    }
  }

  function answer(message) {
    const done = waiting[message.id];
    delete waiting[message.id];
    if (done) done(message);
  }

  function connect() {
    if (lightoff.guest.ended()) return;
    const own = new WebSocket("ws://" + location.host + "/live");
    socket = own;
    heard = performance.now();
    own.onopen = () => { pause = FIRST_PAUSE; drawState(); };
    own.onmessage = (event) => {
      heard = performance.now();
      for (const message of JSON.parse(event.data)) receive(message);
    };
    own.onclose = (event) => {
      if (own !== socket) return;
      socket = null;
      feed = false;
      for (const key of Object.keys(waiting)) answer({ id: key, ok: false, text: "connection lost; look at the page and try again" });
      drawState();
      if (lightoff.guest.cutOff(event)) return;
      setTimeout(connect, pause * (0.5 + Math.random() / 2));
      pause = Math.min(pause * 2, LONGEST_PAUSE);
    };
  }

  function watch() {
    if (socket && performance.now() - heard > SILENT) {
      const silent = socket;
      heard = performance.now();
      silent.close();
      silent.onclose();
    }
    if (connected()) lightoff.tiles.soon(); // ages go on when nothing comes
    else drawStatus(); // and what was dangerous is heard on
  }

  /* Send a command; the promise holds the recorder's answer {ok, text, data}, which is shown too unless `quiet`. */
  function send(name, given, quiet) {
    return new Promise((resolve) => {
      if (!socket || socket.readyState !== WebSocket.OPEN) {
        resolve({ ok: false, text: "no connection, nothing was done; try again in a moment" });
        return;
      }
      number += 1;
      const own = number;
      const text = JSON.stringify({ id: own, name, arguments: given });
      if (text.length > longest) {
        resolve({ ok: false, text: name.replace("_", " ") + ": this is too long (" + text.length + " characters), nothing was done; shorten it" });
        return;
      }
      waiting[own] = resolve;
      socket.send(text);
      setTimeout(() => answer({ id: own, ok: false, text: "no answer; look at the page before you try again" }), ANSWER);
    }).then((done) => { if (!quiet) reply(done); return done; });
  }

  let replyUntil = null;
  function reply(done) {
    const box = id("reply");
    setText(box, done.text);
    setClass(box, "bad", !done.ok);
    show(box, true);
    clearTimeout(replyUntil);
    replyUntil = setTimeout(() => show(box, false), done.ok ? 3000 : 10000);
  }

  const mark = () => send("mark", { text: "mark" });

  function start() {
    lightoff.choices.start();
    lightoff.sounds.start();
    lightoff.lists.makeForms();
    lightoff.sharing.start();
    lightoff.talk.start();
    lightoff.causes.start();
    lightoff.job.start();
    lightoff.recordings.start();
    lightoff.views.start();
    lightoff.meters.start();
    lightoff.wizard.start();
    lightoff.trends.start();
    id("alarm-line").addEventListener("click", () => { lightoff.views.go("live"); lightoff.dom.jump("alarms", "alarms-title"); });
    id("to-type-in").addEventListener("click", () => lightoff.dom.jump("type-in", "type-in-point"));
    id("enter").addEventListener("click", lightoff.entry.open);
    id("mark").addEventListener("click", mark);
    setInterval(watch, 500);
    connect();
  }

  /* Dash makes the page after its scripts have run. */
  function whenThere() {
    if (id("page") && id("trends")) start();
    else setTimeout(whenThere, 30);
  }
  whenThere();

  return { send, reply, connected, mark, drawStatus };
})();
