/* Step 1 of a new meter: what a search finds, and a form for what is not in the list. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.wizardReach = (function () {
  const STRONG = -60; // [dBm] our choice, as the next
  const FAIR = -75; // [dBm]

  const { id, element, setText, show, setClass } = lightoff.dom;
  let rows = {}; // key -> what is found, as it is shown
  let mine = {}; // inputs of the form

  const titleOf = (state, way) => (state.offers.ways.find((one) => one.name === way) || { title: way }).title;
  const keyOf = (one) => [one.driver, one.address, one.device, one.topic].join(" ");

  function signalText(signal) {
    if (signal === null || signal === undefined) return "";
    const word = signal >= STRONG ? "strong" : signal >= FAIR ? "fair" : "weak";
    return "signal " + word + " (" + String(signal).replace("-", "−") + " dBm)";
  }

  function measuredText(one) {
    if (!one.measures.length) return "";
    return one.measures.map((value) => value.name.replace(/_/g, " ")
      + (value.value === null ? "" : " " + String(value.value).replace("-", "−") + (value.unit === "1" ? "" : " " + value.unit))).join(" · ");
  }

  function pick(state, one) {
    Object.assign(state, { way: one.driver, address: one.address, baud: "", device: one.device === null ? "" : String(one.device),
      topic: one.topic, said: one.name, shows: Object.fromEntries(one.measures.map((value) => [value.name, value])) });
    if (state.profile !== one.profile) state.points = {};
    state.profile = one.profile || "";
    if (lightoff.wizard.profile(state)) { lightoff.wizard.go(1); return; }
    id("wizard-other").open = true;
    fill(state);
    lightoff.wizard.drawFoot();
    lightoff.wizard.trouble("No profile fits " + (one.name || one.address) + " by itself: choose what kind of meter it is.");
    mine.profile.focus();
  }

  function found(state, one) {
    const lines = ["name", "place", "value", "note"].map((name) => element("span", { class: "found-" + name }));
    const button = element("button", { type: "button", class: "wizard-found" }, ...lines);
    const row = { one, node: element("li", {}, button), button, lines };
    button.addEventListener("click", () => { if (!row.one.taken) pick(state, row.one); });
    return row;
  }

  function drawFound(state, one) {
    const row = (rows[keyOf(one)] = rows[keyOf(one)] || found(state, one));
    row.one = one;
    const known = state.offers.profiles.find((profile) => profile.name === one.profile);
    const facts = Object.entries(one.facts).map(([name, text]) => name + " " + text);
    const texts = [one.name || (known ? known.title : "not named"),
      [titleOf(state, one.driver), one.address, one.device === null ? "" : "device " + one.device, one.topic, signalText(one.signal), ...facts].filter(Boolean).join(" · "),
      measuredText(one),
      one.taken ? "read in this call already, as " + one.taken : one.note];
    texts.forEach((text, number) => { setText(row.lines[number], text); show(row.lines[number], text !== ""); });
    if (one.taken) row.button.setAttribute("aria-disabled", "true"); else row.button.removeAttribute("aria-disabled");
    setClass(row.button, "taken", one.taken !== "");
    if (row.node.parentNode !== id("wizard-list")) id("wizard-list").append(row.node);
  }

  function draw(state, done) {
    if (!id("wizard-list")) return;
    if (!done.ok) { setText(id("wizard-searching"), done.text); return; }
    const data = done.data;
    const here = data.found.map(keyOf);
    for (const key of Object.keys(rows)) if (!here.includes(key)) { rows[key].node.remove(); delete rows[key]; }
    for (const one of data.found) drawFound(state, one);
    const count = data.found.length === 1 ? "1 found" : data.found.length + " found";
    const rest = data.running ? "looking, " + Math.ceil(data.left) + " s left" : "the search is over";
    setText(id("wizard-searching"), count + ", " + rest + (data.dropped ? "; " + data.dropped + " more had no room" : ""));
    const sentences = data.troubles.map((one) => one.title + ": " + one.text);
    const box = id("wizard-troubles");
    if (box.dataset.shape !== sentences.join()) {
      box.dataset.shape = sentences.join();
      box.replaceChildren(...sentences.map((text) => element("li", {}, text)));
    }
    setText(id("wizard-search"), data.running ? "stop looking" : "look again");
    id("wizard-search").dataset.running = data.running ? "yes" : "";
  }

  const label = (words, input) => element("label", {}, element("span", {}, words), input);
  const box = (state, key, example) => element("input", { type: "text", id: "wizard-" + key, autocomplete: "off", spellcheck: "false", autocapitalize: "off",
    placeholder: example ? "e.g. " + example : "", value: state[key], oninput: (event) => { state[key] = event.target.value; } });

  function options(select, list, chosen) {
    select.replaceChildren(...list.map(([value, text]) => element("option", { value, selected: value === chosen }, text)));
  }

  /* The form as the meter stands, with the profiles of its way. */
  function fill(state) {
    const way = state.offers.ways.find((one) => one.name === state.way);
    options(mine.way, [["", "choose"], ...state.offers.ways.map((one) => [one.name, one.title])], state.way);
    const own = state.offers.profiles.filter((one) => one.driver === state.way);
    if (!own.some((one) => one.name === state.profile)) state.profile = "";
    options(mine.profile, [["", way ? "choose" : "first how it is reached"], ...own.map((one) => [one.name, one.title])], state.profile);
    for (const key of ["address", "device", "topic", "secret"]) if (mine[key].value !== state[key]) mine[key].value = state[key];
    mine.address.placeholder = way ? "e.g. " + way.example : "";
    const kind = lightoff.wizard.profile(state);
    const bauds = way ? way.bauds || [] : [];
    if (!bauds.includes(state.baud)) state.baud = "";
    options(mine.baud, [["", kind && kind.baud ? kind.baud + ", as its kind has it" : "as its kind has it"], ...bauds.map((one) => [one, one])], state.baud);
    show(mine.baud.parentNode, bauds.length > 0);
    show(mine.device.parentNode, Boolean(way && way.device));
    show(mine.topic.parentNode, Boolean(way && way.topic));
    show(mine.secret.parentNode, Boolean(way && way.secret));
  }

  function makeForm(state) {
    mine = {
      way: element("select", { id: "wizard-by", onchange: (event) => { state.way = event.target.value; state.shows = {}; fill(state); } }),
      profile: element("select", { id: "wizard-profile", onchange: (event) => { state.profile = event.target.value; state.points = {}; fill(state); } }),
      baud: element("select", { id: "wizard-baud", onchange: (event) => { state.baud = event.target.value; } }),
      address: box(state, "address", ""), device: box(state, "device", "1"), topic: box(state, "topic", "gateway/meter"),
      secret: box(state, "secret", "env:NAME or file:PATH"),
    };
    const node = element("details", { id: "wizard-other", ontoggle: () => lightoff.wizard.drawFoot() },
      element("summary", {}, "It is not in the list"),
      element("div", { class: "wizard-form" },
        label("how it is reached", mine.way), label("what kind of meter", mine.profile), label("address", mine.address), label("baud", mine.baud),
        label("number on its line", mine.device), label("topic of its messages", mine.topic),
        label("where its key or password is kept, if it has one", mine.secret)),
      element("p", { class: "facts" }, "No kind fits? A meter is described in a short file, a profile; a serial meter also by its lines, in the Job view."),
      ...state.offers.troubles.map((text) => element("p", { class: "facts" }, text)));
    fill(state);
    return node;
  }

  function search() {
    const running = id("wizard-search").dataset.running;
    lightoff.wizard.ask(running ? "scan_stop" : "scan_start").then((done) => { if (!done.ok) setText(id("wizard-searching"), done.text); });
  }

  function make(room, state) {
    rows = {};
    room.replaceChildren(
      element("p", {}, "Switch the meter on and near, or plug it in. Choose it when it appears; no port that this call reads is disturbed."),
      element("div", { class: "buttons" },
        element("button", { id: "wizard-search", type: "button", onclick: search }, "look again"),
        element("span", { id: "wizard-searching", class: "facts", role: "status" }, "looking")),
      element("ul", { id: "wizard-list", "aria-label": "meters in reach" }),
      element("ul", { id: "wizard-troubles", class: "facts", "aria-label": "what cannot be looked for" }),
      makeForm(state));
    lightoff.wizard.ask("scan_start");
  }

  function next(state) {
    const missing = [[state.way, "say how it is reached", mine.way], [state.profile, "choose what kind of meter it is", mine.profile],
      [state.address.trim(), "say its address", mine.address]].filter(([given]) => !given);
    if (missing.length) missing[0][2].focus();
    return missing.map(([, text]) => text);
  }

  return {
    make, next, every: 700,
    look: (state) => lightoff.wizard.ask("scan_state").then((done) => draw(state, done)),
    leave: () => lightoff.wizard.ask("scan_stop"),
    hasNext: () => Boolean(id("wizard-other") && id("wizard-other").open),
  };
})();
