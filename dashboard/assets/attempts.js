/* Ignition attempts as a list and as a strip of their phases. They come as JSON with times in ms since 1970:
   {number, call, start, end, outcome, outcome_text, deciding_time, phases: [{phase, text, start, end}]}; an end that is
   null has not come yet. Also there where they are known: stage, kind (good, bad, open), decided, probability, sure, why. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.attempts = (function () {
  const LETTER = 7; // [px] room of a letter of a label
  const SURE = 0.9; // an outcome less probable than this is told with "probably"
  const BRIEF = { inducer_start: "start", prepurge: "purge", igniter_warmup: "glow", ignition_trial: "trial", blower_on_delay: "flame",
    run_low: "low", run_high: "high", post_purge: "purge", interpurge: "purge", blower_off_delay: "blower", lockout: "locked",
    limit_cooldown: "limit" }; // where the words do not fit
  const MARKS = { good: "✓", bad: "✖", open: "…" };

  /* This script is read before the one that has the tools. */
  const element = (...given) => lightoff.dom.element(...given);
  const setText = (node, text) => lightoff.dom.setText(node, text);
  const setClass = (node, name, on) => lightoff.dom.setClass(node, name, on);
  const show = (node, visible) => lightoff.dom.show(node, visible);
  const lists = new WeakMap(); // element -> {rows: number -> {item, button, ...}, onJump}
  const strips = new WeakMap(); // element -> {shape, places: [{node, label, texts, start, end}]}

  const clock = (ms, near) => lightoff.format.clock(ms * 1e6, near === undefined ? undefined : near * 1e6);
  const kindOf = (attempt) => attempt.kind || (attempt.outcome === "heat" ? "good" : attempt.outcome ? "bad" : "open");
  const probably = (attempt) => Boolean(attempt.outcome)
    && (attempt.sure === false || (typeof attempt.probability === "number" && attempt.probability < SURE));
  const outcomeText = (attempt) => (probably(attempt) ? "probably: " : "") + (attempt.outcome_text || "under way");
  const decided = (attempt) => (Number.isFinite(attempt.deciding_time) && attempt.outcome ? attempt.deciding_time : null);

  function facts(attempt, last) {
    const at = decided(attempt);
    const end = attempt.end === null ? last : attempt.end;
    return [
      "call " + attempt.call,
      "began " + clock(attempt.start, last),
      at === null ? "" : (attempt.decided || "decided") + " at " + clock(at, last),
      (attempt.end === null ? "for " : "lasted ") + lightoff.format.minutes((end - attempt.start) / 1000),
      attempt.stage ? attempt.stage + " stage" : "",
    ].filter(Boolean).join(" · ");
  }

  function row(attempt, known) {
    const made = {
      mark: element("span", { class: "attempt-mark", "aria-hidden": "true" }),
      outcome: element("span", { class: "attempt-outcome" }),
      facts: element("span", { class: "facts attempt-facts" }),
      why: element("span", { class: "facts attempt-why", hidden: true }),
    };
    made.button = element("button", { type: "button", class: "attempt-row", "aria-pressed": "false", "data-number": attempt.number,
      onclick: () => { if (known.onJump) known.onJump(made.attempt); } },
      made.mark, element("strong", {}, "attempt " + attempt.number), " ", made.outcome, made.facts, made.why);
    made.item = element("li", {}, made.button);
    return made;
  }

  /* Up and down go from row to row; every row is reached with the tab key too. */
  function step(event) {
    const way = { ArrowUp: "previousElementSibling", ArrowDown: "nextElementSibling" }[event.key];
    const next = way && event.target.closest("li") && event.target.closest("li")[way];
    if (!next) return;
    event.preventDefault();
    next.querySelector("button").focus();
  }

  function known(room, onJump) {
    if (!lists.has(room)) {
      const body = element("ol", { class: "attempt-list", "aria-label": "attempts", onkeydown: step });
      room.replaceChildren(body);
      lists.set(room, { body, rows: new Map(), pressed: null });
    }
    const found = lists.get(room);
    found.onJump = onJump;
    return found;
  }

  /* The attempts one below the other, the newest last; `onJump(attempt)` when one is pressed. Rows stay where they are,
     and who looks at the last one goes on doing so. */
  function list(room, attempts, onJump) {
    const all = known(room, onJump);
    const { body, rows } = all;
    const atEnd = body.scrollTop + body.clientHeight >= body.scrollHeight - 4;
    const last = attempts.reduce((end, one) => Math.max(end, one.start, one.end || one.now || 0), 0);
    const there = new Set(attempts.map((one) => one.number));
    for (const [number, one] of rows) if (!there.has(number)) { one.item.remove(); rows.delete(number); }
    attempts.forEach((attempt, place) => {
      if (!rows.has(attempt.number)) rows.set(attempt.number, row(attempt, all));
      const one = rows.get(attempt.number);
      if (body.children[place] !== one.item) body.insertBefore(one.item, body.children[place] || null);
      one.attempt = attempt;
      const kind = kindOf(attempt);
      for (const name of Object.keys(MARKS)) setClass(one.button, "kind-" + name, name === kind);
      setText(one.mark, attempt.outcome ? MARKS[kind] : MARKS.open);
      setText(one.outcome, outcomeText(attempt));
      setText(one.facts, facts(attempt, last));
      setText(one.why, attempt.why || "");
      show(one.why, Boolean(attempt.why) && all.pressed === attempt.number);
    });
    if (atEnd && body.scrollHeight > body.clientHeight) body.scrollTop = body.scrollHeight;
  }

  /* Show which row was jumped to; null for none. */
  function press(room, number) {
    const all = lists.get(room);
    if (!all || all.pressed === number) return;
    all.pressed = number;
    for (const [own, one] of all.rows) {
      one.button.setAttribute("aria-pressed", String(own === number));
      show(one.why, own === number && Boolean(one.attempt.why));
    }
  }

  /* Where a jump to an attempt goes [ms]: to what decided it, else to its start. */
  const moment = (attempt) => (decided(attempt) === null ? attempt.start : decided(attempt));

  /* "attempt 2, prepurge" of a time [ms]; empty between attempts. */
  function at(attempts, ms) {
    const holds = (one) => one.start <= ms && (one.end === null || ms < one.end);
    const found = attempts.find(holds);
    if (!found) return "";
    const phase = found.phases.find(holds);
    return "attempt " + found.number + (phase ? ", " + phase.text : "");
  }

  /* A piece of a lane; of its texts, the longest first, the one that fits is shown. */
  function span(start, end, names, texts) {
    const label = element("span", { class: "strip-label" });
    return { start, end, label, texts, node: element("div", { class: names }, label) };
  }

  function attemptTexts(one, kind) {
    if (!one.outcome) return [one.number + " under way", String(one.number)];
    const head = one.number + " " + MARKS[kind];
    return [head + " " + outcomeText(one), ...(one.decided ? [head + " " + one.decided] : []), head, String(one.number)];
  }

  function make(room, attempts, state) {
    const above = [];
    const below = [];
    const decisions = [];
    for (const one of attempts) {
      const kind = kindOf(one);
      above.push(span(one.start, one.end, "strip-attempt kind-" + kind, attemptTexts(one, kind)));
      below.push(...one.phases.map((phase) =>
        span(phase.start, phase.end, "strip-phase phase-" + phase.phase, [phase.text, BRIEF[phase.phase] || ""])));
      const moment_ = decided(one);
      if (moment_ !== null && kind === "bad")
        decisions.push({ start: moment_, end: moment_, node: element("div", { class: "strip-decided" }), label: null });
    }
    const lane = (name, places) => element("div", { class: "strip-lane " + name }, ...places.map((place) => place.node));
    room.replaceChildren(element("div", { class: "attempt-strip", role: "img",
      "aria-label": "the attempts and their phases over time; the list of attempts has them in words" },
      lane("strip-attempts", above), lane("strip-phases", [...below, ...decisions])));
    state.places = [...above, ...below, ...decisions];
  }

  /* Attempts and phases from `from` to `to` [ms], on the whole width of `room`; what has no end yet reaches to `to`. */
  function strip(room, attempts, from, to) {
    const seen = attempts.filter((one) => one.start < to && (one.end === null || one.end > from));
    if (!strips.has(room)) strips.set(room, {});
    const state = strips.get(room);
    const shape = JSON.stringify(seen.map((one) => [one.number, outcomeText(one), kindOf(one), decided(one),
      one.phases.map((phase) => [phase.phase, phase.text])]));
    if (shape !== state.shape) {
      make(room, seen, state);
      state.shape = shape;
    } else {
      [...seen, ...seen.flatMap((one) => one.phases)].forEach((one, place) => {
        [state.places[place].start, state.places[place].end] = [one.start, one.end];
      });
    }
    const width = room.clientWidth;
    const scale = width / (to - from);
    for (const { node, label, start, end, texts } of state.places) {
      const left = (Math.max(start, from) - from) * scale;
      const right = ((end === null ? to : Math.min(end, to)) - from) * scale;
      node.style.left = left + "px";
      if (label) {
        const room_ = Math.max(0, right - left);
        node.style.width = room_ + "px";
        show(node, room_ > 0);
        setText(label, texts.find((text) => room_ >= text.length * LETTER + 6) || "");
      } else show(node, start >= from && start <= to);
    }
  }

  return { list, strip, press, at, moment, outcomeText, decided, kindOf };
})();
