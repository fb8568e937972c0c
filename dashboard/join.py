"""The page behind a link: it takes the token out of the address bar, gives it back once, and goes on to the page."""

PAGE = """<!DOCTYPE html>
<html lang="en">
<head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1"><title>lightoff</title>
<style>
  :root { color-scheme: dark light; }
  body { margin: 0; padding: 24px; font: 18px/1.5 system-ui, sans-serif; background: #11161c; color: #e8edf2; }
  @media (prefers-color-scheme: light) { body { background: #f4f6f8; color: #14191f; } }
</style></head>
<body><main><h1>lightoff</h1><p id="said" role="status">Opening the shared page.</p></main>
<script src="/join.js"></script></body>
</html>"""

SCRIPT = """"use strict";
(function () {
  const token = location.hash.slice(1);
  history.replaceState(null, "", "/join");
  const say = (text) => { document.getElementById("said").textContent = text; };
  if (!token) {
    say("This link is not whole: open the link or the code again that you were given.");
    return;
  }
  fetch("/join", { method: "POST", body: token, credentials: "same-origin", cache: "no-store" })
    .then(async (answer) => {
      const text = await answer.text();
      if (answer.ok) location.replace("/");
      else say(text);
    })
    .catch(() => say("The page does not answer: ask whether it is still shared, and be in the same network."));
})();
"""
