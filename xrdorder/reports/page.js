"use strict";
(function () {
  // --- the table: sort, filter, copy -------------------------------------------------------------------------------
  const table = document.getElementById("results");
  const body = table.tBodies[0];
  const heads = Array.from(table.tHead.rows[0].cells);
  const told = document.getElementById("told");

  function sortBy(k) {
    const numeric = heads[k].dataset.numeric === "yes" || heads[k].textContent.trim() === "flags";
    const up = heads[k].getAttribute("aria-sort") !== "ascending";
    heads.forEach((head) => head.removeAttribute("aria-sort"));
    heads[k].setAttribute("aria-sort", up ? "ascending" : "descending");
    const order = Array.from(body.rows).map((row) => ({ row, key: row.cells[k].dataset.key }));
    order.sort((a, b) => {
      if (a.key === "" || b.key === "") return (a.key === "") - (b.key === ""); // what is not there stays last
      const by = numeric ? Number(a.key) - Number(b.key) : a.key.localeCompare(b.key, undefined, { numeric: true });
      return up ? by : -by;
    });
    order.forEach((one) => body.appendChild(one.row));
  }
  heads.forEach((head, k) => head.querySelector("button").addEventListener("click", () => sortBy(k)));

  document.getElementById("filter").addEventListener("input", (event) => {
    const words = event.target.value.toLowerCase().split(/\s+/).filter(Boolean);
    for (const row of body.rows) {
      const text = row.textContent.toLowerCase();
      row.hidden = !words.every((word) => text.includes(word));
    }
    const left = Array.from(body.rows).filter((row) => !row.hidden).length;
    told.textContent = words.length ? left + " of " + body.rows.length + " rows" : "";
  });

  document.getElementById("copy").addEventListener("click", async () => {
    const cells = (row) => Array.from(row.cells).map((cell) => cell.textContent.trim().replace(/\s+/g, " ")).join("\t");
    const rows = [table.tHead.rows[0], ...Array.from(body.rows).filter((row) => !row.hidden)];
    const text = rows.map(cells).join("\n");
    let done = true;
    try {
      await navigator.clipboard.writeText(text);
    } catch (error) { // pages from disk may not use the clipboard: select a copy instead
      const area = document.createElement("textarea");
      area.value = text;
      document.body.appendChild(area);
      area.select();
      done = document.execCommand("copy");
      area.remove();
    }
    told.textContent = done ? rows.length - 1 + " rows copied" : "could not copy";
  });

  // --- fitted patterns: drawn when a section is opened -------------------------------------------------------------
  const COLOURS = { observed: "#1b1e29", calculated: "#8a2b4c", background: "#c3c8d2", residual: "#2a7886" };
  const PHASES = ["#3f6fae", "#c4793a", "#2a7886", "#a08a2e", "#8a2b4c", "#20264f"];
  const MARKS = 12; // pixels a row of line marks
  const PAPER = 680; // pixels between the margins of A4

  const SCALES = {
    root: { forward: (v) => Math.sign(v) * Math.sqrt(Math.abs(v)), back: (v) => Math.sign(v) * v * v },
    linear: { forward: (v) => v, back: (v) => v },
    log: { forward: (v) => Math.log10(Math.max(v, 1)), back: (v) => Math.pow(10, v) },
  };

  function angles(data) {
    if (data.angle.length !== 3 || data.observed.length === 3) return data.angle;
    const [first, step, number] = data.angle;
    return Array.from({ length: number }, (_, k) => first + step * k);
  }

  function between(values, every, number) { // straight lines between every so many points; the last one is there too
    const last = number - 1, full = new Array(number);
    for (let i = 0; i < number; i++) {
      const k = Math.min(Math.floor(i / every), values.length - 2);
      const left = k * every, right = Math.min(left + every, last);
      full[i] = k < 0 ? values[0] : values[k] + ((values[k + 1] - values[k]) * (i - left)) / Math.max(right - left, 1);
    }
    return full;
  }

  function near(data, at, reach) {
    let best = null;
    for (const line of data.lines) {
      const away = Math.abs(line[1] - at);
      if (away <= Math.max(reach, line[4]) && (best === null || away < Math.abs(best[1] - at))) best = line;
    }
    return best;
  }

  function drawFit(details) {
    const data = JSON.parse(document.getElementById(details.dataset.fit).textContent);
    const holder = details.querySelector(".plot");
    const read = details.querySelector(".read");
    const select = details.querySelector("select");
    const x = angles(data);
    const background = between(data.background, data.every, x.length);
    const sync = uPlot.sync(details.dataset.fit);
    const width = () => Math.max(280, holder.clientWidth);
    let plots = [];

    function say(u) {
      const k = u.cursor.idx;
      if (k === null || k === undefined) { read.textContent = ""; return; }
      const line = near(data, x[k], 0.05);
      const parts = [x[k].toFixed(3) + "°", "counts " + data.observed[k], "calculated " + data.calculated[k]];
      if (data.residual[k] !== null) parts.push("residual " + (data.residual[k] / 100).toFixed(2) + " σ");
      if (line) parts.push(data.phases[line[0]] + " (" + line[3] + "), d " + line[2].toFixed(5) + " nm");
      read.textContent = parts.join(" · ");
    }

    function marks(u) { // a row of strokes for each phase at the foot
      const { ctx, bbox } = u;
      ctx.save();
      ctx.lineWidth = devicePixelRatio;
      for (const line of data.lines) {
        const at = u.valToPos(line[1], "x", true);
        if (at < bbox.left || at > bbox.left + bbox.width) continue;
        const top = bbox.top + bbox.height - (line[0] + 1) * MARKS * devicePixelRatio;
        ctx.strokeStyle = PHASES[line[0] % PHASES.length];
        ctx.beginPath();
        ctx.moveTo(at, top);
        ctx.lineTo(at, top + (MARKS - 3) * devicePixelRatio);
        ctx.stroke();
      }
      ctx.restore();
    }

    function build() {
      const range = plots.length ? [plots[0].scales.x.min, plots[0].scales.x.max] : [x[0], x[x.length - 1]];
      plots.forEach((plot) => plot.destroy());
      const scale = SCALES[select.value];
      const cursor = { sync: { key: sync.key, setSeries: false }, drag: { x: true, y: false } };
      const axis = { stroke: "#5a6275", grid: { stroke: "#eceef2" }, ticks: { stroke: "#c3c8d2" } };
      const follow = { setScale: [(u, key) => { if (key === "x") zoom(u.scales.x.min, u.scales.x.max, u); }] };
      const upper = new uPlot({
        width: width(), height: 320, cursor, legend: { show: false },
        scales: { x: { time: false, range: (u, lo, hi) => [lo, hi] }, y: { distr: 100, fwd: scale.forward, bwd: scale.back,
          range: (u, lo, hi) => { const top = scale.forward(hi), foot = scale.forward(Math.min(lo, 0) || 0);
            const room = (data.phases.length * MARKS) / 260; return [scale.back(foot - (top - foot) * room), hi * 1.04]; } } },
        // labelled as the residual below, so that both are equally wide; without the filter a scale of one's own has no numbers
        axes: [{ ...axis, values: (u, at) => at.map((v) => v + "") }, { ...axis, size: 64, label: "counts", labelSize: 16,
          filter: (u, at) => at, values: (u, at) => at.map((v) => (v === null || v < 0 ? "" : v.toLocaleString("en"))) }],
        series: [{}, { stroke: COLOURS.observed, width: 0, paths: () => null, points: { show: true, size: 3, fill: COLOURS.observed, stroke: COLOURS.observed } },
          { stroke: COLOURS.calculated, width: 1.3, points: { show: false } },
          { stroke: COLOURS.background, width: 1.3, points: { show: false } }],
        hooks: { setCursor: [say], draw: [marks], ...follow },
      }, [x, data.observed, data.calculated, background], holder);
      const lower = new uPlot({
        width: width(), height: 130, cursor, legend: { show: false },
        scales: { x: { time: false, range: (u, lo, hi) => [lo, hi] } },
        axes: [{ ...axis, label: "2θ (degrees)", labelSize: 20, values: (u, at) => at.map((v) => v + "") }, { ...axis, size: 64, label: "residual (σ)", labelSize: 16 }],
        series: [{}, { stroke: COLOURS.residual, width: 1, points: { show: false }, fill: "rgba(42,120,134,.18)" }],
        hooks: follow,
      }, [x, data.residual.map((v) => (v === null ? null : v / 100))], holder);
      plots = [upper, lower];
      plots.forEach((plot) => sync.sub(plot));
      zoom(range[0], range[1], null);
    }

    const names = details.querySelector(".phases"); // which row of strokes is whose, from the foot upward
    data.phases.forEach((name, k) => {
      const one = document.createElement("span");
      one.textContent = "│ " + name;
      one.style.color = PHASES[k % PHASES.length];
      names.append(one, " ");
    });

    let moving = false;
    function zoom(low, high, from) {
      if (moving) return;
      moving = true;
      const first = x[0], last = x[x.length - 1];
      const span = Math.min(Math.max(high - low, 0.2), last - first);
      const start = Math.min(Math.max(low, first), last - span);
      plots.forEach((plot) => plot.setScale("x", { min: start, max: start + span }));
      moving = false;
    }

    const moves = { in: [0.25, 0.75], out: [-0.5, 1.5], left: [-0.4, 0.6], right: [0.4, 1.4] };
    details.querySelectorAll("[data-do]").forEach((button) => button.addEventListener("click", () => {
      const { min, max } = plots[0].scales.x;
      const move = moves[button.dataset.do];
      if (move) zoom(min + (max - min) * move[0], min + (max - min) * move[1], null);
      else zoom(x[0], x[x.length - 1], null);
    }));
    select.addEventListener("change", build);
    const widen = (to) => plots.forEach((plot) => plot.setSize({ width: to, height: plot.height }));
    new ResizeObserver(() => widen(width())).observe(holder);
    window.addEventListener("beforeprint", () => widen(Math.min(PAPER, width())));
    window.addEventListener("afterprint", () => widen(width()));
    build();
    details.plots = () => plots; // for whoever looks into the page
  }

  const drawn = new Set();
  function open(details) {
    if (details.open && details.dataset.fit && !drawn.has(details)) { drawn.add(details); drawFit(details); }
  }
  document.querySelectorAll("details").forEach((details) => details.addEventListener("toggle", () => open(details)));
  function follow() { // a link to a sample opens it
    const target = location.hash.length > 1 ? document.getElementById(decodeURIComponent(location.hash.slice(1))) : null;
    if (target && target.tagName === "DETAILS") { target.open = true; open(target); target.scrollIntoView(); }
  }
  window.addEventListener("hashchange", follow);
  follow();
})();
