// Entries of a visit: a tap is an entry in hand, which the next tap, ten seconds or
// leaving the page sends. What cannot be sent waits on this phone, with the time when
// it was made, and is sent once: its ID is its own. Without this script each tap is a
// form.
"use strict";

(() => {
  const store = entryStore;
  const newID = () => "tap-" + [...crypto.getRandomValues(new Uint8Array(12))].map((b) => b.toString(16).padStart(2, "0")).join("");
  const bar = document.getElementById("bar");
  const grid = document.getElementById("grid");
  const $ = (selector) => bar.querySelector(selector);
  const address = grid?.getAttribute("action"); // grid.action is its field of that name
  const handFor = 10000; // to undo it
  const twice = 600; // a wet glove touches twice
  let hand = null;
  let timer = 0;
  let running = null;
  let lastMade = 0;
  const started = new Map(); // when an entry of this page was made, by a clock that nobody sets
  const people = Boolean(bar?.dataset.people);
  const who = bar?.dataset.who ?? "";
  const others = (e) => people && e.fields.by && e.fields.by !== who;

  // Sending.

  const parsed = (text) => new DOMParser().parseFromString(text, "text/html");

  async function sendOne(e) {
    delete e.signIn;
    const byPage = started.has(e.id) ? performance.now() - started.get(e.id) : -Infinity; // it may stand still while the phone sleeps
    const waited = Math.round(Math.max(Date.now() - e.made, byPage) / 100) / 10;
    const fields = { ...e.fields, id: e.id, from: "grid", waited: String(waited) };
    const answer = await fetch(e.url, { method: "POST", body: new URLSearchParams(fields), credentials: "same-origin", keepalive: true, signal: AbortSignal.timeout(20000) });
    const page = parsed(await answer.text());
    if (answer.ok) {
      store.drop(e);
      if (settles(e)) landed.add(e.cell);
      take(page);
      if (answer.status === 202) say(page.querySelector("main").textContent.trim());
      return true;
    }
    if (answer.status === 401) {
      e.signIn = true;
      return false;
    }
    if (answer.status >= 500 || answer.status === 429) return false; // sent again with the same ID
    const ask = page.querySelector(".faults-ask");
    const why = page.querySelectorAll(ask ? ".faults-ask .says" : ".faults li");
    e.state = ask ? "ask" : "refused";
    e.why = [...why].map((p) => p.textContent).join(" ") || page.querySelector("main .says, main p")?.textContent.trim() || String(answer.status);
    store.put(e);
    return true;
  }

  // One that is in hand on a page that has ended is due when its time is over.
  const due = (e) => !others(e) && (e.state === "wait" || e.state === "hand" && e !== hand && Date.now() - e.made > handFor);

  async function pump() {
    for (;;) {
      const e = store.all().find(due);
      if (!e) return true;
      let gone = false;
      try { gone = await sendOne(e); } catch { /* no connection */ }
      if (!gone) return false;
      show();
    }
  }

  function send() {
    running ??= pump().finally(() => { running = null; show(); });
    return running;
  }

  function flush() {
    clearTimeout(timer);
    if (hand) {
      hand.state = "wait";
      store.put(hand);
      hand = null;
    }
    show();
    return send();
  }

  // What the page shows.

  // A tile under a finger must not be replaced: the tap would be lost. Only what changed is.
  let down = false;
  for (const name of ["pointerdown", "touchstart"]) addEventListener(name, () => { down = true; }, { passive: true });
  for (const name of ["pointerup", "pointercancel", "touchend", "touchcancel"]) addEventListener(name, () => { setTimeout(() => { down = false; }, 50); }, { passive: true });
  const landed = new Set(); // cells that are recorded and not yet shown so

  function take(page) {
    if (down) return; // the page follows by itself soon
    for (const id of ["tiles", "progress", "people"]) {
      const [now, next] = [document.getElementById(id), page.getElementById(id)];
      if (!now || !next) continue;
      const focus = now.contains(document.activeElement) ? document.activeElement.id : "";
      if (now.children.length !== next.children.length || !now.children.length) now.replaceChildren(...next.childNodes);
      else [...next.children].forEach((part, i) => { if (now.children[i].innerHTML !== part.innerHTML) now.children[i].replaceWith(part); });
      if (focus) document.getElementById(focus)?.focus({ preventScroll: true });
    }
    if (page.getElementById("tiles")) landed.clear();
  }

  const mine = () => store.all().filter((e) => e.url === address);
  const settles = (e) => e.fields.action === "cell" && (bar.dataset.how === "to-mark" || e.fields.after) || e.fields.action === "before" && e.fields.level && e.fields.level !== "dry";

  function show() {
    if (!bar) return;
    const done = new Set(landed);
    for (const e of mine()) {
      const tile = document.getElementById("tile-" + e.cell);
      if (!tile || e.fields.gravity) continue;
      tile.dataset.was ??= JSON.stringify([tile.className, tile.querySelector("small").innerHTML]);
      tile.classList.add("pending");
      if (settles(e) && e.state !== "refused" && e.state !== "ask") {
        done.add(e.cell);
        tile.classList.remove("todo", "bare", "read");
        tile.classList.add("done");
        const level = e.fields.after || e.fields.level;
        const told = level ? `${level} ${bar.dataset.unit}` : e.fields.ml ? `${e.fields.ml} ${bar.dataset.volume}` : "";
        tile.querySelector("small").textContent = "✓" + (told && " " + told);
      }
    }
    const at = hand ? hand.cell : $(".hand .n").textContent;
    document.querySelectorAll(".tile.in-hand").forEach((t) => t.classList.remove("in-hand"));
    if (at) document.getElementById("tile-" + at)?.classList.add("in-hand");
    $(".undo").hidden = !hand;
    const waiting = store.all().filter((e) => e.state === "wait");
    $(".unsent").hidden = !waiting.length || !document.body.dataset.unsent && !document.body.classList.contains("stale") && waiting.every((e) => Date.now() - e.made < handFor);
    $(".unsent b").textContent = waiting.length;
    const foreign = [...new Set(store.all().filter(others).map((e) => e.fields.by))];
    $(".others").hidden = !foreign.length;
    $(".others").textContent = bar.dataset.others.replace("[who]", foreign.join(", "));
    answers();
    const left = [...document.querySelectorAll("#tiles [data-left=yes]")].filter((t) => !done.has(t.id.slice(5)));
    if (!left.length && (done.size || document.querySelector("#tiles .tile.done"))) closing();
  }

  function say(text) {
    const p = document.createElement("p");
    p.className = "late";
    p.textContent = text;
    $("#answers").append(p);
  }

  function button(text, act, calm) {
    const b = document.createElement("button");
    b.type = "button";
    b.textContent = text;
    b.className = calm ? "calm" : "";
    b.addEventListener("click", act);
    return b;
  }

  // What was refused or asked back stays until a person has answered it.
  function answers() {
    const box = $("#answers");
    const open = store.all().filter((e) => !others(e) && (e.state === "ask" || e.state === "refused" || e.signIn));
    const key = JSON.stringify(open.map((e) => [e.id, e.state, e.why, e.signIn]));
    if (box.dataset.key === key) return;
    box.dataset.key = key;
    box.replaceChildren(...open.slice(0, 1).map((e) => { // one after the other
      const one = document.createElement("div");
      one.className = "faults";
      const p = document.createElement("p");
      p.textContent = e.signIn ? e.text : (e.state === "ask" ? e.why : `${bar.dataset.refused} ${e.text}. ${e.why}`);
      const row = document.createElement("div");
      row.className = "row";
      const resend = (sure) => () => { if (sure) e.fields.sure = "yes"; e.state = "wait"; delete e.why; store.put(e); show(); send(); };
      if (e.signIn) {
        const link = document.createElement("a");
        link.className = "button";
        link.href = "/sign-in?to=" + encodeURIComponent(location.pathname);
        link.textContent = bar.dataset.signin;
        row.append(link);
      } else {
        row.append(button(e.state === "ask" ? bar.dataset.sure : bar.dataset.retry, resend(e.state === "ask")),
          button(bar.dataset.drop, () => { store.drop(e); asBefore(e.cell); show(); again(); }, true));
      }
      one.append(p, row);
      return one;
    }));
  }

  // The closing points come up by themselves; a glove that is still tapping hits nothing.
  function closing() {
    const box = document.getElementById("closing");
    const later = box.querySelector("template");
    if (later) box.replaceChildren(later.content.cloneNode(true));
    if (!box.hidden) return;
    box.hidden = false;
    still(box);
    const shelf = document.getElementById("shelf");
    shelf.open = false;
    shelf.querySelector("summary").hidden = false;
    closable(true);
    $(".hint").hidden = true;
  }

  function closable(now) {
    $(".tools .close").hidden = now;
    const gravity = $(".gravity");
    if (gravity) gravity.hidden = now;
    $(".close-now").hidden = !now || !document.getElementById("close-form");
  }

  function still(part) {
    part.classList.add("still");
    setTimeout(() => part.classList.remove("still"), twice);
  }

  // Taps.

  function entry(cell, fields, text) {
    const by = grid.querySelector("input[name=by]")?.value || who;
    const visit = bar.dataset.visit;
    lastMade = Math.max(Date.now(), lastMade + 1); // they are sent in this order
    return { id: newID(), url: address, cell, fields: { ...fields, cell, ...(by ? { by } : {}), ...(visit ? { visit } : {}) }, text: `${bar.dataset.cell} ${cell}: ${text}`, made: lastMade, state: "hand" };
  }

  function inHand(e) {
    flush();
    hand = e;
    started.set(e.id, performance.now());
    store.put(hand); // a phone that dies sends it later
    hold();
  }

  function hold() {
    clearTimeout(timer);
    timer = setTimeout(flush, handFor);
    atCell(hand.cell, hand.text.slice(hand.text.indexOf(":") + 2));
    show();
  }

  function atCell(cell, did) {
    $(".hint").hidden = true;
    $(".hand").hidden = false;
    $(".hand .n").textContent = cell;
    $(".hand .did").textContent = did;
    $("#strip [name=cell]").value = cell;
    const more = $(".more");
    more.hidden = false;
    more.href = "?cell=" + cell;
    const level = hand && (hand.fields.after || hand.fields.level);
    for (const b of bar.querySelectorAll("#strip button")) b.setAttribute("aria-pressed", String(b.value === level));
  }

  // reach tells whether another page of the agent would load.
  async function reach(url) {
    if (navigator.onLine === false) return false;
    try { return (await fetch(url, { credentials: "same-origin", cache: "no-store", signal: AbortSignal.timeout(6000) })).ok; } catch { return false; }
  }

  // settled waits for what is in hand to be sent, but not for a network that does not answer.
  function settled() {
    const sending = flush();
    if (document.body.classList.contains("stale")) return false;
    return Promise.race([sending, new Promise((done) => { setTimeout(() => done(false), 6000); })]);
  }

  async function leave(url) {
    const sent = await settled();
    if (sent && await reach(url)) { location.href = url; return; }
    document.body.dataset.unsent = "yes";
    const cell = new URLSearchParams(url.split("?")[1]).get("cell");
    stay(cell ? "" : bar.dataset.stay); // the open page is worth more than one that cannot load
    if (cell) document.dispatchEvent(new CustomEvent("cell-here", { detail: { cell, waits: mine().filter((e) => e.cell === cell).map((e) => e.text.slice(e.text.indexOf(":") + 2)) } }));
  }

  function stay(text) {
    document.dispatchEvent(new Event("lost"));
    const p = $(".stays");
    p.textContent = text;
    p.hidden = !text;
    show();
  }

  function tapped(tile) {
    const cell = tile.value;
    if (mine().some((e) => e.cell === cell && !e.fields.gravity)) {
      const last = mine().findLast((e) => e.cell === cell);
      if (Date.now() - last.made > twice) leave("?cell=" + cell);
      return;
    }
    const how = bar.dataset.how;
    const given = grid.querySelector(`[name="given-${cell}"]`)?.value ?? "0";
    inHand(entry(cell, { action: "cell", how, ["given-" + cell]: given }, how === "to-mark" ? bar.dataset.mark : bar.dataset.proposed));
  }

  function level(cell, value) {
    const text = `${bar.dataset.level} ${value === "dry" ? bar.dataset.dry : value + " " + bar.dataset.unit}`;
    if (hand?.cell === cell && value !== "dry") {
      hand.fields[hand.fields.action === "cell" ? "after" : "level"] = value;
      hand.text = hand.text.split(" · ")[0] + (hand.fields.action === "cell" ? " · " + text : "");
      if (hand.fields.action !== "cell") hand.text = `${bar.dataset.cell} ${cell}: ${text}`;
      store.put(hand);
      hold();
      return;
    }
    inHand(entry(cell, { action: "before", level: value }, text));
  }

  function undo() {
    clearTimeout(timer);
    store.drop(hand);
    const cell = hand.cell;
    hand = null;
    $(".hand").hidden = true;
    $(".hint").hidden = false;
    $(".more").hidden = true;
    $(".hand .n").textContent = "";
    asBefore(cell);
    again();
    const tile = document.getElementById("tile-" + cell);
    const box = document.getElementById("closing");
    if (box.querySelector("#close-form") && tile?.dataset.left) {
      box.hidden = true;
      document.getElementById("shelf").open = true;
      closable(false);
    }
    show();
  }

  // asBefore shows a tile as the agent did.
  function asBefore(cell) {
    const tile = document.getElementById("tile-" + cell);
    if (!tile?.dataset.was) return;
    [tile.className, tile.querySelector("small").innerHTML] = JSON.parse(tile.dataset.was);
    delete tile.dataset.was;
  }

  // again asks the agent what it has recorded.
  function again() {
    fetch(location.pathname, { credentials: "same-origin" }).then(async (a) => { if (a.ok) { take(parsed(await a.text())); show(); } }).catch(() => {});
  }

  // Specific gravity: four digits, then the next cell.
  const pad = { cells: [], at: 0, text: "" };

  function keypad() {
    const cell = pad.cells[pad.at];
    const open = Boolean(cell);
    $(".digits").hidden = !open;
    $(".tools").hidden = open;
    $(".hand").hidden = true;
    $(".hint").hidden = open;
    document.querySelectorAll(".tile.in-hand").forEach((t) => t.classList.remove("in-hand"));
    if (!open) { flush(); return; }
    document.getElementById("tile-" + cell)?.classList.add("in-hand");
    $(".digits .n").textContent = cell;
    $(".digits output").textContent = pad.text.padEnd(4, "_");
  }

  function digit(d) {
    if (!pad.text && d !== "1") return; // it begins with 1
    pad.text += d;
    if (pad.text.length === 4) {
      const cell = pad.cells[pad.at];
      inHand(entry(cell, { action: "before", gravity: pad.text, at: bar.dataset.at }, `${bar.dataset.gravity} ${pad.text}`));
      pad.at++;
      pad.text = "";
    }
    keypad();
  }

  function erase() {
    if (pad.text) pad.text = pad.text.slice(0, -1);
    else if (hand?.fields.gravity) { // the last one again
      clearTimeout(timer);
      store.drop(hand);
      pad.text = hand.fields.gravity.slice(0, 3);
      hand = null;
      pad.at--;
    }
    keypad();
  }

  if (bar) {
    grid.addEventListener("submit", (event) => { event.preventDefault(); if (event.submitter) tapped(event.submitter); });
    $("#strip").addEventListener("submit", (event) => { event.preventDefault(); if (event.submitter) level($("#strip [name=cell]").value, event.submitter.value); });
    grid.addEventListener("click", (event) => {
      const link = event.target.closest("a.tile");
      if (!link) return;
      event.preventDefault();
      leave(link.getAttribute("href"));
    });
    $(".undo").addEventListener("click", undo);
    for (const link of bar.querySelectorAll(".more, .tools .close")) {
      link.addEventListener("click", (event) => { event.preventDefault(); leave(link.getAttribute("href")); });
    }
    const gravity = $(".gravity");
    if (gravity) {
      gravity.hidden = !document.getElementById("closing").hidden;
      gravity.addEventListener("click", () => {
        flush();
        pad.cells = [...document.querySelectorAll("#tiles .tile")].filter((t) => !t.dataset.gravity).map((t) => t.id.slice(5)).sort((a, b) => a - b);
        pad.at = 0;
        pad.text = "";
        keypad();
      });
      for (const b of bar.querySelectorAll("[data-digit]")) b.addEventListener("click", () => digit(b.dataset.digit));
      $(".erase").addEventListener("click", erase);
      $(".skip-cell").addEventListener("click", () => { pad.at++; pad.text = ""; keypad(); });
      $(".stop").addEventListener("click", () => { pad.cells = []; keypad(); });
    }
    document.getElementById("closing").addEventListener("submit", async (event) => {
      if (event.target.dataset.flushed) return;
      event.preventDefault();
      const form = event.target;
      const sent = await settled();
      const open = store.all().some((e) => e.url === address);
      if (sent && !open && await reach(location.pathname)) { delete form.dataset.sent; form.dataset.flushed = "yes"; form.requestSubmit(); return; }
      document.body.dataset.unsent = "yes";
      delete form.dataset.sent;
      if (open) $(".unsent span").hidden = false;
      else stay(bar.dataset.open);
      show();
    });
    document.addEventListener("record-here", (event) => {
      const { cell, entries } = event.detail;
      for (const [fields, text] of entries) {
        if (fields.action === "cell") { // in place of a tap that has not been answered; the agent refuses water that it did not show
          mine().filter((e) => e.cell === cell && e.fields.action === "cell").forEach(store.drop);
          fields["given-" + cell] = grid.querySelector(`[name="given-${cell}"]`)?.value ?? "";
        }
        inHand(entry(cell, fields, text));
      }
    });
    document.addEventListener("fresh", () => { landed.clear(); $(".stays").hidden = true; delete document.body.dataset.unsent; show(); });
    // Another page that cannot load must not take the place of this one.
    document.addEventListener("click", async (event) => {
      const link = event.target.closest("a[href]");
      if (event.defaultPrevented || !link || link.matches("[href^='tel:'], [href^='#']") || navigator.serviceWorker?.controller) return;
      event.preventDefault();
      leave(link.href);
    });
    show();
  }

  // The points of the round fold once they are all confirmed, so that those of the
  // battery come up in reach of the thumb.
  const once = document.getElementById("round");
  once?.addEventListener("change", () => {
    if ([...once.querySelectorAll("input")].some((box) => !box.checked)) return;
    once.classList.add("folded");
    const next = once.nextElementSibling;
    if (next) still(next);
  });

  addEventListener("pagehide", () => { flush(); });
  document.addEventListener("visibilitychange", () => { if (document.hidden) flush(); });
  addEventListener("online", send);
  setInterval(() => { if (store.all().some(due)) send(); }, 3000);
  store.restore().then((any) => { if (any) show(); if (store.all().some(due)) send(); });
})();
