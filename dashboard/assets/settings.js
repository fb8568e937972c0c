/* What the page is like on this screen: units, ground, sound, a screen that stays awake, keys; kept in the browser. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.choices = (function () {
  const KEYS = { m: () => lightoff.live.mark(), n: () => lightoff.lists.toNote(), e: () => lightoff.entry.open(), p: () => lightoff.trends.toggle() };

  const { id, setText } = lightoff.dom;
  let lock = null; // of the screen

  const on = (name) => lightoff.settings[name] !== "off";

  function draw() {
    document.documentElement.dataset.theme = lightoff.light() ? "light" : "dark";
    setText(id("theme-switch"), lightoff.light() ? "dark ground" : "light ground");
    setText(id("units-switch"), lightoff.settings.units === "trade" ? "metric units" : "trade units");
    setText(id("sound-switch"), on("sound") ? "sound off" : "sound on");
    setText(id("awake-switch"), on("awake") ? "let the screen sleep" : "keep the screen awake");
    setText(id("keys-switch"), on("keys") ? "keys off" : "keys on");
  }

  function remember(name, value) {
    lightoff.settings[name] = value;
    localStorage.setItem("lightoff-" + name, value);
    draw();
    lightoff.entry.drawUnits(name === "units");
    lightoff.live.drawStatus();
    lightoff.charts.forgetRanges();
    lightoff.trends.fresh();
    lightoff.recordings.redraw();
    awake();
  }

  /* A browser lets go of the lock whenever the page is hidden. */
  async function awake() {
    const wanted = on("awake") && !document.hidden && "wakeLock" in navigator;
    if (!wanted && lock) { lock.release(); lock = null; }
    if (!wanted || (lock && !lock.released)) return;
    try {
      lock = await navigator.wakeLock.request("screen");
    } catch {
      lock = null; // the battery is low, or the system does not want it
    }
  }

  const turn = (name) => () => remember(name, on(name) ? "off" : "on");

  /* One key each, not while something is typed, and none when they are switched off. */
  function pressed(event) {
    const typing = event.target.closest("input:not([type=range]), textarea, select, [contenteditable]");
    if (!on("keys") || typing || event.ctrlKey || event.metaKey || event.altKey || event.repeat || lightoff.takeover.up()) return;
    const key = event.key.toLowerCase();
    const way = /^[1-9]$/.test(key) ? document.querySelectorAll(".way")[Number(key) - 1] : null;
    if ((!KEYS[key] || (lightoff.guest.on() && key !== "p")) && !way) return;
    event.preventDefault();
    if (way) way.click();
    else KEYS[key]();
  }

  function start() {
    for (const name of ["sound", "awake", "keys"]) lightoff.settings[name] = localStorage.getItem("lightoff-" + name) || "on";
    draw();
    id("theme-switch").addEventListener("click", () => remember("theme", lightoff.light() ? "dark" : "light"));
    id("units-switch").addEventListener("click", () => remember("units", lightoff.settings.units === "trade" ? "metric" : "trade"));
    for (const name of ["sound", "awake", "keys"]) id(name + "-switch").addEventListener("click", turn(name));
    window.matchMedia("(prefers-color-scheme: light)").addEventListener("change", () => { draw(); lightoff.trends.fresh(); lightoff.recordings.redraw(); });
    document.addEventListener("keydown", pressed);
    document.addEventListener("visibilitychange", awake);
    awake();
  }

  return { start };
})();
