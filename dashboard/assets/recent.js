/* The last seconds of readings, by channel: figures from the server may lack what the recorder had not written yet. */
"use strict";
window.lightoff = window.lightoff || {};

lightoff.recent = (function () {
  const KEPT = 20000; // [ms]
  const MOST = 4000; // of a channel; the oldest go first

  let kept = {}; // key -> [[ms, value or null], ...] in order
  let newest = 0; // [ms]

  function use(rows) {
    for (const [key, time, value, quality] of rows) {
      const ms = time / 1e6;
      const own = (kept[key] = kept[key] || []);
      if (own.length && ms <= own[own.length - 1][0]) continue;
      own.push([ms, quality === 2 ? null : value]);
      newest = Math.max(newest, ms);
    }
    for (const own of Object.values(kept)) {
      let old = Math.max(0, own.length - MOST);
      while (old < own.length && own[old][0] < newest - KEPT) old += 1;
      if (old > 64 || old === own.length) own.splice(0, old);
    }
  }

  function forget() {
    kept = {};
    newest = 0;
  }

  /* Readings of a channel after a time [ms]. */
  function after(key, ms) {
    const own = kept[key];
    if (!own || !own.length || own[own.length - 1][0] <= ms) return [];
    let low = 0;
    let high = own.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (own[middle][0] <= ms) low = middle + 1;
      else high = middle;
    }
    return own.slice(low);
  }

  return { use, forget, after, newest: () => newest, has: (key) => Boolean(kept[key] && kept[key].length) };
})();
