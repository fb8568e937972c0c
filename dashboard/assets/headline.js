/* The phase of the sequence, largest: how long it lasts, which try it is, what comes next. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.headline = (function () {
  const { id, element, setText, show, setClass } = lightoff.dom;

  /* Time since a phase began, as the readings count it [s]. */
  const elapsed = (phase, now) => Math.max(0, Math.max(lightoff.recent.newest() / 1000, now / 1e9) - phase.since / 1e9);

  function moreText(phase, seconds) {
    const parts = [];
    const whole = lightoff.format.minutes(seconds);
    parts.push(phase.expected ? Math.round(seconds) + " s of about " + Math.round(phase.expected) + " s" : "for " + whole);
    if (phase.trial) parts.push("try " + phase.trial + (phase.trials ? " of " + phase.trials : ""));
    if (phase.next) parts.push((phase.settled === false ? "next, probably: " : "next: ") + phase.next);
    return parts.join(" · ");
  }

  function dropText(first, now) {
    const names = first.points.map((point) => lightoff.format.pointText(point));
    const when = " at " + lightoff.format.clock(first.time, now);
    if (names.length === 1) return "opened first: " + names[0].replace(" closed", "") + when;
    return "went off together, not told apart by these meters: " + names.join(", ") + when;
  }

  /* What stands above the phase, a line each: first what forbids firing. */
  function drawWarnings(warnings) {
    const mark = JSON.stringify(warnings.map((one) => [one.text, one.stop]));
    const box = id("headline-warnings");
    show(box, warnings.length > 0);
    setClass(id("headline"), "danger", warnings.some((one) => one.stop));
    if (box.dataset.mark === mark) return;
    box.dataset.mark = mark;
    box.replaceChildren(...warnings.map((one) => element("div", { class: one.stop ? "headline-stop" : "headline-warning" }, one.text)));
  }

  function draw(status, connected) {
    const phase = connected ? status.phase : null;
    const warnings = connected ? status.warnings || [] : [];
    show(id("headline"), Boolean(phase) || warnings.length > 0);
    drawWarnings(warnings);
    for (const name of ["headline-phase", "headline-more"]) show(id(name), Boolean(phase));
    show(id("headline-bar"), Boolean(phase && phase.expected));
    if (warnings.length || phase) lightoff.sounds.phase(warnings.length ? warnings[0].name : phase.settled === false ? null : phase.phase);
    if (!phase) return;
    const seconds = elapsed(phase, status.now);
    setText(id("headline-phase"), (phase.settled === false ? "probably " : "") + phase.text);
    setText(id("headline-more"), moreText(phase, seconds));
    if (phase.expected) id("headline-done").style.width = Math.min(100, (100 * seconds) / phase.expected) + "%";
    setClass(id("headline"), "late", Boolean(phase.expected) && seconds > 1.3 * phase.expected);
    const first = status.first_drop;
    show(id("headline-drop"), Boolean(first));
    if (first) setText(id("headline-drop"), dropText(first, status.now));
  }

  return { draw };
})();
