/* Room CO in the corner: the worst fresh reading of all its instruments, by level in word, shape and colour. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.room = (function () {
  const POINT = "room_co";

  /* The level a value has reached, from the worst down, or null. */
  function levelOf(value) {
    return lightoff.format.page().ladder.find((one) => value >= one.value * (1 - 1e-9)) || null;
  }

  const belowZero = (one) => lightoff.format.value(POINT, one.value).number.startsWith("−");

  /* One of several instruments in a few words. */
  function beside(one) {
    const { instrumentText, stale, typed, ageText } = lightoff.readings;
    const usable = one.value !== null && one.quality < 2;
    const level = usable ? levelOf(one.value) : null;
    const parts = [usable ? lightoff.format.text(POINT, one.value) : "no good value"];
    if (level) parts.push(level.word);
    if (usable && belowZero(one)) parts.push("below zero, check the meter");
    if (typed(one.key)) return ageText(one.key) + ": " + parts.join(", ");
    if (stale(one.key)) parts.unshift(ageText(one.key));
    return instrumentText(one.instrument) + ": " + parts.join(", ");
  }

  /* {main, more, level, calm} for the corner. */
  function told() {
    const { readings, format } = lightoff;
    const read = readings.all(POINT);
    const fresh = (one) => one.value !== null && one.quality < 2 && !readings.stale(one.key)
      && !readings.old(one.key);
    const worst = read.filter(fresh).sort((a, b) => b.value - a.value)[0];
    if (worst) {
      const level = levelOf(worst.value);
      const more = [];
      if (readings.typed(worst.key)) more.push(readings.ageText(worst.key));
      else if (read.length > 1) more.push(readings.instrumentText(worst.instrument));
      if (worst.quality === 1 && !belowZero(worst)) more.push("doubtful");
      more.push(...read.filter((one) => one !== worst).map(beside));
      const main = belowZero(worst) ? "room CO below zero, check the meter"
        : "room CO " + format.text(POINT, worst.value) + (level ? ": " + level.word : "");
      return { main, more, level, calm: !belowZero(worst) && worst.quality === 0 };
    }
    const old = read.filter((one) => one.value !== null && one.quality < 2).sort((a, b) => b.value - a.value);
    const level = old.length ? levelOf(old[0].value) : null;
    let main = "CO not measured";
    if (read.length && !lightoff.live.connected()) main = "room CO not known: no connection";
    else if (old.some((one) => !readings.typed(one.key))) main = "room CO stale, not measured now";
    else if (read.length && !old.length) main = "room CO: no good value";
    return { main, more: old.length ? read.map(beside) : [], level, calm: false };
  }

  function draw() {
    const { id, setText, setClass, show } = lightoff.dom;
    const { main, more, level, calm } = told();
    const alarm = level ? null : lightoff.notices.marks()[POINT];
    setText(id("room-co-shape"), level ? level.shape : alarm ? alarm.shape : "");
    setText(id("room-co-main"), main + (alarm ? ": ALARM" : ""));
    setText(id("room-co-more"), more.join(" · "));
    show(id("room-co-more"), more.length > 0);
    for (const one of lightoff.format.page().ladder) setClass(id("room-co"), one.name, level === one);
    setClass(id("room-co"), "alarming", Boolean(alarm));
    setClass(id("room-co"), "not-measured", !calm);
  }

  return { draw };
})();
