/* The list of recordings: what is in the folder, what can be done with each, what was deleted and comes back. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.recordings = (function () {
  const FIRST = 10; // rows before "show all"
  const MOST_UNDONE = 20;
  const AGAIN = 2000; // [ms] while attempts are looked for
  const SPEEDS = [0.5, 1, 2, 5, 10, 20, 50];
  const OWN = /^http:\/\/127\.0\.0\.1:\d+\/$/;

  const { id, element, setText, show } = lightoff.dom;
  let listing = null;
  let all = false;
  let undo = []; // {name, deleted}: what was deleted since the page was opened, the newest first
  let replays = [];
  let drawn = "";
  let due = null;

  const send = (name, given) => lightoff.live.send(name, given);

  function size(bytes) {
    return bytes < 1e5 ? Math.max(1, Math.round(bytes / 1e3)) + " kB" : (bytes / 1e6).toFixed(1) + " MB";
  }

  function length(seconds) {
    const whole = Math.round(seconds);
    const [hours, minutes, rest] = [Math.floor(whole / 3600), Math.floor(whole / 60) % 60, whole % 60];
    return (hours ? hours + ":" + String(minutes).padStart(2, "0") : minutes) + ":" + String(rest).padStart(2, "0");
  }

  function began(one) {
    if (one.began === null) return "no reading yet";
    if (one.counted) return lightoff.format.minutes(one.began) + " from the start";
    const ms = one.began * 1000;
    const local = new Date(ms + lightoff.format.offset(ms)).toISOString();
    return local.slice(0, 10) + " " + local.slice(11, 16);
  }

  const several = (count, one, more) => count + " " + (count === 1 ? one : more);

  /* How many attempts ended how, or where that stands. */
  function attempts(one) {
    const label = (text) => element("span", { class: "recording-label" }, text);
    if (one.attempts) return [one.attempts];
    if (one.length === null) return [label("attempts"), " –"];
    return [label("attempts"), " – ", label(one.attempts_problem || (listing && listing.looking && !isDeleted(one) ? "being looked for" : "not known yet"))];
  }

  const isDeleted = (one) => listing.deleted.includes(one);
  const isLookedFor = (one) => !one.problem && one.length !== null && !one.attempts && !one.attempts_problem;

  /* Ask again while attempts are looked for; only their words change then, so that nothing that has the focus moves. */
  function lookAgain() {
    clearTimeout(due);
    if (!listing.looking || !listing.recordings.some(isLookedFor)) return;
    due = setTimeout(async () => {
      if (!id("recordings-list").clientWidth) return; // another view: it asks when it is looked at again
      try {
        const answer = await lightoff.drawings.ask("/library");
        const found = new Map(answer.recordings.map((one) => [one.name, one]));
        for (const one of listing.recordings) {
          const now = found.get(one.name);
          if (now) [one.attempts, one.attempts_problem] = [now.attempts, now.attempts_problem];
        }
        for (const row of id("recordings-list").children) {
          const one = listing.recordings.find((own) => own.name === row.dataset.name);
          const place = row.querySelector(".recording-attempts");
          if (one && place) place.replaceChildren(...attempts(one));
        }
      } catch {
        return; // "look again" says what is wrong
      }
      lookAgain();
    }, AGAIN);
  }

  function facts(one) {
    const fact = (label, value) => element("span", { class: "recording-fact" }, element("span", { class: "recording-label" }, label), " ", value);
    if (one.problem) return element("p", { class: "recording-problem" }, one.problem);
    return element("p", { class: "recording-facts" },
      fact("began", began(one)),
      fact("length", one.length === null ? "–" : length(one.length)),
      element("span", { class: "recording-fact recording-attempts" }, ...attempts(one)),
      fact("", several(one.alarms, "alarm", "alarms")),
      fact("", several(one.notes, "note", "notes") + ", " + several(one.marks, "mark", "marks")
        + (one.photos ? ", " + several(one.photos, "photo", "photos") : "")),
      fact("", size(one.size)));
  }

  function speed() {
    const given = id("replay-file-speed").value;
    return given === "max" ? given : Number(given);
  }

  const speedText = (given) => (given === "max" ? "as fast as it goes" : given + " x");

  /* The row that was pressed is gone: whoever works with keys goes on at what takes its place. */
  function focus(selector) {
    const place = document.querySelector(selector);
    if (place) place.focus();
  }

  function remove(one) {
    send("delete_recording", { name: one.name }).then((done) => {
      if (!done.ok) return;
      const deleted = (done.data || {}).deleted || one.name;
      undo = [{ name: one.name, deleted }, ...undo].slice(0, MOST_UNDONE);
      if (lightoff.opened.name() === one.name) lightoff.opened.close();
      refresh().then(() => focus(".recording-undo"));
    });
  }

  function restore(deleted, name) {
    send("restore_recording", name ? { name: deleted, as: name } : { name: deleted }).then((done) => {
      if (done.ok) undo = undo.filter((one) => one.deleted !== deleted);
      refresh().then(() => focus("#recordings-title"));
    });
  }

  function row(one) {
    const button = (text, kind, act) => element("button", { type: "button", class: kind, "aria-label": text + " " + one.name, onclick: act }, text);
    const readable = !one.problem;
    const whole = readable && one.length !== null;
    const parts = [
      whole && button("open", "recording-open", () => lightoff.opened.open(one.name)),
      whole && button("replay", "recording-replay", () => send("replay_file", { name: one.name, speed: speed() })),
      readable && element("a", { class: "as-button recording-export", href: "/library/" + encodeURIComponent(one.name) + "/export.csv",
        download: one.name.replace(/\.lightoff$/, "") + ".csv", "aria-label": "download as CSV " + one.name }, "download CSV"),
      readable && !one.running && button("delete", "recording-delete", () => remove(one)),
    ];
    return element("li", { class: "recording", "data-name": one.name },
      element("div", { class: "recording-head" }, element("strong", {}, one.name),
        readable ? element("span", { class: "recording-job" }, one.job === null ? "no job" : one.job) : null,
        one.running ? element("span", { class: "recording-now" }, "● being recorded now") : null),
      facts(one),
      element("div", { class: "buttons" }, ...parts.filter(Boolean)),
      element("div", { class: "recording-replays buttons", hidden: true }));
  }

  function undoRow(one) {
    return element("li", { class: "recording undone", "data-name": one.name },
      element("span", {}, one.name + " was moved to the folder deleted. "),
      element("button", { type: "button", class: "recording-undo", "aria-label": "undo: bring back " + one.name,
        onclick: () => restore(one.deleted, one.name) }, "undo"));
  }

  function deletedRow(one) {
    return element("li", { class: "recording", "data-name": one.name },
      element("div", { class: "recording-head" }, element("strong", {}, one.name), one.problem ? null : element("span", { class: "recording-job" }, one.job === null ? "no job" : one.job)),
      facts(one),
      element("div", { class: "buttons" }, one.problem ? null
        : element("button", { type: "button", class: "recording-restore", "aria-label": "restore " + one.name, onclick: () => restore(one.name) }, "restore")));
  }

  function drawList() {
    if (!listing) return;
    const rows = listing.recordings;
    const cut = all ? rows : rows.filter((one, place) => place < FIRST || replays.some((replay) => replay.name === one.name));
    const text = rows.length ? "In the folder " + listing.folder + ", the newest first." : "No recordings yet in " + listing.folder + ".";
    setText(id("recordings-folder"), text + (listing.more ? " " + listing.more + " older ones are not listed." : ""));
    id("recordings-undo").replaceChildren(...undo.map(undoRow));
    id("recordings-list").replaceChildren(...cut.map(row));
    show(id("recordings-all"), cut.length < rows.length);
    setText(id("recordings-all"), "show all " + rows.length);
    id("deleted-list").replaceChildren(...listing.deleted.map(deletedRow));
    const deleted = listing.deleted.length;
    setText(id("deleted-text"), (deleted ? "These files lie in the folder deleted inside " + listing.folder + " and stay" : "None. What is deleted goes to the folder deleted inside "
      + listing.folder + " and stays") + " there until somebody empties that folder by hand."
      + (listing.more_deleted ? " " + listing.more_deleted + " older ones are not listed." : ""));
    drawReplays();
  }

  function replayParts(one) {
    const end = element("button", { type: "button", class: "replay-end", onclick: () => send("end_replay", { name: one.name }) }, "end this replay");
    if (one.address && OWN.test(one.address))
      return [element("a", { class: "as-button replay-open", href: one.address, target: "_blank", rel: "noopener" },
        "open the replay, " + speedText(one.speed) + " ↗"), end];
    return [element("span", {}, one.text === "opening" ? "opening the replay …" : one.text), end];
  }

  function drawReplays() {
    for (const own of id("recordings-list").children) {
      const one = replays.find((replay) => replay.name === own.dataset.name);
      const place = own.querySelector(".recording-replays");
      show(place, Boolean(one));
      place.replaceChildren(...(one ? replayParts(one) : []));
    }
  }

  /* What the status says of the replays that are open. */
  function draw(status) {
    const shape = JSON.stringify(status.replays || []);
    if (shape === drawn) return;
    drawn = shape;
    replays = status.replays || [];
    drawReplays();
  }

  async function refresh() {
    try {
      listing = await lightoff.drawings.ask("/library");
      lightoff.compare.offer(listing.recordings);
      drawList();
      lookAgain();
    } catch (error) {
      setText(id("recordings-folder"), error.message);
    }
  }

  function start() {
    const speeds = SPEEDS.map((one) => element("option", { value: one }, one + " x"));
    id("recordings-body").append(
      element("p", { id: "recordings-folder", class: "facts", role: "status" }),
      element("div", { class: "buttons" },
        element("button", { type: "button", id: "recordings-refresh", onclick: refresh }, "look again"),
        element("label", {}, "speed of a replay ", element("select", { id: "replay-file-speed" }, ...speeds,
          element("option", { value: "max" }, "as fast as it goes")))),
      element("ul", { id: "recordings-undo", class: "recording-list" }),
      element("ul", { id: "recordings-list", class: "recording-list" }),
      element("button", { type: "button", id: "recordings-all", hidden: true, onclick: () => { all = true; drawList(); } }));
    id("replay-file-speed").value = "1";
    id("deleted-body").append(element("p", { id: "deleted-text", class: "facts" }), element("ul", { id: "deleted-list", class: "recording-list" }));
    lightoff.opened.make();
    lightoff.compare.make();
    lightoff.views.when("recordings", () => { refresh(); lightoff.opened.resize(); lightoff.compare.resize(); });
  }

  /* After another theme or other units. */
  function redraw() {
    lightoff.opened.redraw();
    lightoff.compare.redraw();
  }

  return { start, draw, redraw, refresh };
})();
