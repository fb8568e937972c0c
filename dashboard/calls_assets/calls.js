/* The list of calls: what the page's process says over a websocket, drawn row by row; text goes in as text. */
"use strict";
(function () {
  const MARKS = { safety: "■ STOP", high: "▲ high", medium: "◆ medium", low: "● low" };
  const ORIGINS = { simulated: "SIMULATED: no real unit", replay: "REPLAY: not the present", shared: "SHARED from elsewhere", "by hand": "some typed in by hand", unknown: "ORIGIN NOT SAID" };
  const WAIT = 1000; // until the page connects again [ms]
  const SILENCE = 5000; // of the page's process, after which what stands here is called old [ms]
  const id = (name) => document.getElementById(name);
  const rows = new Map();
  let heard = 0, last = null;

  function setText(node, text) { if (node.textContent !== text) node.textContent = text; }

  function light() {
    const theme = localStorage.getItem("lightoff-theme");
    return theme ? theme === "light" : window.matchMedia("(prefers-color-scheme: light)").matches;
  }

  function ground() {
    document.documentElement.dataset.theme = light() ? "light" : "dark";
    setText(id("theme-switch"), light() ? "dark ground" : "light ground");
  }

  function made(tag, name) { const node = document.createElement(tag); node.className = name; return node; }

  function row(key) {
    const item = made("li", "call"), parts = {};
    for (const [cell, names] of Object.entries({ what: ["name", "origin", "facts"], phase: ["now", "outcome"], worst: ["alarm"], way: [] })) {
      const box = made("div", "call-" + cell);
      for (const name of names) { parts[name] = made("span", name === "now" || name === "outcome" ? "call-line" : "call-" + name); box.append(parts[name], " "); }
      parts[cell] = box; item.append(box);
    }
    parts.button = made("button", "call-open"); parts.link = made("a", "call-open");
    setText(parts.button, "open"); setText(parts.link, "look at it"); parts.link.target = "_blank"; parts.link.rel = "noopener";
    parts.said = made("span", "call-facts");
    parts.way.append(parts.button, parts.link, parts.said);
    parts.button.addEventListener("click", () => ask(JSON.parse(key)));
    return { item, parts };
  }

  function ago(seconds) {
    if (seconds < 90) return Math.round(seconds) + " s";
    return seconds < 5400 ? Math.round(seconds / 60) + " min" : Math.round(seconds / 3600) + " h";
  }

  function since(time) {
    if (!time) return "";
    const at = new Date(time), today = new Date().toDateString() === at.toDateString();
    return " since " + at.toLocaleString([], today ? { hour: "2-digit", minute: "2-digit" } : { day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
  }

  function origin(text) { return text ? text.split(", ").map((one) => ORIGINS[one] || one).join(", ") : ""; }

  function draw(call, opened) {
    const key = JSON.stringify([call.technician, call.call]);
    if (!rows.has(key)) rows.set(key, row(key));
    const { item, parts } = rows.get(key);
    item.className = "call " + call.state + (call.priority && call.state !== "ended" ? " priority-" + call.priority : "");
    setText(parts.name, call.name);
    setText(parts.origin, origin(call.origin)); parts.origin.hidden = !call.origin;
    const states = { running: "runs", silent: "silent for " + ago(call.age), ended: "ended" };
    setText(parts.facts, call.technician + ", " + call.call + ": " + states[call.state] + since(call.begun));
    setText(parts.now, call.phase || "phase not told"); setText(parts.outcome, call.outcome);
    const mark = MARKS[call.priority] || "?";
    setText(parts.alarm, call.alarm ? mark + ": " + call.alarm : call.state === "ended" ? "" : "no alarm");
    const way = opened || {};
    parts.link.hidden = !way.address; parts.button.hidden = Boolean(way.address);
    if (way.address && parts.link.getAttribute("href") !== way.address) parts.link.href = way.address;
    const named = " the call of " + call.technician + ", " + call.call;
    parts.button.setAttribute("aria-label", "open" + named); parts.link.setAttribute("aria-label", "look at it:" + named);
    setText(parts.said, way.text && !way.address ? way.text : "");
    return [key, item];
  }

  function show(said) {
    heard = Date.now(); last = said;
    setText(id("calls-company"), said.company);
    const drawn = said.calls.map((call) => draw(call, said.opened[said.company + "/" + call.technician + "/" + call.call]));
    const keep = new Set(drawn.map(([key]) => key));
    for (const [key, { item }] of rows) if (!keep.has(key)) { item.remove(); rows.delete(key); }
    drawn.forEach(([, item], place) => { if (id("calls").children[place] !== item) id("calls").insertBefore(item, id("calls").children[place] || null); });
    id("calls-none").hidden = said.calls.length > 0 || Boolean(said.trouble);
    setText(id("caution"), said.caution);
    state();
  }

  function state() {
    const old = Date.now() - heard > SILENCE, node = id("calls-state");
    const running = last ? last.calls.filter((call) => call.state !== "ended").length : 0;
    setText(node, !last ? "connecting" : old ? "the page is gone: what stands here is old" : last.trouble || running + (running === 1 ? " call runs" : " calls run"));
    node.classList.toggle("bad", old && Boolean(last) || Boolean(last && last.trouble));
  }

  let socket = null;
  function ask(call) { if (socket && socket.readyState === 1) socket.send(JSON.stringify({ open: call })); }
  function connect() {
    socket = new WebSocket("ws://" + location.host + "/live");
    socket.onmessage = (message) => show(JSON.parse(message.data));
    socket.onclose = () => setTimeout(connect, WAIT);
  }

  id("theme-switch").addEventListener("click", () => { localStorage.setItem("lightoff-theme", light() ? "dark" : "light"); ground(); });
  ground(); connect(); setInterval(state, 1000);
})();
