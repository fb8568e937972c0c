/* The job of the running call: shown as a form or as text, checked, saved, undone. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.job = (function () {
  const SURE = 4000; // [ms] a second press within this confirms

  const { id, element, setText, show, setClass } = lightoff.dom;
  let stored = null; // what the recorder told last: {text, version, name, writable, why, sections, values, ...}
  let base = ""; // the text that the form was made of; what was typed into the form comes on top
  let form = null;
  let mode = "form";
  let busy = false;
  let minded = false; // the caution that came with the last saving was shown

  const ask = (name, given) => lightoff.live.send(name, given, true);
  const text = () => id("job-text");
  const draft = () => (mode === "text" ? { text: text().value, changes: [] } : { text: base, changes: form ? form.changes() : [] });

  function dirty() {
    const now = draft();
    return Boolean(stored) && (now.text !== stored.text || now.changes.length > 0);
  }

  /* One sentence above the buttons, always in sight, with what can be done about it. */
  function news(words, bad, ...buttons) {
    const box = id("job-news");
    box.replaceChildren(element("span", {}, words), ...buttons);
    show(box, words !== "");
    setClass(box, "bad", Boolean(bad));
    show(id("job-foot"), words !== "" || Boolean(stored && stored.writable));
  }

  /* Who types on has read that it was saved. */
  function typing() {
    minded = false;
    if (!id("job-news").classList.contains("bad")) news("", false);
  }

  const button = (name, words, act) => element("button", { id: name, type: "button", onclick: act }, words);
  const again = () => button("job-again", "read it again", () => read(true));
  const undo = () => button("job-undo", "undo", () => act("job_undo", {}));

  function selectLine(line) {
    const area = text();
    const lines = area.value.split("\n");
    const start = lines.slice(0, line - 1).join("\n").length + (line > 1 ? 1 : 0);
    area.focus();
    area.setSelectionRange(start, start + (lines[line - 1] || "").length);
    area.scrollTop = Math.max(0, (line - 4) * (area.scrollHeight / Math.max(1, lines.length)));
  }

  function leadTo(mistake) {
    if (mode === "form" && form && form.lead(mistake.key)) return;
    if (mode === "text" && mistake.line) selectLine(mistake.line);
  }

  function rows(list) {
    return list.map((one) => element("li", {}, element("button", { type: "button", class: "job-mistake", onclick: () => leadTo(one) },
      [one.line ? "line " + one.line : "", (form && form.said(one.key)) || one.key].filter(Boolean).join(", ") + ": " + one.text)));
  }

  function drawMistakes(mistakes, cautions) {
    const title = mistakes.length === 1 ? "1 mistake" : mistakes.length + " mistakes";
    id("job-mistakes").replaceChildren(
      ...(mistakes.length ? [element("h3", { class: "job-wrong-title" }, "✗ " + title), element("ul", {}, ...rows(mistakes))] : []),
      ...(cautions.length ? [element("h3", {}, "To be minded"), element("ul", {}, ...rows(cautions))] : []));
    if (form) form.wrong(mistakes, cautions);
  }

  /* Make form and text of what stands in a text; a text that is no TOML is shown as text only. */
  function fill(words, values, mistakes, cautions) {
    base = words;
    text().value = words;
    const open = new Set([...document.querySelectorAll("#job-form details[open]")].map((one) => one.dataset.section));
    form = values ? lightoff.jobFields.form(stored.sections, values, stored.writable) : null;
    if (form && open.size) for (const one of form.node.querySelectorAll("details")) one.open = open.has(one.dataset.section);
    id("job-room").replaceChildren(...(form ? [form.node] : []));
    if (!form) mode = "text";
    drawMistakes(mistakes || [], cautions || []);
    drawMode();
  }

  function drawMode() {
    for (const [name, own] of [["form", id("job-as-form")], ["text", id("job-as-text")]])
      own.setAttribute("aria-pressed", String(mode === name));
    show(id("job-room"), mode === "form");
    show(id("job-text-room"), mode === "text");
  }

  function adopt(data) {
    stored = data;
    text().readOnly = !data.writable;
    show(id("job-actions"), data.writable);
    show(id("job-foot"), data.writable);
    const where = data.there ? "Saving writes to " + data.name + " and takes effect at once. Comments stay."
      : "There is no job file yet: saving makes " + data.name + ". Everything may be left empty, and filled in while it records.";
    setText(id("job-where"), data.writable ? where : data.why + " It is shown as it is.");
    fill(data.text, data.values, data.mistakes, data.cautions);
  }

  /* Ask for the job as it stands; what was typed is kept unless `anyway`. */
  function read(anyway) {
    return ask("job_read", {}).then((done) => {
      if (!done.ok) { news(done.text, true, again()); return; }
      const same = stored && done.data.version === stored.version && done.data.text === stored.text;
      if (same && !anyway) return;
      if (!anyway && dirty()) {
        news("The job was changed on another page or in an editor. What you typed is kept here and cannot be saved over it.", true, again());
        return;
      }
      if (anyway && stored) mode = "form";
      adopt(done.data);
      const waiting = done.data.writable && done.data.there && !done.data.in_force;
      if (waiting) news("This file is not in force in this call yet: saving takes it up.", false);
      else news(done.data.undo ? "The last saving can be undone." : "", false, ...(done.data.undo ? [undo()] : []));
    });
  }

  /* Back to what was typed: the sentence, and where something is wrong. */
  function answer(done) {
    const data = done.data || {};
    if (!done.ok) { news(done.text, true); return; }
    if (data.conflict) { news(done.text, true, again()); return; }
    if (data.saved) {
      stored = { ...stored, ...data };
      adopt(stored);
      news("✓ " + done.text, false, ...(data.undo ? [undo()] : []));
      return;
    }
    drawMistakes(data.mistakes || [], data.cautions || []);
    minded = Boolean(data.mind);
    if (minded) { news("▲ " + done.text, true); id("job-mistakes").scrollIntoView({ block: "nearest" }); return; }
    const bad = (data.mistakes || []).length > 0;
    news((bad ? "✗ " : "✓ ") + done.text, bad);
    if (bad) id("job-mistakes").scrollIntoView({ block: "nearest" });
  }

  function act(name, given) {
    if (busy) return;
    busy = true;
    ask(name, given).then((done) => { busy = false; answer(done); });
  }

  /* From form to text and back; what was typed goes along. */
  function turn(wanted) {
    if (wanted === mode || !stored || busy) return;
    busy = true;
    ask("job_check", draft()).then((done) => {
      busy = false;
      if (!done.ok) { news(done.text, true); return; }
      if (wanted === "form" && !done.data.values) {
        drawMistakes(done.data.mistakes, []);
        news("The form can be shown once the text is TOML: correct this first.", true);
        return;
      }
      mode = wanted;
      fill(done.data.text, done.data.values, stored.writable ? done.data.mistakes : [], done.data.cautions);
    });
  }

  /* A button that acts at its second press, for what can't be taken back. */
  function takeBack() {
    const own = id("job-back");
    if (!dirty()) { news("Nothing was typed that is not saved.", false); return; }
    if (own.dataset.sure) { delete own.dataset.sure; setText(own, "take back"); mode = "form"; adopt(stored); news("Everything is as it is stored.", false); return; }
    own.dataset.sure = "yes";
    setText(own, "sure? drop what was typed");
    setTimeout(() => { delete own.dataset.sure; setText(own, "take back"); }, SURE);
  }

  function start() {
    id("job-body").replaceChildren(
      element("p", { id: "job-where", class: "facts" }, "reading the job"),
      element("div", { class: "buttons" },
        button("job-as-form", "form", () => turn("form")), button("job-as-text", "text", () => turn("text"))),
      element("div", { id: "job-mistakes", role: "status" }),
      element("div", { id: "job-room" }),
      element("div", { id: "job-text-room", hidden: true },
        element("label", { for: "job-text" }, "the whole file, as TOML"),
        element("textarea", { id: "job-text", rows: 24, spellcheck: "false", autocapitalize: "off", wrap: "off" })),
      element("div", { id: "job-foot", hidden: true },
        element("div", { id: "job-news", role: "status", hidden: true }),
        element("div", { id: "job-actions", class: "buttons", hidden: true },
          button("job-save", "save", () => act("job_save", { ...draft(), version: stored.version, minded })),
          button("job-check", "check", () => act("job_check", draft())),
          button("job-back", "take back", takeBack))));
    id("job-body").addEventListener("input", typing);
    drawMode();
    lightoff.views.when("job", () => read(false));
  }

  return {
    start,
    useHello: () => { if (lightoff.views.shown() === "job") read(false); },
    changed: () => { if (stored) read(false); },
  };
})();
