/* Talking back: who looks on from elsewhere writes notes and asks for measurements; who is at the unit answers them. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.talk = (function () {
  const LONGEST = 400; // [characters] with the words around it no more than the recorder takes

  const { id, element, setText, show } = lightoff.dom;
  let made = ""; // for which side the section was made
  let drawn = "";

  const send = (name, given) => lightoff.live.send(name, given);
  const clock = (time) => lightoff.format.clock(time);

  /* The moment read off in the trends [ns], or null for the present. */
  function moment() {
    const ms = lightoff.cursor.time();
    return ms === null ? null : Math.round((ms - lightoff.trends.shift()) * 1e6);
  }

  function about() {
    const at = moment();
    return at === null ? "about now; for another moment, read it off in the trends" : "about " + clock(at) + ", read off in the trends";
  }

  function field(label, input) {
    return element("label", {}, element("span", {}, label), input);
  }

  function say(name, given) {
    const author = id("talk-author").value.trim();
    localStorage.setItem("lightoff-talk-author", author);
    const at = moment();
    send(name, { text: id("talk-text").value.trim(), author, ...(at === null ? {} : { at }), ...given })
      .then((done) => { if (done.ok) id("talk-text").value = ""; });
  }

  function writing() {
    const points = Object.entries(lightoff.format.page().points).map(([name, point]) => element("option", { value: name }, point.text));
    const author = element("input", { id: "talk-author", type: "text", maxlength: 60, autocomplete: "name", placeholder: "who writes" });
    author.value = localStorage.getItem("lightoff-talk-author") || "";
    return element("div", { id: "talk-writing" },
      element("div", { class: "form" },
        field("text", element("input", { id: "talk-text", type: "text", maxlength: LONGEST, autocomplete: "off", placeholder: "what you see or want to know" })),
        field("what to measure", element("select", { id: "talk-point" }, element("option", { value: "" }, "as written"), ...points)),
        field("name", author)),
      element("p", { id: "talk-about", class: "facts" }),
      element("div", { class: "buttons talk-buttons" },
        element("button", { id: "talk-note", type: "button", onclick: () => say("remote_note", {}) }, "note"),
        element("button", { id: "talk-request", type: "button", onclick: () => say("remote_request", { point: id("talk-point").value }) }, "please measure")),
      element("p", { id: "talk-no-way", class: "unknown-now", hidden: true }, "There is no way to whoever is at the unit just now."));
  }

  function answering() {
    return element("div", { class: "form" }, field("answer, where more than done or seen is to be said",
      element("input", { id: "talk-answer", type: "text", maxlength: LONGEST, autocomplete: "off" })));
  }

  function make(talk) {
    const side = talk.watching ? "watching" : "asked";
    if (made === side) return;
    made = side;
    drawn = "";
    id("talk-body").replaceChildren(talk.watching ? writing() : answering(),
      element("ul", { id: "talk-open", "aria-label": "waiting for an answer" }), element("p", { id: "talk-more", class: "facts" }),
      element("ul", { id: "talk-answered", "aria-label": "answered" }));
  }

  function answer(one) {
    send("remote_done", { id: one.id, text: id("talk-answer").value.trim() }).then((done) => {
      if (done.ok) id("talk-answer").value = "";
    });
  }

  function row(one, buttons) {
    const who = (one.author ? one.author + ", " : "") + "about " + clock(one.at);
    return element("li", { class: "talk-row", "data-id": one.id },
      element("div", { class: "talk-words" }, element("strong", {}, one.text), element("span", { class: "facts" }, who),
        one.answered ? element("span", {}, one.answer + ", " + clock(one.answered)) : null),
      element("div", { class: "buttons" },
        element("button", { type: "button", class: "talk-show", "aria-label": "show in trends: " + one.text,
          onclick: () => lightoff.trends.jump(one.at) }, "show"),
        ...buttons));
  }

  function done(one) {
    const text = one.kind === "request" ? "done" : "seen";
    return element("button", { type: "button", class: "talk-done", "aria-label": text + ": " + one.text, onclick: () => answer(one) }, text);
  }

  /* One line above every view for who is at the unit. */
  function line(talk) {
    const [last] = talk.open.slice(-1);
    const wanted = Boolean(last) && !talk.watching && !lightoff.guest.on();
    show(id("talk-line"), wanted);
    if (wanted) setText(id("talk-line"), "✉ " + (talk.waiting === 1 ? "" : talk.waiting + " wait for an answer, the last: ") + last.text);
  }

  function draw(talk) {
    const there = Boolean(talk) && (talk.watching || talk.waiting > 0 || talk.answered.length > 0);
    show(id("talk"), there);
    if (!there) { show(id("talk-line"), false); return; }
    make(talk);
    line(talk);
    if (talk.watching) {
      setText(id("talk-about"), about());
      show(id("talk-no-way"), !talk.way);
    }
    const shape = JSON.stringify([talk.open, talk.answered, talk.waiting]);
    if (shape === drawn) return;
    drawn = shape;
    const held = document.activeElement && id("talk-open").contains(document.activeElement);
    id("talk-open").replaceChildren(...[...talk.open].reverse().map((one) => row(one, talk.watching ? [] : [done(one)])));
    id("talk-answered").replaceChildren(...[...talk.answered].reverse().map((one) => row(one, [])));
    setText(id("talk-more"), talk.waiting > talk.open.length ? talk.waiting - talk.open.length + " more wait, older ones" : "");
    if (held) (id("talk-open").querySelector("button.talk-done") || id("talk-title")).focus({ preventScroll: true });
  }

  function start() {
    id("talk-line").addEventListener("click", () => { lightoff.views.go("live"); lightoff.dom.jump("talk", "talk-title"); });
  }

  return { draw, start };
})();
