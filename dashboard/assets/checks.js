/* Checks: two lists to be ticked, and what was opened for a test, on every view until it is put back. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.checks = (function () {
  const FLAME = 0.5e-6; // [A] above this something burns
  const OWN = ["before", "safe"]; // lists with a place of their own; others come from other versions

  const [id, element, setText, setClass, show] = ["id", "element", "setText", "setClass", "show"]
    .map((name) => (...given) => lightoff.dom[name](...given)); // this file is read before lightoff.dom is there
  let words = { lists: [], openings: [], source: "" };
  let made = false;
  let drawn = {}; // part -> what it shows

  const send = (name, given) => lightoff.live.send(name, given);
  const opening = (item) => words.openings.find((one) => one.item === item) || { close: "put back", firing: "" };
  const entries = (count) => (count === 1 ? "1 entry" : count + " entries");

  /* Whether a part has to be drawn again. */
  function changed(part, state) {
    const shape = JSON.stringify(state);
    if (drawn[part] === shape) return false;
    drawn[part] = shape;
    return true;
  }

  /* "06:41", with the date where it is not today's; from the start of a recording with its seconds. */
  function when(time, now) {
    const text = lightoff.format.clock(time, now);
    return time / 1e9 < lightoff.format.page().from_start ? text : text.slice(0, -3);
  }

  /* Keep the keyboard where it was while rows are made anew. */
  function refill(node, ...children) {
    const held = node.contains(document.activeElement) ? document.activeElement.dataset.key : null;
    node.replaceChildren(...children.filter((child) => child !== null));
    const again = held ? [...node.querySelectorAll("[data-key]")].find((one) => one.dataset.key === held) : null;
    if (again) again.focus({ preventScroll: true });
  }

  function line(list, item, tick, now, locked) {
    const ticked = Boolean(tick);
    return element("button", {
      type: "button", class: "check-row", role: "checkbox", "aria-checked": String(ticked), "data-key": list + "-" + item.item,
      disabled: locked, onclick: () => send("check", { list, item: item.item, done: !ticked }),
    },
    element("span", { class: "check-box", "aria-hidden": "true" }, ticked ? "✓" : ""),
    element("span", { class: "check-text" }, item.text),
    element("span", { class: "check-time" }, ticked ? when(tick.since, now) : ""));
  }

  /* A line that only another version knows: shown, not to be ticked here. */
  const strange = (tick, now) => element("p", { class: "facts" }, "✓ " + tick.text + ", " + when(tick.since, now));

  function progress(list, ticked, open) {
    const counted = list.items.filter((item) => !item.instead);
    const instead = list.items.some((item) => item.instead && ticked[item.item]);
    const done = counted.filter((item) => ticked[item.item]).length + " of " + counted.length;
    if (list.list !== "safe") return done;
    if (instead) return "gas and power off, tagged" + (open ? " · " + entries(open) + (open === 1 ? " stays open" : " stay open") : "");
    return open ? "not safe to leave: " + entries(open) + " open · " + done : done;
  }

  function drawList(list, status, locked) {
    const told = status.checks.lists.find((one) => one.list === list.list) || { ticked: [] };
    const open = status.checks.open.length;
    if (!changed(list.list, [told, open, locked])) return;
    const ticked = Object.fromEntries(told.ticked.map((tick) => [tick.item, tick]));
    const known = list.items.map((item) => item.item);
    const text = progress(list, ticked, open);
    refill(id("checks-" + list.list + "-body"),
      element("p", { class: "check-progress" + (text.startsWith("not safe") ? " unsafe-to-leave" : "") }, text),
      list.caution ? element("p", { class: "facts" }, list.caution) : null,
      ...list.items.map((item) => line(list.list, item, ticked[item.item], status.now, locked)),
      ...told.ticked.filter((tick) => !known.includes(tick.item)).map((tick) => strange(tick, status.now)));
  }

  function drawOthers(status) {
    const others = status.checks.lists.filter((one) => !OWN.includes(one.list) && one.ticked.length);
    const ignored = status.checks.ignored;
    show(id("checks-more"), others.length > 0 || ignored > 0);
    if (!changed("more", [others, ignored])) return;
    refill(id("checks-more-body"),
      ...others.flatMap((one) => one.ticked).map((tick) => element("p", { class: "facts" },
        "✓ " + tick.title + ": " + tick.text + ", " + when(tick.since, status.now))),
      ignored ? element("p", { class: "facts" }, ignored + " checks of this recording could not be followed") : null);
  }

  function closeButton(entry, locked, where) {
    return element("button", {
      type: "button", class: "entry-close", disabled: locked, "data-key": where + entry.id,
      "aria-label": entry.text + ": " + opening(entry.item).close, onclick: () => send("close_entry", { id: entry.id }),
    }, opening(entry.item).close);
  }

  function openRow(entry, now, locked, where) {
    return element("li", { class: "entry" },
      element("span", { class: "entry-text" }, element("strong", {}, "OPEN: " + entry.text),
        ", since " + when(entry.since, now) + (entry.caution ? " · " + entry.caution : "")),
      closeButton(entry, locked, where));
  }

  function drawStrip(status, locked) {
    const open = status.checks.open;
    show(id("open-entries"), open.length > 0);
    setClass(id("open-entries"), "several", open.length > 2);
    if (!changed("strip", [open, locked])) return;
    refill(id("open-list"), ...open.map((entry) => openRow(entry, status.now, locked, "strip-")));
  }

  /* What tells that something burns now, or null: fresh readings only. */
  function firing() {
    const { all, stale, typed } = lightoff.readings;
    const fresh = (one) => one.value !== null && one.quality < 2 && !typed(one.key) && !stale(one.key);
    if (all("gas_valve").some((one) => fresh(one) && one.value >= 0.5)) return "gas valve on";
    if (all("flame_current").some((one) => fresh(one) && one.value > FLAME)) return "flame current";
    return null;
  }

  function drawWarning(status) {
    const why = status.checks.open.map((entry) => opening(entry.item).firing).filter(Boolean);
    const what = why.length ? firing() : null;
    show(id("open-warning"), Boolean(what));
    setClass(id("open-entries"), "firing", Boolean(what));
    setText(id("open-warning"), what ? "▲ " + what + " while " + [...new Set(why)].join(" and ") + ": stop firing" : "");
  }

  function openItem(item) {
    const text = id("open-text");
    if (item === "other" && !text.value.trim()) { text.focus(); return; }
    send("open_entry", { item, text: text.value.trim() }).then((done) => { if (done.ok) text.value = ""; });
  }

  function makeOpen() {
    const buttons = words.openings.map((one) => element("button", {
      type: "button", class: "open-button", "data-item": one.item, onclick: () => openItem(one.item),
    }, one.text));
    id("checks-open-body").replaceChildren(
      element("ul", { id: "checks-open-list" }),
      element("div", { id: "checks-open-add" },
        element("label", { class: "open-label" }, element("span", {}, "which one, or what else"),
          element("input", { id: "open-text", type: "text", maxlength: 120, autocomplete: "off", placeholder: "only where it is not plain" })),
        element("div", { class: "open-buttons", role: "group", "aria-label": "opened now" }, ...buttons)),
      element("p", { id: "checks-fixed", class: "facts", hidden: true }, "A replay: shown as it was recorded, nothing can be ticked here."),
      element("div", { id: "checks-closed" }),
      element("p", { class: "facts" }, words.source));
  }

  function drawOpen(status, locked) {
    const { open, closed } = status.checks;
    show(id("checks-open-add"), !locked);
    show(id("checks-fixed"), locked);
    if (changed("open", [open, locked]))
      refill(id("checks-open-list"), ...(open.length ? open.map((entry) => openRow(entry, status.now, locked, "list-"))
        : [element("li", { class: "entry-none" }, "nothing is open")]));
    if (!changed("closed", [closed, locked])) return;
    refill(id("checks-closed"), ...[...closed].reverse().map((entry) => element("div", { class: "entry closed" },
      element("span", { class: "entry-text" }, entry.how + ", " + when(entry.closed, status.now),
        element("span", { class: "facts" }, " (open since " + when(entry.since, status.now) + ")")),
      element("button", { type: "button", disabled: locked, "data-key": "again-" + entry.id, "aria-label": entry.text + ": open again",
        onclick: () => send("reopen_entry", { id: entry.id }) }, "open again"))));
  }

  function useHello(message) {
    words = message.checks || { lists: [], openings: [], source: "" };
    made = false;
    drawn = {};
  }

  function draw(status) {
    if (!status.checks) return;
    if (!made) makeOpen();
    made = true;
    const locked = Boolean(status.replay);
    drawStrip(status, locked);
    drawWarning(status);
    for (const list of words.lists) drawList(list, status, locked);
    drawOpen(status, locked);
    drawOthers(status);
  }

  return { useHello, draw };
})();
