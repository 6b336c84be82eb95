"use strict";
(function () {
  // --- the table: sort, filter, copy -------------------------------------------------------------------------------
  const table = document.getElementById("results");
  const body = table.tBodies[0];
  const heads = Array.from(table.tHead.rows[0].cells);
  const told = document.getElementById("told");

  const keyOf = (cell) => (cell ? (cell.dataset.key ?? cell.textContent) : ""); // a row without numbers is short

  function sortBy(k) {
    const numeric = heads[k].classList.contains("number");
    const up = heads[k].getAttribute("aria-sort") !== "ascending";
    heads.forEach((head) => head.removeAttribute("aria-sort"));
    heads[k].setAttribute("aria-sort", up ? "ascending" : "descending");
    const order = Array.from(body.rows).map((row) => ({ row, key: keyOf(row.cells[k]) }));
    order.sort((a, b) => {
      if (a.key === "" || b.key === "") return (a.key === "") - (b.key === ""); // what is not there stays last
      const by = numeric ? Number(a.key) - Number(b.key) : a.key.localeCompare(b.key, undefined, { numeric: true });
      return up ? by : -by;
    });
    order.forEach((one) => body.appendChild(one.row));
  }
  heads.forEach((head, k) => {
    const button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    button.addEventListener("click", () => sortBy(k));
    head.append(button);
  });

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
  const COLOURS = JSON.parse(document.getElementById("colours").textContent);
  const RIGHT = 24; // pixels beside all three panels, which so stand above each other
  const LANE = 34; // pixels of a lane of marks
  const PAPER = 680; // pixels between the margins of A4
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  const shade = (name) => getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();
  const fillOf = (k) => COLOURS.fills[k % COLOURS.fills.length];
  const strokeOf = (k) => (dark.matches ? COLOURS.fills : COLOURS.strokes)[k % COLOURS.fills.length];

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

  function stacked(data, background) { // background, then each phase on those before: the last is the calculated curve
    const parts = data.parts.map((stretches) => {
      const part = new Array(background.length).fill(0);
      for (const [start, counts] of stretches) counts.forEach((c, i) => { part[start + i] = c; });
      return part;
    });
    const first = data.calculated.map((c, i) => parts.reduce((left, part) => left - part[i], c - background[i]));
    const curves = [background];
    for (const part of [first, ...parts]) curves.push(curves[curves.length - 1].map((c, i) => c + part[i]));
    curves[curves.length - 1] = data.calculated;
    return data.phases.length ? curves : [background, data.calculated];
  }

  function drawFit(details) {
    const data = JSON.parse(document.getElementById(details.dataset.fit).textContent);
    const holder = details.querySelector(".plot");
    const read = details.querySelector(".read");
    const select = details.querySelector("select");
    const x = angles(data);
    const curves = stacked(data, between(data.background, data.every, x.length));
    const sync = uPlot.sync(details.dataset.fit);
    const width = () => Math.max(280, holder.clientWidth);
    let plots = [];

    function say(u) {
      const k = u.cursor.idx;
      if (k === null || k === undefined) { read.textContent = ""; return; }
      const line = near(data, x[k], 0.05);
      const parts = [x[k].toFixed(3) + "°", "counts " + data.observed[k], "calculated " + data.calculated[k]];
      if (data.residual[k] !== null) parts.push("residual " + (data.residual[k] / 100).toFixed(2) + " u");
      if (line) parts.push(data.phases[line[0]] + " (" + line[3] + "), d " + line[2].toFixed(5) + " nm");
      read.textContent = parts.join(" · ");
    }

    function marks(u) { // in the lane of its phase a mark for each line, its height by the root of its area
      const { ctx, bbox } = u, lane = bbox.height / data.phases.length, pixel = devicePixelRatio;
      ctx.save();
      ctx.fillStyle = shade("mist");
      data.phases.forEach((_, k) => ctx.fillRect(bbox.left, bbox.top + k * lane, bbox.width, lane - 2 * pixel));
      ctx.lineWidth = 1.5 * pixel;
      ctx.font = 10 * pixel + "px sans-serif";
      ctx.textAlign = "center";
      const taken = data.phases.map(() => []);
      for (const line of [...data.lines].sort((a, b) => b[5] - a[5])) {
        const at = u.valToPos(line[1], "x", true);
        if (at < bbox.left || at > bbox.left + bbox.width) continue;
        const floor = bbox.top + (line[0] + 1) * lane - 2 * pixel, top = floor - Math.max(5 * pixel, line[5] * 0.55 * lane);
        ctx.strokeStyle = strokeOf(line[0]);
        ctx.beginPath();
        ctx.moveTo(at, floor);
        ctx.lineTo(at, top);
        ctx.stroke();
        const label = line[3].replace(/ /g, ""), room = 0.6 * ctx.measureText(label).width + 8 * pixel;
        if (taken[line[0]].every((other) => Math.abs(other - at) > room) && at - bbox.left > room / 2) {
          taken[line[0]].push(at);
          ctx.fillStyle = shade("text");
          ctx.fillText(label, at, top - 2 * pixel);
        }
      }
      ctx.restore();
    }

    function build() {
      const range = plots.length ? [plots[0].scales.x.min, plots[0].scales.x.max] : [x[0], x[x.length - 1]];
      plots.forEach((plot) => plot.destroy());
      const scale = SCALES[select.value], n = data.phases.length, few = Math.max(n, 1);
      const cursor = { sync: { key: sync.key, setSeries: false }, drag: { x: true, y: false } };
      const axis = { stroke: shade("slate"), grid: { stroke: shade("mist") }, ticks: { stroke: shade("fog") } };
      const follow = { setScale: [(u, key) => { if (key === "x") zoom(u.scales.x.min, u.scales.x.max, u); }] };
      const along = { time: false, range: (u, lo, hi) => [lo, hi] };
      const hidden = { stroke: "transparent", points: { show: false } };
      const bare = { ...axis, grid: { show: false }, ticks: { show: false } };
      const lanes = new uPlot({
        width: width(), height: LANE * few + 8, cursor, legend: { show: false }, padding: [4, RIGHT, 4, 0],
        scales: { x: along, y: { range: [0, few] } },
        axes: [{ ...bare, show: false }, { ...bare, size: 80, splits: () => data.phases.map((_, k) => n - k - 0.5),
          values: () => data.phases, font: "bold 11px sans-serif", stroke: shade("text"), filter: (u, at) => at }],
        series: [{}, { ...hidden, paths: () => null }], hooks: { draw: [marks], ...follow },
      }, [x, data.observed], holder);
      const fills = curves.slice(1).map((_, k) => ({ ...hidden, label: data.phases[k], width: 0 }));
      const upper = new uPlot({
        width: width(), height: 320, cursor, legend: { show: false }, padding: [8, RIGHT, 0, 0],
        scales: { x: along, y: { distr: 100, fwd: scale.forward, bwd: scale.back,
          range: (u, lo, hi) => [scale.back(scale.forward(Math.min(lo, 0) || 0)), hi * 1.04] } },
        // labelled as the residual below, so that both are equally wide; without the filter a scale of one's own has no numbers
        axes: [{ ...axis, values: (u, at) => at.map(() => "") , size: 8 }, { ...axis, size: 64, label: "counts", labelSize: 16,
          filter: (u, at) => at, values: (u, at) => at.map((v) => (v === null || v < 0 ? "" : v.toLocaleString("en"))) }],
        bands: fills.map((_, k) => ({ series: [k + 2, k + 1], fill: fillOf(k) })),
        series: [{}, { ...hidden, width: 0, fill: shade("fog"), fillTo: () => 0 }, ...fills,
          { stroke: shade("text"), width: 0.8, points: { show: false } },
          { paths: () => null, points: { show: true, size: 2.2, fill: shade("ink"), stroke: shade("ink"), width: 0 } }],
        hooks: { setCursor: [say], ...follow },
      }, [x, ...curves, data.calculated, data.observed], holder);
      const lower = new uPlot({
        width: width(), height: 170, cursor, legend: { show: false }, padding: [8, RIGHT, 0, 0],
        scales: { x: along, y: { range: (u, lo, hi) => { const most = Math.max(4, -lo, hi); return [-most, most]; } } },
        axes: [{ ...axis, label: "2θ (degrees)", labelSize: 20, values: (u, at) => at.map((v) => v + "") }, { ...axis, size: 64, label: "residual (u)", labelSize: 16 }],
        series: [{}, { stroke: shade("residual"), width: 1, points: { show: false }, fill: shade("residual"), fillTo: () => 0 }],
        hooks: follow,
      }, [x, data.residual.map((v) => (v === null ? null : v / 100))], holder);
      plots = [lanes, upper, lower];
      plots.forEach((plot) => sync.sub(plot));
      zoom(range[0], range[1], null);
      key();
    }

    function key() { // which fill is whose
      const names = details.querySelector(".phases");
      names.replaceChildren();
      const entry = (sign, text, colour) => {
        const one = document.createElement("span"), mark = document.createElement("span");
        mark.textContent = sign + " ";
        mark.style.color = colour;
        one.append(mark, text + " ");
        names.append(one, " ");
      };
      entry("●", "observed", shade("ink"));
      entry("―", "calculated", shade("text"));
      entry("■", "background", shade("fog"));
      data.phases.forEach((name, k) => entry("■", name, fillOf(k)));
    }

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
    dark.addEventListener("change", build);
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
    if (!target) return;
    for (let one = target; one; one = one.parentElement) {
      if (one.tagName === "DETAILS") { one.open = true; open(one); }
    }
    target.scrollIntoView();
  }
  window.addEventListener("hashchange", follow);
  follow();
})();
