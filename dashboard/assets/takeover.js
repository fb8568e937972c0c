/* What must not wait takes the whole page until it is acknowledged: carbon monoxide in the room, gas pressure too high. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.takeover = (function () {
  const UP = new Set(["unacknowledged", "returned", "latched_unacknowledged"]);

  const { id, element, setText, show } = lightoff.dom;
  let up = new Set(); // names of the alarms that have the page
  let drawn = "";
  let before = null; // what had the focus
  let looking = false; // somebody looks at the page although nothing can be acknowledged now

  /* A meter that is silent raises nothing: what it last said is on the line on top. */
  function fresh(alarm) {
    const { readings } = lightoff;
    return readings.all(alarm.point).some((one) => one.value !== null && one.quality < 2 && !readings.old(one.key));
  }

  const raised = (alarm) => alarm.takes_over && alarm.state === "unacknowledged" && fresh(alarm);
  const stays = (alarm) => up.has(alarm.name) && UP.has(alarm.state);

  function valueText(alarm) {
    const over = alarm.state !== "unacknowledged";
    const value = alarm.value === null ? "" : lightoff.format.text(alarm.point, alarm.value);
    return [over ? "was" : "now", value, "· limit " + lightoff.format.text(alarm.point, alarm.limit)].join(" ");
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
      ...(connected ? [] : [element("p", {}, "No connection to the recorder: it cannot be acknowledged now."),
        element("button", { type: "button", onclick: () => { looking = true; hide(); } }, "look at the page")]));
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

  /* The alarms that nothing higher covers, as they are now. */
  function draw(alarms, connected) {
    const now = alarms.filter((alarm) => raised(alarm) || stays(alarm));
    const more = now.some((alarm) => !up.has(alarm.name));
    up = new Set(now.map((alarm) => alarm.name));
    if (connected || more) looking = false;
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
      setText(id("takeover-body").querySelector('[data-name="' + CSS.escape(alarm.name) + '"] .takeover-value'), valueText(alarm));
  }

  return { draw, up: () => up.size > 0 };
})();
