/* The ignition attempts of the opened recording: a list that leads into the trends, and their phases as a strip. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.recordedAttempts = (function () {
  const AGAIN = 700; // [ms] while they are looked for
  const AROUND = 0.05; // of an attempt, shown on each side of it
  const LEAST = 5000; // [ms]

  const { id, element, setText, show } = lightoff.dom;
  let found = [];
  let serial = 0;
  let jump = null;
  let shown = null; // {from, to, area}

  function strip() {
    const there = found.length > 0 && shown !== null && shown.area !== null;
    show(id("recorded-strip"), there);
    if (!there) return;
    id("recorded-strip").style.marginLeft = shown.area.left + "px";
    id("recorded-strip").style.width = shown.area.width + "px";
    lightoff.attempts.strip(id("recorded-strip"), found, shown.from, shown.to);
  }

  function list(answer) {
    found = answer.attempts || [];
    const text = answer.pending ? "Attempts are being looked for." : answer.problem ? "Attempts: " + answer.problem + "." : found.length
      ? answer.text + ": press one to go there" : "No ignition attempt in it";
    setText(id("recorded-attempts-title"), text + (answer.more ? "; " + answer.more + " more are not listed" : ""));
    show(id("recorded-attempts"), found.length > 0);
    lightoff.attempts.list(id("recorded-attempts"), found, (attempt) => {
      const wide = Math.max(LEAST, AROUND * (attempt.end - attempt.start));
      lightoff.attempts.press(id("recorded-attempts"), attempt.number);
      jump(lightoff.attempts.moment(attempt), attempt.start - wide, attempt.end + wide);
    });
    strip();
  }

  /* Ask for them, again and again while they are looked for; `go(moment, from, to)` [ms] when one is chosen. */
  async function open(path, go) {
    const own = serial += 1;
    jump = go;
    list({ pending: true });
    lightoff.attempts.press(id("recorded-attempts"), null);
    while (own === serial) {
      let answer = null;
      try {
        answer = await lightoff.drawings.ask(path);
      } catch (error) {
        answer = { problem: error.message };
      }
      if (own !== serial) return;
      list(answer);
      if (!answer.pending) {
        id("recorded-attempts").firstElementChild.scrollTop = 0; // from the first one on
        return;
      }
      await new Promise((done) => setTimeout(done, AGAIN));
    }
  }

  function close() {
    serial += 1;
    found = [];
  }

  /* The trends show from `from` to `to` [ms], in this area of their room: {left, width} [px]. */
  function draw(from, to, area) {
    shown = { from, to, area };
    strip();
  }

  const make = () => [
    element("div", { id: "recorded-strip", hidden: true }),
  ];
  const makeList = () => [
    element("h3", { id: "recorded-attempts-title" }),
    element("div", { id: "recorded-attempts", hidden: true }),
  ];

  return { make, makeList, open, close, draw };
})();
