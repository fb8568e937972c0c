/* Notes at each paint how old the newest reading is that it shows: of the tiles' text, and of the trends. */
(function () {
  const seen = (window.seen = { tiles: [], trends: [], since: Infinity, lastTrend: 0, longest: 0 });
  const points = POINTS;

  /* Within a frame scripts come first and the painting last; a message sent in it arrives when that is over. */
  function afterPaint(act) {
    requestAnimationFrame(() => {
      const channel = new MessageChannel();
      channel.port1.onmessage = () => act(Date.now());
      channel.port2.postMessage(0);
    });
  }

  /* Time of the reading that a tile shows [ms]. */
  function shownBy(node) {
    if (!window.lightoff) {
      const own = node.querySelector("[data-time]");
      return own ? Number(own.dataset.time) : null;
    }
    const row = node.closest(".tile-row");
    const found = row && points.includes(row.dataset.point) ? lightoff.readings.reading(row.dataset.point) : null;
    return found ? found.time / 1e6 : null;
  }

  function tilesChanged(records) {
    const nodes = new Set();
    for (const { target, addedNodes } of records)
      for (const node of [target, ...addedNodes]) {
        const element = node.nodeType === Node.ELEMENT_NODE ? node : node.parentElement;
        const tile = element && element.closest(".tile-value");
        if (tile && tile.isConnected) nodes.add(tile);
        else if (element && addedNodes.length) for (const inner of element.querySelectorAll(".tile-value")) nodes.add(inner);
      }
    const times = [...nodes].map(shownBy).filter((time) => time !== null);
    if (times.length) afterPaint((now) => { if (now > seen.since) for (const time of times) seen.tiles.push(now - time); });
  }

  const graphs = () => [...document.querySelectorAll("#trends .js-plotly-plot, #trends.js-plotly-plot")];

  seen.drawn = () => graphs().some((graph) => (graph.data || []).some((trace) => trace.x && trace.x.length > 20));

  /* Of one drawing: its newest reading; a contact's bar is drawn up to the newest of all and counts as none. */
  function newest(graph) {
    let found = -Infinity;
    for (const trace of graph.data || []) {
      if (trace.meta && "lane" in trace.meta) continue;
      const last = trace.x && trace.x.length ? trace.x[trace.x.length - 1] : -Infinity;
      found = Math.max(found, typeof last === "number" ? last : Date.parse(last));
    }
    return found;
  }

  function trendsDrawn(graph) {
    const time = newest(graph);
    if (time === graph.newestBefore || !isFinite(time)) return;
    graph.newestBefore = time;
    afterPaint((now) => {
      if (now <= seen.since) return;
      seen.trends.push(now - time);
      if (seen.lastTrend) seen.longest = Math.max(seen.longest, now - seen.lastTrend);
      seen.lastTrend = now;
    });
  }

  setInterval(() => {
    for (const graph of graphs())
      if (graph.on && !graph.watched) {
        graph.watched = true;
        graph.on("plotly_afterplot", () => trendsDrawn(graph));
      }
  }, 100);
  new MutationObserver(tilesChanged).observe(document, { subtree: true, childList: true, characterData: true });
})();
