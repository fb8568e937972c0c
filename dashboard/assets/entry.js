/* A reading by hand: where, how much, off which meter, when, and its photograph; what was entered can be withdrawn. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.entry = (function () {
  const NUMBER = /^[-+−]?(\d+\.?\d*|\.\d+)(e[-+]?\d+)?$/i;
  const WHEN = ["now", "1 min ago", "2 min ago", "5 min ago", "10 min ago"];
  const MOST_METERS = 12;

  const { id, element, setText, show } = lightoff.dom;
  let from = null; // where the page was before the form was opened by its key: {view, y}
  let chosen = kept("units", {}); // measure -> unit
  let photo = null; // File that goes with the next reading
  let sending = false;
  let drawn = "";

  function kept(name, otherwise) {
    try {
      return JSON.parse(localStorage.getItem("lightoff-entry-" + name)) || otherwise;
    } catch {
      return otherwise;
    }
  }

  const keep = (name, value) => localStorage.setItem("lightoff-entry-" + name, JSON.stringify(value));
  const measure = () => lightoff.format.measureOf(id("type-in-point").value);

  function field(label, input, name) {
    return element("label", { class: "entry-" + name }, element("span", { id: "entry-label-" + name }, label), input);
  }

  /* The units of the point that is chosen, and what a number there looks like. `afresh`: others are shown now. */
  function drawUnits(afresh) {
    const point = id("type-in-point");
    if (!point) return;
    if (afresh) keep("units", chosen = {});
    const { screen, page } = lightoff.format;
    const scale = screen(point.value);
    const units = page().units[measure()] || [];
    const shown = scale && units.includes(scale.label) ? scale.label : "";
    const unit = id("type-in-unit-choice");
    unit.replaceChildren(...units.map((label) => element("option", { value: label }, label)));
    unit.value = units.includes(chosen[measure()]) ? chosen[measure()] : shown;
    show(unit.parentNode, units.length > 0);
    const own = unit.value === shown;
    const example = own ? (page().examples[measure()] || {})[lightoff.settings.units] || "" : "";
    id("type-in-value").placeholder = [example, own ? shown : ""].filter(Boolean).join(" ");
    setText(id("entry-label-value"), units.length ? "value" : "value: 1 or 0");
    show(id("type-in-suction"), Boolean((page().points[point.value] || {}).suction));
  }

  /* Meters used before, in this recording and on this machine. */
  function drawMeters() {
    const known = lightoff.readings.channels().map((one) => one.instrument)
      .filter((name) => name.startsWith("by hand: ")).map((name) => name.slice(9).replace(/ \([^)]*\)$/, ""));
    const all = [...new Set([...known.reverse(), ...kept("meters", [])])].filter((name) => name !== "not named");
    id("type-in-meters").replaceChildren(...all.slice(0, MOST_METERS).map((name) => element("option", { value: name })));
  }

  /* A bare number is meant in the unit that is chosen. */
  function withUnit(text) {
    const given = text.trim();
    const unit = id("type-in-unit-choice").value;
    return NUMBER.test(given) && unit ? given + " " + unit : given;
  }

  function drawPhoto() {
    show(id("type-in-photo-chosen"), photo !== null);
    setText(id("type-in-photo-name"), photo ? "with " + photo.name : "");
  }

  async function record() {
    if (sending) return; // a second press of Enter is not a second reading
    sending = true;
    try {
      const meter = id("type-in-meter").value.trim();
      const given = { point: id("type-in-point").value, value: withUnit(id("type-in-value").value), meter };
      const when = id("type-in-when").value.trim();
      if (when) given.at = when;
      if (photo) {
        const sent = await lightoff.photos.sendAhead(photo);
        if (!sent.ok) { lightoff.live.reply(sent); return; }
        Object.assign(given, { upload: sent.upload, name: sent.name });
      }
      const done = await lightoff.live.send("type_in", given);
      if (!done.ok) return;
      id("type-in-value").value = id("type-in-when").value = "";
      photo = null;
      drawPhoto();
      keep("point", given.point);
      if (meter) keep("meters", [meter, ...kept("meters", []).filter((name) => name !== meter)].slice(0, MOST_METERS));
    } finally {
      sending = false;
    }
  }

  function make() {
    if (id("type-in-point")) return;
    const page = lightoff.format.page();
    const points = Object.entries(page.points).filter(([name]) => page.typed.includes(name))
      .map(([name, point]) => element("option", { value: name }, point.text));
    const point = element("select", { id: "type-in-point", onchange: () => drawUnits() }, ...points);
    const wish = kept("point", "draft_switch");
    point.value = page.typed.includes(wish) ? wish : page.typed[0];
    const value = element("input", { id: "type-in-value", type: "text", maxlength: 60, autocomplete: "off", enterkeyhint: "send" });
    const unit = element("select", { id: "type-in-unit-choice", onchange: () => {
      chosen[measure()] = unit.value;
      keep("units", chosen);
      drawUnits();
    } });
    const meter = element("input", { id: "type-in-meter", type: "text", maxlength: 40, placeholder: "which meter",
      list: "type-in-meters", autocomplete: "off", enterkeyhint: "send", onfocus: drawMeters });
    const when = element("input", { id: "type-in-when", type: "text", maxlength: 40, placeholder: "now, 06:31, 5 min ago",
      list: "type-in-times", autocomplete: "off", enterkeyhint: "send" });
    for (const input of [value, meter, when, point, unit])
      input.addEventListener("keydown", (event) => {
        if (event.key === "Escape") back();
        if (event.key !== "Enter") return;
        event.preventDefault();
        record();
      });
    const choose = (file) => { photo = file; drawPhoto(); };
    id("type-in-body").append(
      element("div", { class: "form" }, field("where", point, "where"), field("value", value, "value"), field("unit", unit, "unit"),
        field("read off", meter, "meter"), field("when", when, "when"),
        lightoff.photos.button("type-in-photo", "photograph of it", choose),
        element("button", { id: "type-in-send", type: "button", onclick: record }, "record it")),
      element("datalist", { id: "type-in-meters" }),
      element("datalist", { id: "type-in-times" }, ...WHEN.map((text) => element("option", { value: text }))),
      element("p", { id: "type-in-suction", class: "facts", hidden: true }, "A suction is negative: −1.25."),
      element("p", { id: "type-in-photo-chosen", class: "buttons", hidden: true }, element("span", { id: "type-in-photo-name" }),
        element("button", { type: "button", onclick: () => choose(null) }, "without it")),
      element("ul", { id: "entries", "aria-label": "entered by hand" }));
    drawUnits();
  }

  function entryRow(one, now) {
    const clock = lightoff.format.clock(one.time, now);
    return element("li", { class: one.withdrawn ? "withdrawn" : "" },
      element("time", { datetime: new Date(one.time / 1e6).toISOString() }, clock), " ", element("span", { class: "event-text" }, one.text),
      one.withdrawn ? element("span", { class: "facts" }, " withdrawn: counts as never read")
        : element("button", { type: "button", class: "entry-withdraw", "aria-label": "it is wrong: withdraw " + one.text,
          onclick: () => lightoff.live.send("withdraw", { channel: one.channel, at: one.at }) }, "wrong: withdraw"));
  }

  /* What was entered last, from here or from the command line. */
  function drawEntries(status) {
    const entries = status.entries || [];
    const shape = JSON.stringify(entries);
    if (!id("entries") || shape === drawn) return;
    drawn = shape;
    id("entries").replaceChildren(...entries.map((one) => entryRow(one, status.now)));
  }

  /* By its key, from any view; the point is the one used last. */
  function open() {
    if (!id("type-in-point")) return;
    from = { view: lightoff.views.shown(), y: scrollY };
    lightoff.views.go("live");
    lightoff.dom.jump("type-in", "type-in-value");
    id("type-in-value").select();
  }

  /* To where the page was before. */
  function back() {
    document.activeElement.blur();
    if (!from) return;
    lightoff.views.go(from.view);
    scrollTo(0, from.y);
    from = null;
  }

  return { make, open, drawUnits, drawEntries };
})();
