/* Inside values into text: units, signs, ages. One name for all scripts: lightoff. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.settings = {
  units: localStorage.getItem("lightoff-units") === "metric" ? "metric" : "trade",
  theme: localStorage.getItem("lightoff-theme"),
};

lightoff.light = function () {
  if (lightoff.settings.theme) return lightoff.settings.theme === "light";
  return window.matchMedia("(prefers-color-scheme: light)").matches;
};

lightoff.format = (function () {
  let page = { measures: {}, points: {}, contacts: {} };

  function screen(point) {
    const known = page.points[point];
    return known ? page.measures[known.measure][lightoff.settings.units] : null;
  }

  /* {word, number, unit} of an inside value; a suction is told by its word, its sign stays in the data. */
  function value(point, inside) {
    const scale = screen(point);
    if (!scale) return { word: "", number: String(inside), unit: "" };
    if (inside === null || inside === undefined || !isFinite(inside)) return { word: "", number: "no value", unit: "" };
    let shown = inside * scale.scale + scale.offset;
    const least = 0.5 * Math.pow(10, -scale.decimals);
    let word = "";
    if (page.points[point].suction && shown <= -least) {
      word = "suction";
      shown = -shown;
    }
    if (Math.abs(shown) < least) shown = 0;
    return { word, number: shown.toFixed(scale.decimals).replace("-", "−"), unit: scale.label };
  }

  function text(point, inside) {
    const parts = value(point, inside);
    return [parts.word, parts.number, parts.unit].filter(Boolean).join(" ");
  }

  function span(seconds) {
    if (seconds < 90) return Math.floor(seconds) + " s";
    if (seconds < 5400) return Math.floor(seconds / 60) + " min";
    return Math.floor(seconds / 3600) + " h";
  }

  /* UTC, as on the axis of the trends. */
  function clock(nanoseconds) {
    return new Date(nanoseconds / 1e6).toISOString().slice(11, 19) + " UTC";
  }

  function minutes(seconds) {
    const whole = Math.max(0, Math.round(seconds));
    return Math.floor(whole / 60) + ":" + String(whole % 60).padStart(2, "0");
  }

  return {
    value, text, span, clock, minutes, screen,
    use: (message) => { page = message; },
    page: () => page,
    pointText: (point) => (page.points[point] || { text: point }).text,
  };
})();

/* Small tools for markup; text goes in as text, never as markup. */
lightoff.dom = (function () {
  const id = (name) => document.getElementById(name);

  function element(tag, attributes, ...children) {
    const made = document.createElement(tag);
    for (const [name, given] of Object.entries(attributes || {})) {
      if (name === "class") made.className = given;
      else if (name.startsWith("on")) made.addEventListener(name.slice(2), given);
      else if (given === true) made.setAttribute(name, "");
      else if (given !== false && given !== null && given !== undefined) made.setAttribute(name, given);
    }
    made.append(...children.filter((child) => child !== null && child !== undefined));
    return made;
  }

  function setText(node, text) {
    if (node && node.textContent !== text) node.textContent = text;
  }

  function show(node, visible) {
    if (node && node.hidden === visible) node.hidden = !visible;
  }

  function setClass(node, name, on) {
    if (node && node.classList.contains(name) !== on) node.classList.toggle(name, on);
  }

  return { id, element, setText, show, setClass };
})();
