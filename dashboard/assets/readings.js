/* What was read: the latest of each channel, how old it is, and which instrument speaks for a point. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.readings = (function () {
  const SLOW = 3; // a reading is stale beyond this many of its usual spacings
  const SHORTEST_STALE = 1; // [s] never stale below this: the way from the instrument has its own jitter
  const SPACINGS = 9;
  const TYPED_LONGEST = 600; // [s] a number typed in longer ago than this tells nothing of the present

  let channels = []; // as told: {key, point, instrument, unit}
  let byPoint = {};
  let byKey = {};
  let latest = {}; // key -> {time, value, quality, arrived}
  let good = {}; // key -> time of the last value that is one [ns]
  let spacings = {}; // key -> the last distances between readings [s]
  let newest = 0; // [ns]
  let status = null;
  let statusArrived = 0;
  let hello = null;

  /* Channels as they are now, and what is derived of them; what was read of those that are gone is forgotten. */
  function useChannels(list, derived) {
    channels = list;
    byPoint = {};
    byKey = {};
    for (const channel of list) {
      (byPoint[channel.point] = byPoint[channel.point] || []).push(channel);
      byKey[channel.key] = channel;
    }
    if (!derived) return;
    for (const key of Object.keys(latest)) if (!byKey[key] && !derived.includes(key)) { delete latest[key]; delete good[key]; }
  }

  function useReadings(rows) {
    const now = performance.now();
    for (const [key, time, value, quality] of rows) {
      const before = latest[key];
      const step = before ? (time - before.time) / 1e9 : 0;
      if (step > 0) {
        const steps = (spacings[key] = spacings[key] || []);
        steps.push(step);
        if (steps.length > SPACINGS) steps.shift();
      }
      latest[key] = { time, value, quality, arrived: now };
      if (value !== null && quality < 2) good[key] = time;
      newest = Math.max(newest, time);
    }
  }

  function useStatus(message) {
    status = message;
    statusArrived = performance.now();
  }

  function forget() {
    latest = {};
    good = {};
    newest = 0;
  }

  function useHello(message) {
    hello = message;
    spacings = {};
    forget();
  }

  /* Another job is in force: its plate and limits, with the readings as they are. */
  function useJob(message) {
    hello = { ...(hello || {}), job: message.job, plate: message.plate, limits: message.limits, site: message.site };
  }

  /* Usual distance between readings of a key [s], null when not known yet. */
  function spacing(key) {
    const steps = spacings[key] || [];
    if (steps.length < 2) return null;
    return [...steps].sort((a, b) => a - b)[Math.floor(steps.length / 2)];
  }

  function instrumentOf(key) {
    return status ? status.instruments.find((one) => (one.channels || []).includes(key)) : undefined;
  }

  const paused = () => Boolean(status && status.replay && status.replay.paused);
  const typed = (key) => Boolean(byKey[key]) && /^(replay: )?by hand: /.test(byKey[key].instrument);
  const sinceArrival = (key) => (performance.now() - latest[key].arrived) / 1000;
  const behindOthers = (key) => (newest - latest[key].time) / 1e9;

  /* Age on the way to the eye [s]: since the reading came here, and not less than the recording's time says. */
  function age(key) {
    if (!latest[key]) return null;
    const sinceStatus = (performance.now() - statusArrived) / 1000;
    let seconds = sinceArrival(key);
    if (status && status.replay) seconds = Math.max(paused() ? 0 : seconds, behindOthers(key));
    else if (status) seconds = Math.max(seconds, (status.now - latest[key].time) / 1e9 + sinceStatus);
    const instrument = instrumentOf(key);
    if (instrument && instrument.age !== null && !paused()) seconds = Math.max(seconds, instrument.age + sinceStatus);
    return Math.max(0, seconds);
  }

  /* A number typed in is never stale: it says when it was typed in. Without a connection nothing is fresh. */
  function stale(key) {
    if (!lightoff.live.connected()) return true;
    if (typed(key)) return false;
    const usual = SLOW * (spacing(key) || 1);
    if (!status || !status.replay) return age(key) > Math.max(SHORTEST_STALE, usual);
    const speed = status.replay.speed || 1;
    if (behindOthers(key) > Math.max(SHORTEST_STALE * Math.max(1, speed), usual)) return true;
    return !paused() && sinceArrival(key) > Math.max(SHORTEST_STALE, usual / speed);
  }

  /* Not to be taken for the present value. */
  const old = (key) => (typed(key) ? age(key) > TYPED_LONGEST : stale(key));

  /* Every channel of a point that was read: {key, value, quality, time, instrument}. */
  function all(point) {
    return (byPoint[point] || []).filter((channel) => latest[channel.key])
      .map((channel) => ({ key: channel.key, instrument: channel.instrument, ...latest[channel.key] }));
  }

  /* Latest of a point or derived quantity, or null: of the instrument that speaks for the point, else of the first
     that is fresh, else of the first that was ever read. */
  function reading(point) {
    const read = all(point);
    const speaker = status && status.speakers ? status.speakers[point] : undefined;
    const found = read.find((one) => one.key === speaker) || read.find((one) => !stale(one.key)) || read[0];
    if (found) return found;
    return latest[point] ? { key: point, instrument: null, ...latest[point] } : null;
  }

  /* Whether a reading is a good present value; a number that was typed in is none. */
  const present = (found) => found.value !== null && found.quality < 2 && !stale(found.key) && !typed(found.key);

  /* Whether anything measures a point, though it may be silent; a number typed in long ago does not. */
  const measured = (point) => Boolean(latest[point])
    || (byPoint[point] || []).some(({ key }) => !typed(key) || (Boolean(latest[key]) && !old(key)));

  /* "5 min ago, no good value now" of the last good value of a key; what this page has not seen is left out. */
  function goodText(key) {
    if (latest[key].value !== null && latest[key].quality < 2) return ageText(key);
    const before = good[key] === undefined ? "" : lightoff.format.span(age(key) + (latest[key].time - good[key]) / 1e9) + " ago";
    return [before, "no good value now"].filter(Boolean).join(", ");
  }

  /* The other instruments of the point of a reading. */
  const others = (point, found) => all(point).filter((one) => one.key !== found.key);

  function ageText(key) {
    const text = lightoff.format.span(age(key));
    if (typed(key)) return "typed in " + text + " ago";
    if (!lightoff.live.connected()) return "stale " + text + ", no connection";
    if (stale(key)) return "stale " + text;
    return paused() ? "paused" : "age " + text;
  }

  /* Name of an instrument beside its own reading: what the page says of all readings is left out. */
  function instrumentText(name) {
    const short = name.replace(/^replay: /, "").replace(/^by hand: /, "");
    return short === "not named" ? "by hand" : short;
  }

  /* "0.03 inH2O" of a channel that is zeroed, else an empty text. */
  function zeroed(key) {
    const instrument = instrumentOf(key);
    return (instrument && instrument.zeros && instrument.zeros[key]) || "";
  }

  return {
    useChannels, useReadings, useStatus, useHello, useJob, forget, spacing, age, ageText, stale, old, typed, all, reading, others,
    instrumentText, zeroed, present, measured, goodText,
    channels: () => channels,
    pointOf: (key) => (byKey[key] ? byKey[key].point : key),
    status: () => status,
    plate: () => (hello && hello.plate) || {},
    limits: () => (hello && hello.limits) || [],
    site: () => (hello && hello.site) || "",
    kept: () => !hello || hello.kept !== false,
  };
})();
