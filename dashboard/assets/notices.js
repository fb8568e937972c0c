/* Alarms: the safety message on top, the line under the top line, the marks on tiles, and the list. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.notices = (function () {
  const STATES = {
    normal: "quiet",
    unacknowledged: "ACTIVE, not acknowledged",
    acknowledged: "active, acknowledged",
    returned: "over, not acknowledged",
    latched_unacknowledged: "over, held until acknowledged",
    latched_acknowledged: "over, held until acknowledged again",
    shelved: "muted",
    suppressed: "not watched now",
    out_of_service: "out of service",
  };
  const ACTIVE = new Set(["unacknowledged", "acknowledged"]);
  const UNSEEN = new Set(["unacknowledged", "returned", "latched_unacknowledged", "latched_acknowledged"]);
  const OVER = new Set(["returned", "latched_unacknowledged", "latched_acknowledged"]);
  const QUIET = new Set(["normal", "suppressed"]);
  const ORDER = ["safety", "high", "medium", "low"];
  const SHAPES = { safety: "■", high: "▲", medium: "◆", low: "●" };

  const { id, element, setText, show, setClass } = lightoff.dom;
  let drawnAlarms = "";
  let byPoint = {}; // point -> {shape, priority, point, rank} of its most urgent active alarm

  const send = (name, given) => lightoff.live.send(name, given);
  const counts = (alarm) => ACTIVE.has(alarm.state) || UNSEEN.has(alarm.state);

  function acknowledge(alarm) {
    if (!UNSEEN.has(alarm.state)) return null;
    return element("button", { type: "button", class: "alarm-acknowledge",
      onclick: () => send("acknowledge", { alarm: alarm.name }) }, "acknowledge");
  }

  function below(alarm) {
    const rule = lightoff.readings.limits().find((one) => one.name === alarm.name);
    return Boolean(rule) && typeof rule.below === "number";
  }

  /* Whether `other` is a higher level of the same thing. */
  function higher(other, alarm) {
    if (other.point !== alarm.point || below(other) !== below(alarm) || other.limit === alarm.limit) return false;
    return (other.limit > alarm.limit) !== below(alarm) && ORDER.indexOf(other.priority) <= ORDER.indexOf(alarm.priority);
  }

  /* Alarms to tell of, the most urgent first; of several levels of one thing the highest. */
  function sorted(status) {
    const told = status.alarms.filter((alarm) => !QUIET.has(alarm.state));
    const rank = (alarm) => (ACTIVE.has(alarm.state) ? 0 : 10) + ORDER.indexOf(alarm.priority);
    const levels = (alarm) => told.filter((other) => higher(alarm, other)).length;
    return told.sort((a, b) => rank(a) - rank(b) || levels(b) - levels(a) || (a.since || 0) - (b.since || 0));
  }

  /* A lower level gives no order of its own while a higher one of the same thing counts. */
  const covered = (alarm, told) => told.some((other) => counts(other) && higher(other, alarm));

  function valueText(alarm) {
    const found = lightoff.readings.reading(alarm.point);
    if (alarm.value === null || !ACTIVE.has(alarm.state) || !found) return "";
    const value = lightoff.format.text(alarm.point, alarm.value);
    return lightoff.readings.present(found) ? "now " + value : "last " + value + ", " + lightoff.readings.goodText(found.key);
  }

  const unmeasured = (alarm) => OVER.has(alarm.state) && !lightoff.readings.measured(alarm.point);

  /* An alarm whose meter was taken away is not over: nothing sees it any more. */
  function stateText(alarm) {
    const text = STATES[alarm.state] || alarm.state;
    return unmeasured(alarm) ? text.replace(/^over/, "no longer measured") : text;
  }

  function facts(alarm, status) {
    const { clock, text } = lightoff.format;
    const over = OVER.has(alarm.state);
    const at = (word, time) => (time ? word + " " + clock(time, status.now) : "");
    return [
      at(over ? "raised" : "since", alarm.since),
      over ? at(unmeasured(alarm) ? "not measured since" : "over", alarm.ended) : "",
      alarm.state === "shelved" ? at("until", alarm.shelved_until) : "",
      valueText(alarm),
      "limit " + text(alarm.point, alarm.limit),
      alarm.count > 1 ? "came " + alarm.count + " times" : "",
    ].filter(Boolean).join(" · ");
  }

  function row(alarm, told) {
    const buttons = element("div", { class: "buttons" }, acknowledge(alarm));
    const mutable = alarm.can_be_muted !== false && alarm.priority !== "safety" && !alarm.state.startsWith("latched");
    if (alarm.since)
      buttons.append(element("button", { type: "button", class: "alarm-show", onclick: () => lightoff.trends.jump(alarm.since) }, "show in trends"));
    if (alarm.state === "shelved")
      buttons.append(element("button", { type: "button", class: "alarm-unmute",
        onclick: () => send("unshelve", { alarm: alarm.name }) }, "end mute"));
    else if (mutable)
      buttons.append(element("button", { type: "button", class: "alarm-mute",
        onclick: () => send("shelve", { alarm: alarm.name, minutes: 10 }) }, "mute 10 min"));
    const action = covered(alarm, told) ? "What the higher level says counts." : alarm.action;
    return element("div", {
      class: "alarm-row priority-" + alarm.priority + (ACTIVE.has(alarm.state) ? " active" : ""),
      "data-name": alarm.name, "data-state": alarm.state,
    },
      element("div", { class: "alarm-head" },
        element("span", { class: "alarm-priority" }, SHAPES[alarm.priority] + " " + alarm.priority),
        element("strong", {}, alarm.text || alarm.name),
        alarm.first_out ? element("span", { class: "first-out" }, "came first") : null),
      element("div", { class: "alarm-state" }),
      element("div", { class: "facts alarm-facts" }),
      action ? element("div", { class: "alarm-action" }, action) : null,
      buttons);
  }

  /* Rows are made anew only when more than their figures changes: buttons under a thumb stay where they are. */
  function drawList(status, told, connected) {
    const quiet = status.alarms.length - told.length;
    const shape = JSON.stringify([told.map((alarm) => [alarm.name, alarm.state, alarm.first_out, alarm.text, alarm.action,
      alarm.priority, covered(alarm, told)]), quiet, status.flood, connected]);
    const body = id("alarms-body");
    if (shape !== drawnAlarms) {
      drawnAlarms = shape;
      const summary = status.alarms.length ? quiet + (quiet === 1 ? " alarm is quiet" : " alarms are quiet") : "no alarms are watched";
      body.replaceChildren(
        ...(connected ? [] : [element("p", { class: "unknown-now" }, "As it stood when the connection was lost.")]),
        ...(status.flood ? [element("p", { class: "flood" }, "Many alarms at once: look at the one that came first.")] : []),
        ...told.map((alarm) => row(alarm, told)), element("p", { class: "facts" }, summary));
    }
    for (const alarm of told) {
      const node = body.querySelector('[data-name="' + CSS.escape(alarm.name) + '"]');
      setText(node.querySelector(".alarm-state"), stateText(alarm));
      setText(node.querySelector(".alarm-facts"), facts(alarm, status));
    }
  }

  function drawSafety(told) {
    const all = told.filter((alarm) => alarm.priority === "safety" && counts(alarm));
    const unsafe = all.filter((alarm) => !covered(alarm, all));
    const box = id("safety-message");
    show(box, unsafe.length > 0);
    const mark = JSON.stringify(unsafe.map((alarm) => [alarm.name, alarm.state, alarm.text, alarm.action, unmeasured(alarm)]));
    if (box.dataset.mark === mark) return;
    box.dataset.mark = mark;
    box.replaceChildren(...unsafe.map((alarm) => element("div", {
      class: UNSEEN.has(alarm.state) ? "unsafe" : "unsafe seen", "data-name": alarm.name },
      element("strong", {}, "STOP: " + (alarm.text || alarm.name)),
      element("span", {}, [alarm.action, stateText(alarm)].filter(Boolean).join(" · ")),
      acknowledge(alarm))));
  }

  /* One line: how many, and the most urgent in words. */
  function drawLine(told, connected) {
    const active = told.filter((alarm) => ACTIVE.has(alarm.state));
    const over = told.filter((alarm) => OVER.has(alarm.state));
    const first = active[0] || over[0];
    const line = id("alarm-line");
    show(line, Boolean(first));
    if (!first) return;
    const number = active.length || over.length;
    const lost = over.filter(unmeasured).length;
    const end = !lost ? " over" : lost === over.length ? " no longer measured" : " over or no longer measured";
    const kind = (number === 1 ? "1 alarm" : number + " alarms") + (active.length ? "" : end + ", not acknowledged");
    setText(id("alarm-line-priority"), SHAPES[first.priority] + " " + first.priority);
    setText(id("alarm-line-text"), kind + ": " + (first.text || first.name) + (connected ? "" : " (no connection)"));
    for (const priority of ORDER) setClass(line, "priority-" + priority, first.priority === priority);
    setClass(line, "over", !active.length);
  }

  function draw(status, connected) {
    const told = sorted(status);
    byPoint = {};
    told.filter((alarm) => ACTIVE.has(alarm.state)).forEach((alarm, rank) => {
      byPoint[alarm.point] = byPoint[alarm.point]
        || { shape: SHAPES[alarm.priority], priority: alarm.priority, point: alarm.point, rank };
    });
    drawList(status, told, connected);
    drawSafety(told);
    lightoff.takeover.draw(told, connected, higher);
    drawLine(told, connected);
    lightoff.sounds.alarm((connected || lightoff.takeover.up()) && told.some((alarm) => alarm.state === "unacknowledged" && ORDER.indexOf(alarm.priority) < 2));
  }

  return { draw, marks: () => byPoint };
})();
