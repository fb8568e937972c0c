/* What must not wait takes the whole page until it is acknowledged: carbon monoxide in the room, gas pressure too high. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.takeover = (function () {
  const UP = new Set(["unacknowledged", "returned", "latched_unacknowledged"]);
  const ACTIVE = new Set(["unacknowledged", "acknowledged"]);

  const { id, element, setText, show } = lightoff.dom;
  let up = new Set(); // names of the alarms that have the page
  let drawn = "";
  let before = null; // what had the focus
  let looking = false; // somebody looks at the page although nothing can be acknowledged now

  /* A meter that is silent raises nothing: what it last said is on the line on top. */
  function fresh(alarm) {
    const { readings } = lightoff;
    const read = readings.all(alarm.point);
    const known = read.length ? read : [readings.reading(alarm.point)].filter(Boolean); // a derived quantity has no meter
    return known.some((one) => one.value !== null && one.quality < 2 && !readings.old(one.key));
  }

  const raised = (alarm) => alarm.takes_over && alarm.state === "unacknowledged" && fresh(alarm);
  const stays = (alarm) => up.has(alarm.name) && UP.has(alarm.state);

  /* The same thing at a higher level that is still there: what that says counts. */
  const covered = (alarm, all, higher) =>
    all.some((other) => other.takes_over && ACTIVE.has(other.state) && higher(other, alarm));

  function valueText(alarm, connected) {
    const value = alarm.value === null ? "no value" : lightoff.format.text(alarm.point, alarm.value);
    const present = connected && fresh(alarm);
    const measured = lightoff.readings.measured(alarm.point);
    const over = alarm.state === "unacknowledged" ? "" : measured ? "over, " : "no longer measured, ";
    return over + (present ? "now " : "last ") + value + (present || !measured ? "" : ", the meter is silent")
      + " · limit " + lightoff.format.text(alarm.point, alarm.limit);
  }

  function part(alarm) {
    return element("div", { class: "takeover-alarm", "data-name": alarm.name },
      element("p", { class: "takeover-text" }, alarm.text || alarm.name),
      element("p", { class: "takeover-value" }),
      element("p", {}, alarm.action || ""),
      element("button", { type: "button", class: "takeover-acknowledge",
        onclick: () => lightoff.live.send("acknowledge", { alarm: alarm.name }) }, "acknowledge"));
  }

  function fill(alarms, connected) {
    setText(id("takeover-title"), "■ STOP");
    id("takeover-body").replaceChildren(...alarms.map(part),
      ...(connected && !lightoff.guest.on() ? [] : [element("p", {}, connected ? "It is acknowledged by whoever is at the unit."
        : "No connection to the recorder: it cannot be acknowledged now."), element("button", { type: "button", onclick: () => { looking = true; hide(); } }, "look at the page")]));
  }

  function rest(inert) {
    for (const other of id("page").children)
      if (other.id !== "takeover" && other.id !== "reply") other.inert = inert;
  }

  function hide() {
    if (id("takeover").hidden) return;
    show(id("takeover"), false);
    rest(false);
    if (before && before.isConnected) before.focus();
  }

  /* The alarms as they are now; `higher(other, alarm)` tells levels of one thing apart. */
  function draw(alarms, connected, higher) {
    const now = alarms.filter((alarm) => (raised(alarm) || stays(alarm)) && !covered(alarm, alarms, higher));
    const more = now.some((alarm) => !up.has(alarm.name));
    up = new Set(now.map((alarm) => alarm.name));
    if ((connected && !lightoff.guest.on()) || more) looking = false;
    const shape = JSON.stringify([now.map((alarm) => [alarm.name, alarm.text, alarm.action]), connected]);
    if (!now.length || looking) {
      drawn = "";
      hide();
      return;
    }
    if (id("takeover").hidden) before = document.activeElement;
    if (shape !== drawn) {
      drawn = shape;
      fill(now, connected);
      show(id("takeover"), true);
      rest(true);
      id("takeover-title").focus();
    }
    for (const alarm of now)
      setText(id("takeover-body").querySelector('[data-name="' + CSS.escape(alarm.name) + '"] .takeover-value'), valueText(alarm, connected));
  }

  return { draw, up: () => !id("takeover").hidden };
})();
