// Entries that wait on this phone, for visit.js. Every tab of the browser sees the same
// ones. The browser writes them to the disk seconds later, so each is also put where it
// is written at once: a phone that dies loses none.
"use strict";

const entryStore = (() => {
  const prefix = "bayward-entry:";
  const sentKey = "bayward-sent";
  const mostSent = 300;
  const kept = new Map(); // where the browser keeps nothing, this page does
  const saved = new Set();
  const gone = new Set();
  let disk = null;

  const sent = () => { try { return JSON.parse(localStorage.getItem(sentKey)) || []; } catch { return []; } };

  function opened() {
    disk ??= new Promise((done) => {
      try {
        const ask = indexedDB.open("bayward", 1);
        ask.onupgradeneeded = () => ask.result.createObjectStore("entries", { keyPath: "id" });
        ask.onsuccess = () => done(ask.result);
        ask.onerror = () => done(null);
      } catch { done(null); }
    });
    return disk;
  }

  async function onDisk(act) {
    try {
      const db = await opened();
      return db && await new Promise((done) => {
        const all = db.transaction("entries", "readwrite", { durability: "strict" });
        const ask = act(all.objectStore("entries"));
        all.oncomplete = () => done(ask.result);
        all.onerror = all.onabort = () => done(null);
      });
    } catch { return null; } // kept in one place
  }

  function putHere(e) {
    kept.set(e.id, e);
    try {
      localStorage.setItem(prefix + e.id, JSON.stringify(e));
      saved.add(e.id);
    } catch { /* kept here */ }
  }

  return {
    put(e) {
      putHere(e);
      onDisk((all) => all.put(e));
    },
    drop(e) {
      gone.add(e.id);
      kept.delete(e.id);
      try {
        localStorage.removeItem(prefix + e.id);
        localStorage.setItem(sentKey, JSON.stringify([...sent(), e.id].slice(-mostSent)));
      } catch { /* not there */ }
      onDisk((all) => all.delete(e.id));
    },
    all() {
      try {
        for (const key of Object.keys(localStorage)) {
          if (!key.startsWith(prefix)) continue;
          const e = JSON.parse(localStorage.getItem(key));
          if (!kept.has(e.id)) kept.set(e.id, e);
          saved.add(e.id);
        }
        for (const id of kept.keys()) if (saved.has(id) && localStorage.getItem(prefix + id) === null) kept.delete(id); // another tab has sent it
      } catch { /* kept here */ }
      return [...kept.values()].sort((x, y) => x.made - y.made);
    },
    // restore takes up what only the disk has, and tells whether there was any.
    async restore() {
      const past = new Set(sent());
      let any = false;
      for (const e of await onDisk((all) => all.getAll()) || []) {
        if (past.has(e.id) || gone.has(e.id)) onDisk((all) => all.delete(e.id));
        else if (!kept.has(e.id)) { putHere(e); any = true; }
      }
      return any;
    },
  };
})();
