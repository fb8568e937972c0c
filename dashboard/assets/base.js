/* What the other scripts stand on: the settings, and small tools for markup. One name for all scripts: lightoff. */
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

  /* Bring a part of the page up to the header, which would cover what is under it. */
  function toTop(node) {
    node.style.scrollMarginTop = id("top").offsetHeight + 8 + "px";
    node.scrollIntoView({ block: "start" });
  }

  /* To a part of the page, also for who works with keys or a screen reader. */
  function jump(to, focus) {
    toTop(id(to));
    id(focus).focus({ preventScroll: true });
  }

  return { id, element, setText, show, setClass, toTop, jump };
})();
