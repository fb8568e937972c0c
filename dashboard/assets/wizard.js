/* A new meter in four steps: what is in reach, what it measures, whether its value moves, added. This is the frame. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.wizard = (function () {
  const NAMES = ["What is in reach", "What it measures", "Check that the value moves", "Add it"];
  const VIEW = "meters";

  const { id, element, setText, setClass, show } = lightoff.dom;
  const ask = (name, given) => lightoff.live.send(name, given || {}, true);
  const parts = () => [lightoff.wizardReach, lightoff.wizardPoints, lightoff.wizardTrial, lightoff.wizardAdd];
  let state = null; // of the meter that is being added; null while none is
  let step = -1;
  let busy = false;
  let timer = null;

  const button = (name, words, act) => element("button", { id: name, type: "button", onclick: act }, words);

  function trouble(...sentences) {
    const box = id("wizard-trouble");
    box.replaceChildren(...sentences.filter(Boolean).map((text) => element("p", {}, "✗ " + text)));
    show(box, box.childElementCount > 0);
    setClass(box, "settled", false);
  }

  /* Something was changed: what stood in the way may be gone. Its room stays: the button must not move under a click. */
  const settle = () => setClass(id("wizard-trouble"), "settled", true);

  function drawWay() {
    id("wizard-way").replaceChildren(...NAMES.map((name, number) => element("li", {
      class: number < step ? "done" : number === step ? "now" : "", "aria-current": number === step ? "step" : null,
    }, element("span", { "aria-hidden": "true" }, number < step ? "✓" : String(number + 1)), element("span", { class: "wizard-name" }, name))));
  }

  function drawFoot() {
    const part = parts()[step];
    setText(id("wizard-next"), part.nextText ? part.nextText(state) : "next");
    show(id("wizard-next"), !part.hasNext || part.hasNext(state));
    show(id("wizard-back"), step > 0);
  }

  /* Show a step; the keyboard and a screen reader are led to its heading. */
  function go(number) {
    if (step >= 0 && parts()[step].leave) parts()[step].leave(state);
    clearInterval(timer);
    step = number;
    trouble();
    drawWay();
    setText(id("wizard-step"), "Step " + (step + 1) + " of " + NAMES.length + ": " + NAMES[step]);
    id("wizard-room").replaceChildren();
    show(id("wizard-foot"), true);
    const part = parts()[step];
    part.make(id("wizard-room"), state);
    drawFoot();
    id("wizard-step").focus({ preventScroll: true });
    lightoff.dom.toTop(id("wizard"));
    if (part.look) {
      const look = () => { if (lightoff.views.shown() === VIEW && !document.hidden) part.look(state); };
      look();
      timer = setInterval(look, part.every);
    }
  }

  /* On, once the step lets go: it answers with the sentences that stand in the way. */
  function next() {
    if (busy) return;
    busy = true;
    trouble();
    Promise.resolve(parts()[step].next(state)).then((hindrances) => {
      busy = false;
      if (step < 0) return;
      if (hindrances.length) { trouble(...hindrances); id("wizard-trouble").scrollIntoView({ block: "nearest" }); return; }
      if (step < NAMES.length - 1) go(step + 1);
    });
  }

  function close() {
    if (step >= 0 && parts()[step].leave) parts()[step].leave(state);
    clearInterval(timer);
    step = -1;
    state = null;
    closed();
    id("wizard-open").focus();
  }

  function closed(why) {
    id("wizard-body").replaceChildren(
      element("p", { class: "facts", id: "wizard-why", role: "status" }, why || "Connect it, say what it measures, and see that its value moves; it is read from then on."),
      button("wizard-open", "add a meter", open));
  }

  function open() {
    if (busy) return;
    busy = true;
    Promise.all([ask("job_read"), ask("meter_offers")]).then(([job, offers]) => {
      busy = false;
      const hindrance = [job, offers].find((one) => !one.ok);
      if (hindrance || !job.data.writable) {
        closed(hindrance ? hindrance.text : job.data.why);
        id("wizard-open").focus();
        return;
      }
      state = { offers: offers.data, file: job.data.name, way: "", address: "", baud: "", device: "", topic: "", secret: "", profile: "",
        said: "", shows: {}, points: {}, name: "", named: false, isolated: "", accuracy: "", response: "", number: null, cautions: [] };
      id("wizard-body").replaceChildren(
        element("ol", { id: "wizard-way", "aria-label": "steps" }),
        element("h3", { id: "wizard-step", tabindex: "-1" }),
        element("div", { id: "wizard-room", onchange: settle }),
        element("div", { id: "wizard-trouble", role: "alert", hidden: true }),
        element("div", { id: "wizard-foot", class: "buttons" },
          button("wizard-next", "next", next), button("wizard-back", "back", () => { if (!busy) go(step - 1); }),
          button("wizard-cancel", "cancel", close)));
      go(0);
    });
  }

  const profile = (given) => given.offers.profiles.find((one) => one.name === given.profile);

  /* The meter as the job file has it. */
  function entry(given) {
    const pairs = [["name", given.name.trim()], ["driver", given.way], ["profile", given.profile], ["address", given.address.trim()], ["baud", given.baud],
      ["device", given.device.trim()], ["topic", given.topic.trim()], ["secret", given.secret.trim()], ["channels", given.points],
      ["accuracy", given.accuracy.trim()], ["response_time", given.response.trim()], ["isolated", needsIsolation(given) && given.isolated !== "unknown" ? given.isolated : ""]];
    return Object.fromEntries(pairs.filter(([, value]) => value !== ""));
  }

  const onLive = (given) => Object.values(given.points).some((point) => given.offers.live.includes(point));
  const needsIsolation = (given) => given.offers.wired.includes(given.way) && onLive(given);

  /* What must be minded before it is connected; empty where nothing has to be. */
  function caution(given) {
    return needsIsolation(given) && given.isolated !== "true"
      ? "▲ CAUTION: " + given.offers.caution + ". Use an isolated meter there; leave this one off that circuit." : "";
  }

  function start() {
    closed();
  }

  return {
    start, ask, go, next, close, open, trouble, drawFoot, entry, profile, needsIsolation, caution,
    hideFoot: () => show(id("wizard-foot"), false),
  };
})();
