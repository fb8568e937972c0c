/* Photographs: made smaller here, sent in parts over the page's own connection, shown small and opened by a press. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.photos = (function () {
  const LONGEST_SIDE = 2048; // [pixels]
  const QUALITY = 0.85;
  const LARGEST = 20 * 1024 * 1024; // [bytes]
  const PART = 240 * 1024; // [bytes] of one command

  const { element, setText } = lightoff.dom;

  /* As JPEG, upright, without what the camera wrote into it; as it is where this browser cannot read it. */
  async function smaller(file) {
    let picture;
    try {
      picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    } catch {
      return file;
    }
    const scale = Math.min(1, LONGEST_SIDE / Math.max(picture.width, picture.height));
    const canvas = element("canvas", {});
    canvas.width = Math.max(1, Math.round(picture.width * scale));
    canvas.height = Math.max(1, Math.round(picture.height * scale));
    const drawing = canvas.getContext("2d");
    drawing.fillStyle = "#fff"; // what was transparent
    drawing.fillRect(0, 0, canvas.width, canvas.height);
    drawing.drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    const made = await new Promise((done) => canvas.toBlob(done, "image/jpeg", QUALITY));
    return made || file;
  }

  /* The bytes of a part as base64. */
  function encoded(part) {
    return new Promise((done, failed) => {
      const reader = new FileReader();
      reader.onload = () => done(String(reader.result).split(",")[1] || "");
      reader.onerror = () => failed(reader.error);
      reader.readAsDataURL(part);
    });
  }

  const failure = (text) => ({ ok: false, text });

  /* Send a file ahead: {ok, upload, name}, or {ok: false, text}. `tell` hears how far it is, from 0 to 1. */
  async function sendAhead(file, tell) {
    try {
      const made = await smaller(file);
      if (made.size > LARGEST) return failure(file.name + " has more than 20 MiB; make it smaller");
      const upload = [...crypto.getRandomValues(new Uint8Array(8))].map((one) => one.toString(16).padStart(2, "0")).join("");
      for (let number = 0; number * PART < made.size; number += 1) {
        const data = await encoded(made.slice(number * PART, (number + 1) * PART));
        const done = await lightoff.live.send("photo_part", { upload, number, data }, true);
        if (!done.ok) return done;
        if (tell) tell(Math.min(1, ((number + 1) * PART) / made.size));
      }
      const name = made === file ? file.name : file.name.replace(/\.[^.]*$/, "") + ".jpg";
      return { ok: true, upload, name: name.slice(-120) };
    } catch {
      return failure(file.name + " could not be read; choose it again");
    }
  }

  /* Attach a file at this moment; `label` tells how far it is. */
  async function attach(file, text, label) {
    const words = label ? label.textContent : "";
    const sent = await sendAhead(file, (part) => setText(label, "sending " + Math.round(100 * part) + " %"));
    if (label) setText(label, words);
    if (!sent.ok) { lightoff.live.reply(sent); return sent; }
    return lightoff.live.send("photo_keep", { upload: sent.upload, name: sent.name, text });
  }

  /* A button that lets a picture be chosen, or taken where there is a camera; `act` gets the file and its label. */
  function button(name, text, act) {
    const label = element("span", {}, text);
    const input = element("input", { id: name, type: "file", accept: "image/*", capture: "environment", "aria-label": text,
      onchange: () => {
        const file = input.files[0];
        input.value = ""; // the same one may be chosen again
        if (file) act(file, label);
      } });
    return element("div", { class: "as-button photo-button" }, label, input);
  }

  function thumbnail(address, text) {
    const picture = element("img", { src: address, alt: text, loading: "lazy", width: 88, height: 66 });
    const link = element("a", { class: "photo", href: address, target: "_blank", rel: "noopener", title: "open " + text }, picture);
    picture.addEventListener("error", () => link.replaceChildren("open the picture (no preview here)"));
    return link;
  }

  return { sendAhead, attach, button, thumbnail };
})();
