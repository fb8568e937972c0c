/* Step 4 of a new meter: what goes into the job file, added and in force at once, with a way back. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.wizardAdd = (function () {
  const { id, element, setText } = lightoff.dom;
  const button = (name, words, act) => element("button", { id: name, type: "button", onclick: act }, words);

  function rows(state) {
    const kind = lightoff.wizard.profile(state);
    const way = state.offers.ways.find((one) => one.name === state.way);
    const measures = Object.entries(state.points).map(([value, point]) => value.replace(/_/g, " ") + ": " + lightoff.format.pointText(point));
    const isolated = { true: "yes", false: "NO", unknown: "not sure" }[state.isolated];
    return [["name", state.name], ["kind", kind.title], ["reached by", way.title + ", " + state.address
      + (state.baud ? ", " + state.baud + " baud" : "") + (state.device ? ", device " + state.device : "") + (state.topic ? ", topic " + state.topic : "")],
      ...measures.map((text) => ["measures", text]),
      ["isolated", lightoff.wizard.needsIsolation(state) ? isolated : ""], ["accuracy", state.accuracy], ["response time", state.response],
      ["seen to move", state.moved ? "yes" : "NO"]].filter(([, text]) => text);
  }

  function make(room, state) {
    const caution = lightoff.wizard.caution(state);
    room.replaceChildren(
      ...(caution ? [element("p", { class: "wizard-caution" }, caution)] : []),
      element("p", {}, "This goes into " + state.file + ", whose comments stay, and is read and recorded at once."),
      element("dl", { class: "meter-facts" }, ...rows(state).flatMap(([name, text]) => [element("dt", {}, name), element("dd", {}, text)])));
  }

  function finish(heading, words, undo) {
    setText(id("wizard-step"), heading);
    const done = element("p", { id: "wizard-done", tabindex: "-1", role: "status" }, words);
    id("wizard-room").replaceChildren(done, element("div", { class: "buttons" },
      ...(undo ? [button("wizard-undo", "undo", takeBack)] : []),
      button("wizard-another", "add another meter", lightoff.wizard.open), button("wizard-close", "done", lightoff.wizard.close)));
    lightoff.wizard.hideFoot();
    done.focus();
  }

  function takeBack() {
    lightoff.wizard.ask("job_undo").then((done) => {
      if (!done.ok || done.data.conflict) { lightoff.wizard.trouble(done.text); return; }
      finish("Taken back", "✓ " + done.text + ". The meter is not read any more; what it gave stays in the recording.", false);
    });
  }

  /* Write it; the sentences that stand in the way. */
  function next(state) {
    return lightoff.wizard.ask("job_read").then((read) => {
      if (!read.ok || !read.data.writable) return [read.ok ? read.data.why : read.text];
      if (!read.data.values) return [read.data.name + " has a mistake: correct it in the Job view first"];
      const change = { path: ["instrument", read.data.values.instrument.length], value: lightoff.wizard.entry(state) };
      return lightoff.wizard.ask("job_save", { text: read.data.text, changes: [change], version: read.data.version, minded: true }).then((done) => {
        if (!done.ok) return [done.text];
        if (!done.data.saved) return (done.data.mistakes || []).length ? done.data.mistakes.map((one) => one.text) : [done.text];
        finish("Added", "✓ " + state.name + ": " + done.text, done.data.undo);
        return [];
      });
    });
  }

  return { make, next, nextText: () => "add it now" };
})();
