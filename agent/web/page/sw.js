// Where the network does not reach, this shows what the phone has of the agent: first
// aid, cautions, the sheet and the open visits, each with its age. Nothing else is shown
// from here, and nothing is shown from here while the agent answers. The lines above are
// the agent's: the version is that of what it serves.

const shellName = "bayward-" + version;
const pagesName = "bayward-pages";
const keptFor = 12 * 3600e3; // one shift, as long as a person is signed in
const patience = 8000; // for an agent that does not answer, where a copy can be shown
let turn = 0; // of people; what belongs to an earlier one is not kept

// fill takes up what is the same for everybody.
async function fill() {
  const all = await caches.open(shellName);
  await Promise.all(shell.map(async (path) => {
    const answer = await fetch(path + (plain.includes(path) ? "?saved=yes" : ""), { cache: "no-cache", credentials: "same-origin" });
    if (!answer.ok || answer.redirected) throw new Error(path);
    await all.put(path, answer);
  }));
}

function forget() {
  turn++;
  return caches.delete(pagesName);
}

addEventListener("install", (event) => event.waitUntil(fill().then(() => self.skipWaiting())));

// Copies that an earlier version of the agent made are dropped.
addEventListener("activate", (event) => event.waitUntil((async () => {
  for (const name of await caches.keys()) if (name !== shellName) await caches.delete(name);
  await self.clients.claim();
})()));

addEventListener("fetch", (event) => {
  const { method, mode, url } = event.request;
  const at = new URL(url);
  if (at.origin !== location.origin) return;
  if (method === "POST") {
    if (at.pathname === "/sign-in" || at.pathname === "/sign-out") event.waitUntil(forget());
    if (at.pathname === "/settings") { // language and units
      event.waitUntil(forget());
      event.respondWith(fetch(event.request).then((answer) => { event.waitUntil(fill().catch(() => {})); return answer; }));
    }
    return;
  }
  if (method !== "GET" || at.pathname === "/live") return;
  if (mode === "navigate") event.respondWith(navigated(event, at));
  else if (shell.includes(at.pathname)) event.respondWith(fetch(event.request).catch(() => ofShell(at.pathname)));
  else if (keepable.test(at.pathname)) event.respondWith(asked(event, at));
});

const keepable = /^\/(sheet|bays\/[^/]+\/visit)$/;

async function ofShell(path) {
  return await caches.match(path, { cacheName: shellName }) ?? Response.error();
}

// asked asks the agent, and keeps the page if the agent allows it.
async function asked(event, at) {
  const mine = turn;
  const answer = await fetch(event.request);
  if (answer.redirected && new URL(answer.url).pathname === "/sign-in" || answer.status === 401) event.waitUntil(forget());
  else if (keepable.test(at.pathname) && answer.ok) event.waitUntil(keep(at, answer.clone(), mine));
  return answer;
}

async function keep(at, answer, mine) {
  const word = answer.headers.get("Bayward-Keep"); // none: another step of the same visit
  if (!word || new URL(answer.url || at.href).pathname !== at.pathname) return;
  const may = word === "yes";
  const text = may && await answer.text();
  if (mine !== turn) return;
  const pages = await caches.open(pagesName);
  if (!may) { await pages.delete(at.pathname); return; } // the visit is closed
  const headers = new Headers(answer.headers);
  headers.delete("Content-Encoding");
  headers.delete("Content-Length");
  headers.set("Kept-At", String(Date.now()));
  if (mine === turn) await pages.put(at.pathname, new Response(text, { headers }));
  if (mine !== turn) await caches.delete(pagesName);
}

async function navigated(event, at) {
  if (at.pathname === "/sign-in") await forget(); // nobody is signed in
  const copy = await ofPages(at.pathname);
  try {
    const asking = asked(event, at);
    if (!copy && !shell.includes(at.pathname)) return await asking;
    asking.catch(() => {});
    return await Promise.race([asking, new Promise((_, no) => { setTimeout(() => no(new Error("no answer")), plain.includes(at.pathname) ? 2000 : patience); })]);
  } catch {
    if (copy) return copy;
    if (plain.includes(at.pathname)) return ofShell(at.pathname);
    return offline();
  }
}

// ofPages returns the copy of a page, marked as one, unless it is too old or of a time
// that has not been.
async function ofPages(path) {
  const copy = await (await caches.open(pagesName)).match(path);
  const at = Number(copy?.headers.get("Kept-At"));
  const age = Date.now() - at;
  if (!at || age < -60000 || age > keptFor) return null;
  const text = await copy.text();
  if (!text.includes("<body")) return null; // it could not be marked
  return new Response(text.replace("<body", `<body data-saved="${at}"`), { headers: copy.headers });
}

// offline names what there is.
async function offline() {
  const page = await ofShell("/offline");
  if (page.type === "error") return page;
  const paths = [];
  for (const r of await (await caches.open(pagesName)).keys()) paths.push(new URL(r.url).pathname);
  const safe = (s) => s.replace(/[&<>"']/g, (c) => `&#${c.charCodeAt(0)};`);
  const text = await page.text();
  const list = /<ul id="kept" data-sheet="([^"]*)">/;
  const name = (path) => path === "/sheet" ? list.exec(text)?.[1] ?? "" : safe(decodeURIComponent(path.split("/")[2]));
  const links = paths.sort().map((path) => `<li><a class="button calm" href="${safe(path)}">${name(path)}</a></li>`);
  return new Response(text.replace(list, (tag) => tag + links.join("")), { headers: page.headers });
}
