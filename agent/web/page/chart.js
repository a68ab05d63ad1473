// Curves to look closer at, drawn by uPlot (see uplot/LICENSE) in the place of
// the still ones. Without this script the still ones stay.
"use strict";

(() => {
  const night = document.getElementById("night");
  if (!night || !window.uPlot || !night.querySelector("[data-curve]")) return;
  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const charts = [];
  let past;

  // Bands of stages: charging is tinted, the others begin with a broken line.
  function bands(u) {
    const { ctx, bbox } = u;
    ctx.save();
    ctx.beginPath();
    ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height);
    ctx.clip();
    for (const band of past.bands) {
      const left = u.valToPos(band.from_s, "x", true);
      const right = u.valToPos(band.to_s, "x", true);
      if (band.class === "charging") {
        ctx.fillStyle = colour("--band");
        ctx.fillRect(left, bbox.top, right - left, bbox.height);
      }
      ctx.strokeStyle = colour("--edge");
      ctx.setLineDash([4, 4]);
      ctx.beginPath();
      ctx.moveTo(left, bbox.top);
      ctx.lineTo(left, bbox.top + bbox.height);
      ctx.stroke();
    }
    ctx.restore();
  }

  const hours = (u, marks) => marks.map((s) => new Date(past.now_ms + s * 1000).toTimeString().slice(0, 5));

  // What the curve is judged by.
  function limits(u, name) {
    const { ctx, bbox } = u;
    ctx.save();
    ctx.strokeStyle = colour("--ink");
    ctx.lineWidth = 2 * devicePixelRatio;
    for (const limit of past.axes[name]?.limits ?? []) {
      const y = u.valToPos(limit.at, "y", true);
      ctx.setLineDash((limit.class === "vent" ? [] : limit.class === "charge" ? [2, 3] : [6, 4]).map((n) => n * devicePixelRatio));
      ctx.beginPath();
      ctx.moveTo(bbox.left, y);
      ctx.lineTo(bbox.left + bbox.width, y);
      ctx.stroke();
    }
    ctx.restore();
  }
  const steps = [60, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200];

  function draw(figure) {
    const name = figure.dataset.curve;
    const still = figure.querySelector("svg.plot");
    if (!past.curves[name] || !still) return;
    const box = document.createElement("div");
    box.className = "chart";
    box.setAttribute("role", "img");
    box.setAttribute("aria-label", figure.querySelector("figcaption").textContent);
    const axis = () => ({ stroke: colour("--ink"), grid: { stroke: colour("--band"), width: 1 }, ticks: { stroke: colour("--edge") } });
    (still.closest(".plotted") || still).replaceWith(box);
    figure.querySelector(".axis").hidden = true;
    const chart = new uPlot({
      width: box.clientWidth, height: 170, legend: { show: false }, cursor: { sync: { key: "night" }, drag: { x: true, y: false } },
      scales: { x: { time: false }, y: { range: () => [past.axes[name].low, past.axes[name].high] } },
      axes: [{ ...axis(), values: hours, incrs: steps, space: 70 }, { ...axis(), size: 64, values: (u, marks) => marks.map((y) => `${y} ${past.units[name]}`) }],
      series: [{}, { stroke: colour("--curve"), width: 2, points: { show: false } }],
      hooks: { drawClear: [bands], drawAxes: [(u) => limits(u, name)], setScale: [(u, key) => { if (key === "x") follow(u); }] },
    }, [past.ago_s, past.curves[name]], box);
    charts.push({ chart, name, box });
  }

  // Looking closer at one looks closer at all.
  let following = false;
  function follow(u) {
    if (following || !past.ago_s.length) return;
    following = true; // the others answer with the same call
    const { min, max } = u.scales.x;
    night.dataset.closer = min > past.ago_s[0] || max < past.ago_s[past.ago_s.length - 1] ? "yes" : "";
    for (const { chart } of charts) if (chart !== u) chart.setScale("x", { min, max });
    following = false;
  }

  function all() {
    for (const { chart, name } of charts) chart.setData([past.ago_s, past.curves[name]]);
  }

  async function load() {
    const answer = await fetch(night.dataset.past, { credentials: "same-origin", cache: "no-store" });
    if (!answer.ok) throw new Error(String(answer.status));
    past = await answer.json();
  }

  load().then(() => {
    if (past.ago_s.length < 2) return;
    night.dataset.drawn = "yes";
    night.querySelectorAll("[data-curve]").forEach(draw);
    const zoom = night.querySelector(".zoom");
    zoom.hidden = false;
    zoom.querySelector("button").addEventListener("click", all);
    setInterval(() => { if (!night.dataset.closer && !document.hidden) load().then(all).catch(() => {}); }, 20000);
    addEventListener("resize", () => { for (const { chart, box } of charts) chart.setSize({ width: box.clientWidth, height: 170 }); });
  }).catch(() => {});
})();
