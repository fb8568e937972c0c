/* Instruments, where the readings come from, and whether they are kept: what a status says of them. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.instruments = (function () {
  const SURE = 4000; // [ms] a second press within this confirms
  const ZEROABLE = new Set(["pressure", "flame_current", "current", "voltage"]); // never a gas: bad air would become good
  const ORIGINS = {
    replay: ["REPLAY", "not a live call"],
    simulated: ["SIMULATED", "not a live call"],
    shared: ["SHARED", "measured on another machine"],
    "by hand": ["BY HAND", "typed in, not measured here"],
  };

  let drawn = "";

  const send = (name, given) => lightoff.live.send(name, given);

  /* A button that acts at its second press, for what can't be taken back. */
  function sureButton(text, question, act) {
    let sure = false;
    const button = lightoff.dom.element("button", {
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

  function zeroButtons(instrument) {
    const { element } = lightoff.dom;
    const { measureOf, pointText } = lightoff.format;
    const own = lightoff.readings.channels().filter((channel) => instrument.channels.includes(channel.key));
    return own.flatMap((channel) => {
      const zero = (instrument.zeros || {})[channel.key];
      const made = [];
      if (ZEROABLE.has(measureOf(channel.point)))
        made.push(sureButton("zero " + pointText(channel.point),
          measureOf(channel.point) === "pressure" ? "hoses off? zero now" : "leads off? zero now",
          () => send("zero", { channel: channel.key })));
      if (zero)
        made.push(element("span", { class: "zeroed" }, pointText(channel.point) + " zeroed " + zero),
          element("button", { type: "button", class: "undo-zero", onclick: () => send("unzero", { channel: channel.key }) }, "undo zero"));
      return made;
    });
  }

  function row(one, open) {
    const { element } = lightoff.dom;
    return element("div", { class: "instrument", "data-name": one.name },
      element("details", { open },
        element("summary", {}, element("strong", {}, one.name), " ", element("span", { class: "instrument-state" })),
        element("dl", { class: "meter-facts" }),
        element("div", { class: "buttons" }, ...zeroButtons(one))),
      element("div", { class: "instrument-text" }));
  }

  function stateText(one, status, connected) {
    if (!connected) return "not known: no connection";
    const age = one.age === null ? "no reading yet" : lightoff.format.span(one.age) + " ago";
    const state = lightoff.meters.stateText(one);
    const standing = lightoff.meters.byHand(one) ? [state + " " + age] : [state, age];
    const zeroed = Object.keys(one.zeros || {}).length ? "zeroed" : "";
    const lost = (one.losses || []).find((text) => text.startsWith("lost ")) || "";
    return [...standing, ...lightoff.meters.briefly(one, status), zeroed, lost.split(",")[0]].filter(Boolean).join(" · ");
  }

  function drawList(status, connected) {
    const { id, element, setText, setClass, show } = lightoff.dom;
    const instruments = status.instruments.filter(lightoff.meters.listed);
    const shape = JSON.stringify(instruments.map((one) => [one.name, one.channels, one.zeros]));
    const body = id("instruments-body");
    if (shape !== drawn) {
      drawn = shape;
      const open = new Set([...body.querySelectorAll("details[open]")].map((one) => one.parentNode.dataset.name));
      body.replaceChildren(...instruments.map((one) => row(one, open.has(one.name))));
      if (!instruments.length) body.replaceChildren(element("p", { class: "facts" }, "no instrument"));
    }
    instruments.forEach((one, number) => {
      const node = body.children[number];
      const text = connected ? one.text : "";
      setText(node.querySelector(".instrument-state"), stateText(one, status, connected));
      lightoff.meters.fill(node.querySelector(".meter-facts"), lightoff.meters.facts(one, status, connected));
      setText(node.querySelector(".instrument-text"), text);
      show(node.querySelector(".instrument-text"), text !== "");
      setClass(node, "worried", connected && lightoff.meters.briefly(one, status).length > 0);
      setClass(node, "lost", !connected || !["reading", "ended"].includes(one.state));
    });
  }

  function drawOrigin(status) {
    const { id, setText, show } = lightoff.dom;
    const byOrigin = {};
    for (const one of status.instruments) {
      if (!one.origin || (one.origin === "by hand" && !one.readings)) continue;
      const name = one.name.startsWith(one.origin + ": ") ? one.name.slice(one.origin.length + 2) : one.name;
      (byOrigin[one.origin] = byOrigin[one.origin] || []).push(name);
    }
    const simulated = status.instruments.some((one) => one.name.startsWith("replay: simulated: "));
    if (status.replay) byOrigin.replay = [String(status.replay.name).replace(/^replay: /, "") + (simulated ? ", a simulated unit" : "")];
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

  function recorderText(status, recording) {
    const { state, text, path } = status.recorder;
    if (lightoff.guest.on()) return state === "recording" ? "recorded where it is measured" : "NOT RECORDING";
    if (state !== "recording") return "NOT RECORDING: " + (text || state);
    if (!lightoff.readings.kept()) return "not kept: notes will be lost when this ends";
    return "recording to " + String(path || recording || "").split(/[\\/]/).pop();
  }

  function drawRecorder(status, connected, recording) {
    const { id, setText, show, setClass } = lightoff.dom;
    const { state, text, lost, queued } = status.recorder;
    const good = state === "recording";
    const words = connected ? recorderText(status, recording) : "whether it records is not known";
    const more = [lost ? lost + " readings LOST" : "", !good && queued ? queued + " waiting" : ""].filter(Boolean);
    setText(id("recorder-state"), [words, ...more].join(" · "));
    id("recorder-state").title = recording || "";
    setClass(id("recorder-state"), "bad", !connected || !good || lost > 0);
    setClass(id("recorder-state"), "not-kept", !lightoff.readings.kept());
    show(id("problem-line"), !good);
    if (!good) setText(id("problem-line"), "The recorder stands still: " + (text || state));
  }

  /* How far the archive has what is recorded; short on the line, and why in its title. */
  function drawArchive(archive, connected) {
    const { id, setText, show, setClass } = lightoff.dom;
    show(id("archive-state"), Boolean(archive));
    if (!archive) return;
    const { state, text, behind, aside, since, server } = archive;
    const late = behind > 5 ? ", " + lightoff.format.span(behind) + " behind" : "";
    const from = state === "waiting" && since ? " since " + lightoff.format.clock(since).slice(0, 5) : "";
    const refused = aside ? " · " + aside + " readings REFUSED" : "";
    setText(id("archive-state"), connected ? "archive " + state + from + late + refused : "");
    id("archive-state").title = [server, text].filter(Boolean).join(": ");
    setClass(id("archive-state"), "bad", Boolean(aside) || (state === "waiting" && behind > 60));
  }

  /* Whether others can see the call. */
  function drawSharing(sharing, connected) {
    const { id, setText, setClass, show } = lightoff.dom;
    show(id("broker-state"), Boolean(sharing));
    if (!sharing) return;
    const late = sharing.behind > 5 ? ", " + lightoff.format.span(sharing.behind) + " to be sent" : "";
    const words = sharing.state === "waiting" ? "not shared now" : "shared";
    setText(id("broker-state"), connected ? words + late : "");
    id("broker-state").title = [sharing.server, sharing.text].filter(Boolean).join(": ");
    setClass(id("broker-state"), "bad", sharing.state === "waiting");
  }

  /* Of a call that is watched: whose it is, and always how far the newest reading is behind the time there. */
  function drawWatching(watching, connected) {
    const { id, setText, setClass, show } = lightoff.dom;
    show(id("watching-state"), Boolean(watching));
    if (!watching) return;
    const { behind, state, lacking, server, origin, text } = watching;
    const late = behind === null ? "no reading yet" : lightoff.format.span(behind) + " behind";
    const more = lacking ? "fetching what was before" : "";
    const why = state === "no word yet" ? text : "";
    const words = ["watching " + (watching.name || "a call"), origin, state, late, more, why].filter(Boolean).join(" · ");
    setText(id("watching-state"), connected ? words : "");
    id("watching-state").title = [server, text].filter(Boolean).join(": ");
    setClass(id("watching-state"), "bad", !connected || state !== "live" || behind === null || behind > 5);
  }

  function draw(status, connected, recording) {
    drawOrigin(status);
    drawArchive(status.archive, connected);
    drawSharing(status.sharing, connected);
    drawWatching(status.watching, connected);
    drawRecorder(status, connected, recording);
    drawList(status, connected);
  }

  return { draw };
})();
