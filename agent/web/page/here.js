// What a visit needs when another page cannot load: first aid, and a cell with an amount,
// a level and a specific gravity, in the page that is already open.
"use strict";

(() => {
  const shows = (box) => typeof box?.showModal === "function";
  const aid = document.getElementById("aid-here");
  const cell = document.getElementById("cell-here");

  for (const box of [aid, cell]) {
    for (const b of box?.querySelectorAll(".back") ?? []) b.addEventListener("click", () => box.close());
  }

  // First aid never waits for a network.
  if (shows(aid)) {
    document.querySelector("a.aid").addEventListener("click", (event) => {
      event.preventDefault();
      if (!aid.open) aid.showModal();
      aid.scrollTop = 0;
    });
  }

  if (!shows(cell)) return;
  const bar = document.getElementById("bar");
  const fault = document.getElementById("here-fault");
  const box = (name) => document.getElementById("here-" + name);
  const numbers = /^-?\d+([.,]\d+)?( \d+\/\d+)?$|^\d+\/\d+$/;
  let at = "";

  document.addEventListener("cell-here", (event) => {
    at = event.detail.cell;
    const waits = cell.querySelector(".waits");
    waits.hidden = !event.detail.waits.length;
    waits.querySelector("span").textContent = event.detail.waits.join(" · ");
    cell.querySelector(".n").textContent = at;
    for (const name of ["ml", "level", "gravity"]) box(name).value = "";
    box("at").value = bar.dataset.at;
    fault.hidden = true;
    if (!cell.open) cell.showModal();
    cell.scrollTop = 0;
  });

  cell.querySelector("form").addEventListener("submit", (event) => {
    event.preventDefault();
    const v = Object.fromEntries(["ml", "level", "gravity", "at"].map((name) => [name, box(name).value.trim()]));
    const wrong = ["ml", "level", "gravity", "at"].find((name) => v[name] && !numbers.test(v[name]));
    if (wrong || !v.ml && !v.level && !v.gravity || v.gravity && !v.at) {
      fault.textContent = wrong || v.gravity && !v.at ? fault.dataset.number : fault.dataset.nothing;
      fault.hidden = false;
      box(wrong || (v.gravity && !v.at ? "at" : "ml")).focus();
      return;
    }
    const d = bar.dataset;
    const level = v.level && `${d.level} ${v.level} ${d.unit}`;
    const entries = [];
    if (v.ml) entries.push([{ action: "cell", how: "measured", ml: v.ml, ...(v.level ? { after: v.level } : {}) }, [`${d.gave} ${v.ml} ${d.volume}`, level].filter(Boolean).join(" · ")]);
    else if (v.level) entries.push([{ action: "before", level: v.level }, level]);
    if (v.gravity) entries.push([{ action: "before", gravity: v.gravity, at: v.at }, `${d.gravity} ${v.gravity}`]);
    cell.close();
    document.dispatchEvent(new CustomEvent("record-here", { detail: { cell: at, entries } }));
  });
})();
