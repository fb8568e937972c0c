/* One view at a time; which one stands in the address behind #, so that back, reload and a bookmark work. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.views = (function () {
  const FIRST = "live";
  const listeners = {}; // view -> functions to call when it is shown

  let shown = "";

  const ways = () => [...document.querySelectorAll(".way")];
  const named = (name) => ways().some((way) => way.dataset.view === name);

  function show(name) {
    const next = named(name) ? name : FIRST;
    if (next === shown) return;
    shown = next;
    for (const view of document.querySelectorAll(".view")) view.hidden = view.id !== "view-" + next;
    for (const way of ways())
      if (way.dataset.view === next) way.setAttribute("aria-current", "page");
      else way.removeAttribute("aria-current");
    document.documentElement.dataset.view = next;
    for (const act of listeners[next] || []) act();
  }

  function go(name) {
    if (location.hash !== "#" + name) location.hash = name;
    show(name);
  }

  /* Call whenever a view is shown. */
  function when(name, act) {
    (listeners[name] = listeners[name] || []).push(act);
    if (shown === name) act();
  }

  function start() {
    for (const way of ways())
      way.addEventListener("click", () => { go(way.dataset.view); scrollTo(0, 0); });
    window.addEventListener("hashchange", () => show(location.hash.slice(1)));
    show(location.hash.slice(1) || FIRST);
  }

  return { start, go, when, shown: () => shown };
})();
