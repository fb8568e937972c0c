/* Meters in words: what each does, since when, what it lost, its zero and accuracy; and all of them in one line. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.meters = (function () {
  const { id, element, setText, setClass, show } = lightoff.dom;

  const byHand = (one) => /^(replay: )?by hand\b/.test(one.name);

  /* Hands that have typed in nothing are no meter yet. */
  const listed = (one) => one.readings > 0 || !byHand(one);
  const neverThere = (one) => one.errors > 0 && !one.readings;

  /* Lost also while it is being connected again. */
  const lostNow = (one) => one.state === "trying again" || one.state === "stopped"
    || (one.state === "connecting" && (Boolean(one.lost_since) || neverThere(one)));

  /* "reading", "lost, trying again", "not there, connecting": what the recorder calls it, with what that means. */
  function stateText(one) {
    if (byHand(one) && one.state === "reading") return "typed in";
    if (one.state === "stopped" || !lostNow(one)) return one.state;
    return (neverThere(one) ? "not there, " : "lost, ") + (one.state === "connecting" ? "connecting again" : one.state);
  }

  const clock = (time, now) => lightoff.format.clock(time, now);

  function unit(channel) {
    return channel.unit === "1" ? "" : " [" + channel.unit + "]";
  }

  /* "pressure at the switch [inH2O]: accuracy 0.5 %, response time 0.5 s, zeroed 0.03 inH2O at 06:41:10" */
  function channelText(one, channel, now) {
    const accuracy = (one.accuracy || {})[channel.key];
    const response = (one.response_time || {})[channel.key];
    const zero = (one.zeros || {})[channel.key];
    const since = (one.zeroed || {})[channel.key];
    const parts = ["accuracy " + (accuracy || "not stated")];
    parts.push("response time " + (response === undefined ? "not stated" : response + " s"));
    if (zero) parts.push("zeroed " + zero + (since ? " at " + clock(since, now) : ""));
    return lightoff.format.pointText(channel.point) + unit(channel) + ": " + parts.join(", ");
  }

  function isolatedText(one) {
    if (one.isolated === true) return "yes, the job says so";
    if (one.needs_isolation)
      return (one.isolated === false ? "NO" : "not stated") + ": on the flame rod, igniter or line circuit use an isolated meter";
    return one.isolated === false ? "no" : "";
  }

  /* What its error says without its name. */
  const ownText = (one, text) => (text.startsWith(one.name + ": ") ? text.slice(one.name.length + 2) : text);

  const percent = (part) => Math.round(100 * part) + " %";
  const milliseconds = (seconds) => (seconds < 1 ? Math.round(1000 * seconds) + " ms" : seconds.toFixed(1) + " s");
  const KNOWN = new Set(["battery", "low_battery", "conditions", "warm_up_left", "clock", "signal"]);

  /* Whether its battery is low, by its figure or as it says itself. */
  const batteryLow = (one) => Boolean((one.facts || {}).low_battery)
    || ((one.facts || {}).conditions || []).some((text) => text.startsWith("low battery"));

  /* What it says of itself beside its battery. */
  const otherConditions = (one) => ((one.facts || {}).conditions || []).filter((text) => !text.startsWith("low battery"));

  function batteryText(one) {
    const charge = (one.facts || {}).battery;
    const figure = charge === undefined ? "" : percent(charge);
    return batteryLow(one) ? ["LOW", figure, "change or charge it"].filter(Boolean).join(", ") : figure;
  }

  /* What is not said of a meter on a circuit that may carry mains voltage; empty where nothing has to be. */
  const isolationDoubt = (one) => (!one.needs_isolation || one.isolated === true ? ""
    : one.isolated === false ? "not isolated" : "not said to be isolated");

  function latencyText(one) {
    if (!one.latency) return "";
    return "taken in " + milliseconds(one.latency.median) + " after arrival, at most " + milliseconds(one.latency.largest) + " (last 10 s)";
  }

  /* What may be swapped at one of its points. */
  function suspicions(one, status) {
    const own = lightoff.readings.channels().filter((channel) => one.channels.includes(channel.key));
    return (status.suspicions || []).filter((told) =>
      own.some((channel) => told.points.includes(channel.point) && told.instruments.includes(channel.instrument)));
  }

  /* "hoses may be swapped" of a point, else an empty text. */
  function suspicionOf(point) {
    const status = lightoff.readings.status();
    const found = ((status && status.suspicions) || []).find((told) => told.points.includes(point));
    return found ? found.word : "";
  }

  function plain(value) {
    if (Array.isArray(value)) return value.map(plain).join("; ");
    if (value !== null && typeof value === "object")
      return Object.entries(value).map(([name, own]) => name.replace(/_/g, " ") + " " + plain(own)).join(", ");
    return value === true ? "yes" : value === false ? "no" : String(value ?? "");
  }

  /* What the meter says of itself: [name, text]; what nobody knows here yet is told by its name. */
  function ownFacts(one) {
    const said = one.facts || {};
    return [
      ["warm-up", said.warm_up_left ? Math.ceil(said.warm_up_left) + " s left, readings doubtful until then" : ""],
      ["says", otherConditions(one).join("; ")],
      ["battery", batteryText(one)],
      ["its clock", said.clock ? said.clock.text : ""],
      ["signal", said.signal === undefined ? "" : typeof said.signal === "number" ? String(said.signal).replace("-", "−") + " dBm" : plain(said.signal)],
      ...Object.entries(said).filter(([name]) => !KNOWN.has(name)).map(([name, value]) => [name.replace(/_/g, " "), plain(value)]),
    ];
  }

  /* The most urgent of what a meter says of itself, in a few words. */
  function briefly(one, status) {
    const left = (one.facts || {}).warm_up_left;
    return [
      isolationDoubt(one),
      ...suspicions(one, status).map((told) => told.word),
      left ? "warming up, " + Math.ceil(left) + " s left" : "",
      batteryLow(one) ? "low battery" : "",
      ...otherConditions(one).map((text) => text.split(":")[0]),
    ].filter(Boolean);
  }

  /* Rows of facts of one meter: [name, text], without those that have nothing to say. */
  function facts(one, status, connected) {
    const rate = one.rate ? one.rate.toFixed(one.rate < 10 ? 1 : 0) + " a second" : "";
    const trouble = one.last_error;
    const often = one.errors > 1 ? " (" + one.errors + " times in all)" : "";
    const own = lightoff.readings.channels().filter((channel) => one.channels.includes(channel.key));
    return [
      ["state", connected ? byHand(one) ? stateText(one) : stateText(one) + " since " + clock(one.lost_since || one.since, status.now) : "not known: no connection"],
      ["next try", connected && one.next_try ? clock(one.next_try, status.now) : ""],
      ["last reading", one.age === null ? "none yet" : connected ? lightoff.format.span(one.age) + " ago" : ""],
      [connected ? "readings" : "readings before that", [String(one.readings), rate].filter(Boolean).join(", ")],
      ["latency", connected ? latencyText(one) : ""],
      ["suspected", suspicions(one, status).map((told) => ownText(one, told.text)).join("; ")],
      ...ownFacts(one),
      ["losses", (one.losses || []).join("; ") || "none"],
      ["last trouble", trouble ? clock(trouble.time, status.now) + ": " + ownText(one, trouble.text) + often : "none"],
      ["isolated", isolatedText(one)],
      ...own.map((channel) => ["measures", channelText(one, channel, status.now)]),
    ].filter((row) => row[1]);
  }

  function fill(list, rows) {
    const shape = rows.map((row) => row[0]).join("|");
    if (list.dataset.shape !== shape) {
      list.dataset.shape = shape;
      const named = (row, number) => number === 0 || rows[number - 1][0] !== row[0];
      list.replaceChildren(...rows.flatMap((row, number) =>
        [...(named(row, number) ? [element("dt", {}, row[0])] : []), element("dd", {})]));
    }
    list.querySelectorAll("dd").forEach((node, number) => setText(node, rows[number][1]));
  }

  /* " · low battery: flame meter · hoses may be swapped: switch manometer", or of one meter " · flame meter: low battery, ..." */
  function worries(meters, status, names) {
    const of = (one) => [isolationDoubt(one), batteryLow(one) ? "low battery" : "", ...suspicions(one, status).map((told) => told.word)].filter(Boolean);
    const worried = meters.filter((one) => of(one).length);
    const words = [...new Set(worried.flatMap(of))];
    if (worried.length === 1) return " · " + names(worried) + ": " + words.join(", ");
    return words.map((word) => " · " + word + ": " + names(worried.filter((one) => of(one).includes(word)))).join("");
  }

  /* All meters in a few words: "6 meters reading", "1 of 6 lost: switch manometer". */
  function summary(status, connected) {
    const meters = status.instruments.filter((one) => listed(one) && !byHand(one));
    if (!connected) return { text: meters.length ? "meters not known" : "", bad: true };
    const named = (some) => some.length + " of " + meters.length;
    const names = (some) => some.map((one) => one.name.replace(/^(replay|simulated|shared): /, "")).slice(0, 2).join(", ")
      + (some.length > 2 ? " and " + (some.length - 2) + " more" : "");
    const lost = meters.filter(lostNow);
    const more = worries(meters, status, names);
    if (lost.length) return { text: named(lost) + (lost.every(neverThere) ? " not there: " : " lost: ") + names(lost) + more, bad: true };
    const waiting = meters.filter((one) => one.state === "connecting");
    if (waiting.length) return { text: named(waiting) + " connecting: " + names(waiting) + more, bad: false };
    const ended = meters.filter((one) => one.state === "ended");
    if (ended.length) return { text: named(ended) + " ended" + more, bad: false };
    return { text: meters.length ? (meters.length === 1 ? "1 meter" : meters.length + " meters") + " reading" + more : "", bad: false };
  }

  function draw(status, connected) {
    const { text, bad } = summary(status, connected);
    show(id("meters-state"), text !== "");
    setText(id("meters-state"), text);
    setClass(id("meters-state"), "bad", bad);
    setClass(id("meters-state"), "worried", !bad && text.includes(" · "));
    setClass(id("meters-state"), "fine", text.endsWith(" reading"));
  }

  function start() {
    id("meters-state").addEventListener("click", () => { lightoff.views.go("meters"); scrollTo(0, 0); });
  }

  return { start, draw, facts, fill, listed, byHand, stateText, briefly, suspicionOf };
})();
