/* One recording opened: its trends, a cursor with what every meter showed there, and its notes, marks and alarms. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.opened = (function () {
  const STEPS = [[-10, "−10 s"], [-1, "−1 s"], [1, "+1 s"], [10, "+10 s"]];
  const CLOSER = 0.4; // of the span that is shown
  const AROUND = 60000; // [ms] shown on each side of an event that was chosen
  const SETTLED = 250; // [ms] after which the charts have followed another width
  const KINDS = { entry: "by hand", withdrawn: "by hand" };

  const { id, element, setText, show } = lightoff.dom;
  let name = "";
  let span = [0, 0]; // [ms]
  let shown = [0, 0];
  let at = 0; // [ms] where the cursor stands
  let charts = null;
  let serial = 0; // of the figure that was asked for last
  let asking = false; // for values
  let wanted = null;

  const path = (what) => "/library/" + encodeURIComponent(name) + "/" + what;
  const clock = (ms) => lightoff.format.clock(ms * 1e6, span[0] * 1e6);
  /* The axis has the time that is written on it: local, or from the start. */
  const onAxis = (ms) => ms + lightoff.format.offset(ms);
  const offAxis = (time) => time - lightoff.format.offset(time);
  const counted = () => span[0] < lightoff.format.page().from_start * 1000;

  function problem(text) {
    setText(id("recorded-problem"), text);
    show(id("recorded-problem"), text !== "");
  }

  async function drawFigure(range) {
    const own = serial += 1;
    const asked = lightoff.drawings.look(id("recorded-charts"));
    if (range) Object.assign(asked, { start: range[0], end: range[1] });
    try {
      const answer = await lightoff.drawings.ask(path("figure"), asked);
      if (own !== serial) return false;
      problem("");
      span = answer.span;
      shown = answer.shown;
      id("recorded-seek").max = Math.ceil((span[1] - span[0]) / 1000);
      await charts.draw(answer.figures);
      drawStrip();
      return true;
    } catch (error) {
      if (own === serial) problem(error.message);
      return false;
    }
  }

  const drawStrip = () => lightoff.recordedAttempts.draw(shown[0], shown[1], charts.area());

  function valueRow(one, several) {
    const { value, pointText, page } = lightoff.format;
    const contact = page().contacts[one.point];
    const label = (contact ? contact.name : pointText(one.point)) + (several ? " (" + one.instrument + ")" : "");
    let parts = value(one.point, one.value);
    if (one.value === null) parts = { word: "", number: "–", unit: "no reading within 30 s" };
    else if (contact) parts = { word: "", number: one.value >= 0.5 ? contact.on : contact.off, unit: "" };
    return element("li", { class: one.value === null ? "missing" : "" }, element("span", { class: "value-name" }, label),
      element("span", { class: "value-number" }, [parts.word, parts.number].filter(Boolean).join(" ")),
      element("span", { class: "value-unit" }, parts.unit));
  }

  async function drawValues() {
    wanted = at;
    if (asking) return; // what is asked for last is asked when the answer is there
    asking = true;
    try {
      while (wanted !== null) {
        const own = name;
        const asked = wanted;
        wanted = null;
        const answer = await lightoff.drawings.ask(path("values"), { at: asked });
        if (own !== name) continue;
        const count = {};
        for (const one of answer.values) count[one.point] = (count[one.point] || 0) + 1;
        id("recorded-values").replaceChildren(...answer.values.map((one) => valueRow(one, count[one.point] > 1)));
        id("recorded-values").dataset.at = answer.at;
      }
    } catch (error) {
      problem(error.message);
    } finally {
      asking = false;
    }
  }

  /* Move the cursor; outside of what is shown the figure follows. */
  function move(ms) {
    at = Math.min(Math.max(ms, span[0]), span[1]);
    const seek = id("recorded-seek");
    seek.value = Math.round((at - span[0]) / 1000);
    seek.setAttribute("aria-valuetext", clock(at));
    setText(id("recorded-time"), clock(at) + (counted() ? " from the start" : ""));
    charts.moveCursor(onAxis(at));
    const wide = shown[1] - shown[0];
    if (at < shown[0] || at > shown[1]) zoom(at - wide / 2, at + wide / 2);
    drawValues();
  }

  function zoom(start, end) {
    const wide = Math.min(end - start, span[1] - span[0]);
    const from = Math.min(Math.max(start, span[0]), span[1] - wide);
    shown = [from, from + wide];
    drawFigure(shown).then((done) => { if (done) charts.moveCursor(onAxis(at)); });
  }

  function scale(factor) {
    const wide = (shown[1] - shown[0]) * factor;
    zoom(at - wide / 2, at + wide / 2);
  }

  function eventRow(event) {
    const go = () => { move(event.time); zoom(event.time - AROUND, event.time + AROUND); };
    const shown = event.attachment ? lightoff.photos.thumbnail(path("photos/" + event.attachment), event.text) : null;
    return element("li", { class: event.withdrawn ? "withdrawn" : "" }, element("button", { type: "button", class: "recorded-event", onclick: go },
      element("time", {}, clock(event.time)), " ", element("span", { class: "event-kind" }, KINDS[event.kind] || event.kind), " ",
      element("span", { class: "event-text" }, event.text), event.withdrawn ? " (withdrawn)" : null), shown);
  }

  async function drawEvents() {
    const own = name;
    const list = id("recorded-events");
    try {
      const { events, more } = await lightoff.drawings.ask(path("events"));
      if (own !== name) return;
      setText(id("recorded-events-title"), events.length ? "Notes, marks, photographs and alarms: press one to go there" : "No notes, marks, photographs or alarms in it");
      list.replaceChildren(...events.map(eventRow));
      if (more) list.append(element("li", { class: "facts" }, more + " more are not listed"));
    } catch (error) {
      problem(error.message);
    }
  }

  function make() {
    const button = (text, act, more) => element("button", { type: "button", onclick: act, ...more }, text);
    const seek = element("input", { id: "recorded-seek", type: "range", min: 0, max: 1, step: 1, value: 0, "aria-label": "moment in the recording",
      oninput: () => move(span[0] + Number(seek.value) * 1000),
      onkeydown: (event) => {
        const step = { ArrowLeft: -10, ArrowDown: -10, ArrowRight: 10, ArrowUp: 10 }[event.key];
        if (!step || !event.shiftKey) return;
        event.preventDefault();
        move(at + step * 1000);
      } });
    id("recorded-body").append(
      element("p", { id: "recorded-problem", role: "alert", hidden: true }),
      element("div", { class: "buttons" },
        button("show all", () => { shown = span; drawFigure(null).then(() => charts.moveCursor(onAxis(at))); }, { id: "recorded-all" }),
        button("closer", () => scale(CLOSER), { id: "recorded-closer" }),
        button("wider", () => scale(1 / CLOSER), { id: "recorded-wider" }),
        button("close", close, { id: "recorded-close" })),
      element("div", { id: "recorded-charts", role: "img", "aria-label": "trends of the recording; the values at the cursor stand below" }),
      ...lightoff.recordedAttempts.make(),
      element("div", { id: "recorded-scrub" },
        seek,
        element("div", { class: "buttons" },
          element("strong", { id: "recorded-time" }),
          ...STEPS.map(([seconds, text]) => button(text, () => move(at + seconds * 1000), { class: "recorded-step" })))),
      element("ul", { id: "recorded-values", "aria-label": "values at the cursor" }),
      ...lightoff.recordedAttempts.makeList(),
      element("h3", { id: "recorded-events-title" }),
      element("ul", { id: "recorded-events" }));
    charts = lightoff.drawings.make(id("recorded-charts"), {
      zoomed: (start, end) => zoom(offAxis(start), offAxis(end)),
      pointed: (time) => move(offAxis(time)),
    });
    window.addEventListener("resize", () => setTimeout(() => { if (name) drawStrip(); }, SETTLED));
  }

  async function open(wish) {
    name = wish;
    setText(id("recorded-title"), "Opened: " + name);
    for (const part of ["recorded-values", "recorded-events"]) id(part).replaceChildren();
    show(id("recorded"), true);
    span = shown = [0, 0];
    if (await drawFigure(null)) {
      move(span[0]);
      drawEvents();
      lightoff.recordedAttempts.open(path("attempts"), (moment, from, to) => { move(moment); zoom(from, to); });
    }
    lightoff.dom.jump("recorded", "recorded-seek");
  }

  function close() {
    name = "";
    serial += 1;
    lightoff.recordedAttempts.close();
    show(id("recorded"), false);
    lightoff.dom.jump("recordings", "recordings-title");
  }

  /* After another theme or other units. */
  function redraw() {
    if (!name) return;
    drawFigure(shown).then((done) => { if (done) move(at); });
  }

  return { make, open, close, redraw, name: () => name, resize: () => { if (name) charts.resize(); requestAnimationFrame(() => { if (name) drawStrip(); }); } };
})();
