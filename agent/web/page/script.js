// Everything works without this script. With it the pages that only show
// follow the bays by themselves, and numbers can be stepped with wet gloves.
"use strict";

(() => {
  const lost = document.getElementById("lost");

  // What is shown is as old as its last reading, and says so when that is not now. A
  // saved page carries its own time.
  const saved = Number(document.body.dataset.saved) || 0;
  let read = saved || Date.now();
  function old() {
    if (lost.hidden) return;
    const min = Math.floor((Date.now() - read) / 60000);
    const age = min < 0 ? "?" : min < 60 ? `${min} min` : `${Math.floor(min / 60)} h ${min % 60} min`;
    const at = new Date(read);
    const day = at.toDateString() === new Date().toDateString() ? "" : at.toISOString().slice(0, 10) + " ";
    lost.textContent = lost.dataset.text.replace("[at]", day + at.toTimeString().slice(0, 5)).replace("[age]", age);
  }
  let losses = 0; // an answer that was on its way when the connection went does not bring it back
  function lose() {
    losses++;
    const was = lost.hidden;
    lost.hidden = false;
    document.body.classList.add("stale");
    if (was) old();
  }
  function found() {
    if (saved) location.reload(); // as it is now, all of it
    read = Date.now();
    lost.hidden = true;
    document.body.classList.remove("stale");
  }
  if (saved) { lost.hidden = true; lose(); }
  setInterval(old, 10000);
  document.addEventListener("lost", lose);

  // Parts of the page are fetched again and put in place of the old ones, unless
  // a person is at work in them.
  const typing = "input:not([type=hidden]), select, textarea";
  const busy = (part) => part.contains(document.activeElement) && document.activeElement.matches(typing) ||
    [...part.querySelectorAll("input[type=text], input[type=number], textarea")].some((box) => box.value !== box.defaultValue);

  // What a person has ticked stays ticked in the same visit: not every phone moves the
  // focus to a tick. Another visit is confirmed again.
  const visitOf = (page) => page.getElementById("bar")?.dataset.visit;
  const ticks = (part) => [...part.querySelectorAll("input[type=checkbox]")];
  // Points that this phone shows before the agent does, because entries wait, stay shown.
  function keepShown(part, next) {
    const later = next.querySelector("template");
    if (later && ticks(part).length) next.replaceChildren(later.content.cloneNode(true));
  }
  function keepTicks(part, ticked) {
    for (const box of ticks(part)) box.checked ||= ticked.includes(box.name);
  }
  let running = false;
  let touched = false; // a finger is down: what it points at must not move away
  for (const down of ["pointerdown", "touchstart"]) addEventListener(down, () => { touched = true; }, { passive: true });
  for (const up of ["pointerup", "pointercancel", "touchend", "touchcancel"]) {
    addEventListener(up, () => setTimeout(() => { touched = false; }, 500), { passive: true });
  }
  async function refresh() {
    if (running || document.hidden) return;
    running = true;
    const before = losses;
    try {
      const answer = await fetch(document.body.dataset.here || location.href, { credentials: "same-origin", cache: "no-store", signal: AbortSignal.timeout(15000) });
      if (answer.redirected || !answer.ok) throw new Error(String(answer.status));
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (touched) return; // also while the answer came: a part that is replaced under a finger loses the tap
      if (document.getElementById("grid") && !fresh.getElementById("grid")) { location.reload(); return; } // the visit is closed
      for (const part of document.querySelectorAll("[data-part]")) {
        const next = fresh.getElementById(part.id);
        if (next && part.dataset.drawn) { // its curves are drawn by chart.js, which asks for its own news
          const names = ".stages, figcaption";
          const texts = next.querySelectorAll(names);
          part.querySelectorAll(names).forEach((old, i) => { if (texts[i]) old.innerHTML = texts[i].innerHTML; });
          continue;
        }
        if (!next || busy(part)) continue;
        keepShown(part, next);
        if (part.innerHTML === next.innerHTML) continue;
        const open = [...part.querySelectorAll("details")].map((d) => d.open);
        const ticked = visitOf(fresh) === visitOf(document) ? ticks(part).filter((box) => box.checked).map((box) => box.name) : [];
        const focus = part.contains(document.activeElement) ? document.activeElement.id : "";
        part.className = next.className;
        part.replaceChildren(...next.childNodes);
        keepTicks(part, ticked);
        part.querySelectorAll("details").forEach((d, i) => { d.open = Boolean(open[i]); });
        if (focus) document.getElementById(focus)?.focus({ preventScroll: true });
      }
      if (losses !== before) return;
      found();
      document.dispatchEvent(new Event("fresh"));
    } catch {
      lose();
    } finally {
      running = false;
    }
  }

  const address = document.body.dataset.live;
  if (address) {
    const stream = new EventSource(address);
    let heard = Date.now(); // a dead spot ends a stream without a word
    stream.addEventListener("picture", () => { heard = Date.now(); refresh(); });
    setInterval(() => { if (Date.now() - heard > 30000) refresh(); }, 10000);
    stream.addEventListener("error", lose);
    document.addEventListener("visibilitychange", refresh);
  }
  addEventListener("offline", lose);
  addEventListener("online", () => { if (!address) found(); });

  for (const box of document.querySelectorAll(".stepper")) {
    const field = box.querySelector("input");
    const by = Number(box.dataset.step);
    const step = (sign) => {
      const now = Number(field.value.replace(",", "."));
      if (!Number.isNaN(now)) field.value = String(Math.max(0, Math.round(10 * (now + sign * by)) / 10));
    };
    for (const [name, sign] of [[".less", -1], [".plus", 1]]) {
      const button = box.querySelector(name);
      button.hidden = false;
      button.addEventListener("click", () => step(sign));
    }
  }

  // What is wrong with a form is read first.
  document.querySelector(".faults, .faults-ask")?.focus({ preventScroll: true });

  // A form is sent once: wet gloves press twice.
  for (const form of document.querySelectorAll("form[method=post]")) {
    form.addEventListener("submit", (event) => {
      if (event.defaultPrevented || form.id === "grid" || form.id === "strip") return;
      if (form.dataset.sent) event.preventDefault();
      form.dataset.sent = "yes";
    });
  }
  addEventListener("pageshow", () => {
    for (const form of document.querySelectorAll("form[method=post]")) delete form.dataset.sent;
  });

  // The wall tells how old its data is, and the time.
  const age = document.getElementById("age");
  if (age) {
    let last = Date.now();
    document.addEventListener("fresh", () => { last = Date.now(); });
    setInterval(() => {
      const seconds = Math.round((Date.now() - last) / 1000);
      age.textContent = age.dataset.text.replace("0", seconds);
      if (seconds >= 20) lose();
      else lost.hidden = true;
      const now = document.getElementById("clock");
      now.textContent = new Date().toTimeString().slice(0, 5);
    }, 1000);
  }

  // With TLS a phone keeps first aid, cautions, the sheet and the open visits.
  if (isSecureContext && navigator.serviceWorker && !age) {
    addEventListener("load", () => navigator.serviceWorker.register("/sw.js", { updateViaCache: "none" }).catch(() => {}));
  }

  const print = document.querySelector(".print");
  if (print) {
    print.hidden = false;
    print.addEventListener("click", () => window.print());
  }
})();
