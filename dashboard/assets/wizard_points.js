/* Step 2 of a new meter: which point each of its values is, its name, and whether it is isolated where that matters. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.wizardPoints = (function () {
  const { id, element, setText, show } = lightoff.dom;

  const places = () => lightoff.format.page().places || {};

  /* Who reads a point already. */
  function readers(point) {
    return lightoff.readings.channels().filter((one) => one.point === point && !/^by hand/.test(one.instrument)).map((one) => one.instrument);
  }

  function where(point) {
    if (!point) return "not recorded";
    const others = readers(point);
    return [(places()[point] || { where: "" }).where, others.length ? "read by " + others.join(", ") + " too" : ""].filter(Boolean).join("; ");
  }

  function choices(points, chosen) {
    const groups = {};
    for (const point of points) {
      const group = (places()[point] || { group: "Other" }).group;
      (groups[group] = groups[group] || []).push(element("option", { value: point, selected: point === chosen }, lightoff.format.pointText(point)));
    }
    const made = Object.entries(groups);
    return made.length > 1 ? made.map(([label, options]) => element("optgroup", { label }, ...options)) : made.flatMap(([, options]) => options);
  }

  /* A name that says where it hangs, until one is typed. */
  function suggest(state) {
    if (state.named) return;
    const first = Object.values(state.points)[0];
    state.name = state.said || (first ? lightoff.format.pointText(first).replace(/^at the /, "") + " meter" : "");
    id("wizard-named").value = state.name;
  }

  /* What an accuracy looks like at the points that are chosen. */
  function exemplify(state) {
    const known = Object.values(state.points).map((point) => (places()[point] || {}).accuracy).find(Boolean);
    id("wizard-accuracy").placeholder = known ? "e.g. " + known : "";
  }

  function mind(state) {
    show(id("wizard-isolated"), lightoff.wizard.needsIsolation(state));
    const text = state.isolated || !lightoff.wizard.needsIsolation(state) ? lightoff.wizard.caution(state) : "";
    setText(id("wizard-caution"), text);
    show(id("wizard-caution"), text !== "");
  }

  function value(state, one, number) {
    const name = "wizard-value-" + number;
    const shows = state.shows[one.name];
    const facts = element("p", { class: "facts wizard-where", id: name + "-where" }, where(state.points[one.name]));
    const select = element("select", { id: name, "data-value": one.name, "aria-describedby": name + "-where", onchange: () => {
      const chosen = { ...state.points };
      delete chosen[one.name];
      if (select.value) chosen[one.name] = select.value;
      state.points = chosen;
      setText(facts, where(select.value));
      suggest(state);
      exemplify(state);
      mind(state);
    } }, element("option", { value: "" }, "do not record it"), ...choices(one.points, state.points[one.name]));
    const words = one.name.replace(/_/g, " ") + (one.unit === "1" || !one.unit ? "" : " [" + one.unit + "]");
    const now = shows && shows.value !== null ? ", shows " + String(shows.value).replace("-", "−") + " " + shows.unit + " now" : "";
    return element("div", { class: "wizard-value" }, element("label", { for: name }, element("span", {}, words + now + ": where does it hang?"), select), facts);
  }

  function isolated(state) {
    const answers = [["true", "yes, it says so on it or in its papers"], ["false", "no"], ["unknown", "not sure"]];
    const chosen = (answer) => (answer === "unknown" ? state.isolated === "unknown" : state.isolated === answer);
    return element("fieldset", { id: "wizard-isolated", hidden: true },
      element("legend", {}, "Is it isolated? It hangs where mains voltage may be: on the flame rod, igniter or line circuit."),
      ...answers.map(([answer, text]) => element("label", { class: "wizard-answer" },
        element("input", { type: "radio", name: "wizard-isolated", value: answer, checked: chosen(answer), onchange: () => { state.isolated = answer; mind(state); } }),
        element("span", {}, text))));
  }

  const input = (name, words, given, example, use) => element("label", { for: name }, element("span", {}, words),
    element("input", { type: "text", id: name, autocomplete: "off", spellcheck: "false", value: given, placeholder: example, oninput: (event) => use(event.target.value) }));

  function make(room, state) {
    const kind = lightoff.wizard.profile(state);
    for (const one of kind.values) if (kind.values.length === 1 && one.points.length === 1) state.points = { [one.name]: one.points[0] };
    room.replaceChildren(
      element("p", {}, element("strong", {}, kind.title), " at " + state.address + (state.device ? ", device " + state.device : "") + "."),
      ...kind.values.map((one, number) => value(state, one, number)),
      isolated(state),
      element("p", { id: "wizard-caution", role: "alert", hidden: true }),
      element("div", { class: "wizard-form" }, input("wizard-named", "what you call this meter", state.name, "e.g. switch manometer", (text) => {
        state.name = text;
        state.named = text.trim() !== "";
      })),
      element("details", { id: "wizard-more" }, element("summary", {}, "Accuracy and response time"),
        element("div", { class: "wizard-form" },
          input("wizard-accuracy", "accuracy, as its sheet states it", state.accuracy, "", (text) => { state.accuracy = text; }),
          input("wizard-response", "response time", state.response, "e.g. 0.5 s", (text) => { state.response = text; })),
        element("p", { class: "facts" }, "Left empty, what the kind of meter says is taken.")));
    suggest(state);
    exemplify(state);
    mind(state);
  }

  /* What stands in the way here; then its trial begins, or says what does. */
  function next(state) {
    const taken = Object.values(state.points);
    const hindrances = [
      taken.length ? "" : "choose where at least one of its values hangs",
      new Set(taken).size < taken.length ? "two of its values hang at one point: give each its own" : "",
      lightoff.wizard.needsIsolation(state) && !state.isolated ? "say whether it is isolated" : "",
      state.name.trim() ? "" : "give it a name",
    ].filter(Boolean);
    return hindrances.length ? hindrances : lightoff.wizardTrial.begin(state);
  }

  return { make, next, places };
})();
