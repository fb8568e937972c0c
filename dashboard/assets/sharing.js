/* Sharing in the same building: begun and ended here, the link and its code, who looks on, and how they are cut off. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.sharing = (function () {
  const HOURS = [1, 2, 4, 8, 24];
  const USUAL = 8;

  const { id, element, setText, show } = lightoff.dom;
  let told = null;
  let drawn = "";

  const send = (name, given) => lightoff.live.send(name, given);
  const clock = (seconds) => new Date(seconds * 1000).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
  const watching = () => told.viewers.filter((one) => one.watching).length;
  const looking = (count) => (count === 0 ? "nobody looks on" : count === 1 ? "1 looks on" : count + " look on");

  function begin() {
    const address = id("share-address").value.trim();
    send("share_begin", { hours: Number(id("share-hours").value), ...(address ? { address } : {}) });
  }

  function form() {
    const hours = element("select", { id: "share-hours" }, ...HOURS.map((one) =>
      element("option", { value: one, selected: one === USUAL }, one === 1 ? "1 hour" : one + " hours")));
    const address = element("input", { id: "share-address", type: "text", maxlength: 40, autocomplete: "off", placeholder: "all in a local network" });
    return [
      element("p", {}, "Whoever has the link, and is in the same local network, sees this call on a telephone or computer of their own and can change nothing."),
      element("div", { class: "form" },
        element("label", {}, element("span", {}, "the link holds for"), hours),
        element("label", {}, element("span", {}, "address of this computer"), address),
        element("button", { id: "share-begin", type: "button", onclick: begin }, "share this page")),
      element("p", { class: "facts" }, "Not encrypted: others in that network could read along. Elsewhere share through a broker with TLS."),
    ];
  }

  function viewer(one) {
    const text = one.device + ", since " + clock(one.since) + (one.watching ? ", looks on" : ", not now");
    return element("li", { class: "viewer" }, element("span", {}, text),
      element("button", { type: "button", class: "viewer-cut", "aria-label": "cut off: " + text,
        onclick: () => send("share_cut", { viewer: one.number }) }, "cut off"));
  }

  function link(one) {
    const text = element("input", { type: "text", readonly: true, class: "share-link", "aria-label": "link for whoever looks on",
      onfocus: (event) => event.target.select() });
    text.value = one.link;
    return element("li", {}, element("img", { src: one.code, alt: "the link as a code for a telephone's camera", class: "share-code" }), text);
  }

  function shared() {
    return [
      element("p", {}, element("strong", {}, "Shared, read only, until " + clock(told.until)), ": scan the code with a telephone in the same network, or open the link there."),
      element("ul", { id: "share-links" }, ...told.links.map(link)),
      element("p", { id: "share-count" }, looking(watching())),
      element("ul", { id: "viewers", "aria-label": "who looks on" }, ...told.viewers.map(viewer)),
      element("div", { class: "buttons" },
        element("button", { id: "share-end", type: "button", class: "wide-button", onclick: () => send("share_end", {}) }, "stop sharing, cut everybody off")),
      element("p", { class: "facts" }, "Who is cut off cannot come back: for new ones there is a new link then. Of a viewer only this is known here."),
    ];
  }

  function use(message) {
    told = message;
    const count = watching();
    show(id("sharing-state"), told.on);
    setText(id("sharing-state"), told.on ? "shared: " + looking(count) : "");
    const shape = JSON.stringify([told.on, told.links.map((one) => one.link), told.viewers]);
    if (shape === drawn) return;
    const begun = id("share-begin");
    if (!told.on && begun) return; // what is being filled in stays
    drawn = shape;
    const held = document.activeElement && id("sharing").contains(document.activeElement);
    id("sharing-body").replaceChildren(...(told.on ? shared() : form()));
    if (held) id("sharing-title").focus({ preventScroll: true });
  }

  function start() {
    id("sharing-state").addEventListener("click", () => { lightoff.views.go("live"); lightoff.dom.jump("sharing", "sharing-title"); });
  }

  return { use, start };
})();
