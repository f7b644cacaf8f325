/* What this phone keeps until it is sent: the entries in their order, and which page sends them. IndexedDB, because
   it outlives a reload and works on a plain http page too. Nothing here speaks to the server or to the page. */
"use strict";

window.outboxStore = (() => {
  let opened = null;

  const open = () => {
    opened ||= new Promise((done, failed) => {
      const request = indexedDB.open("loadstock", 1);
      request.onupgradeneeded = () => {
        request.result.createObjectStore("entries", { keyPath: "seq", autoIncrement: true });
        request.result.createObjectStore("facts", { keyPath: "name" });
      };
      request.onsuccess = () => done(request.result);
      request.onerror = () => failed(request.error);
      request.onblocked = () => failed(new Error("another page holds an older form of the store"));
    });
    return opened;
  };

  /* One transaction. `work` gets the object store and may call `answer`; the promise is kept once all is on disk. */
  const inside = async (name, mode, work) => {
    const base = await open();
    return new Promise((done, failed) => {
      const transaction = base.transaction(name, mode, { durability: "strict" });
      let result;
      transaction.oncomplete = () => done(result);
      transaction.onerror = transaction.onabort = () => failed(transaction.error);
      work(transaction.objectStore(name), (value) => (result = value));
    });
  };

  const change = (name, key, next) =>
    inside(name, "readwrite", (store, answer) => {
      const found = store.get(key);
      found.onsuccess = () => {
        const value = next(found.result);
        if (value === null) store.delete(key);
        else if (value !== undefined) store.put(value);
        answer(value !== undefined);
      };
    });

  return {
    add: (entry) => inside("entries", "readwrite", (store, answer) => (store.add(entry).onsuccess = (e) => answer(e.target.result))),

    /* All entries, the oldest first. */
    all: () => inside("entries", "readonly", (store, answer) => (store.getAll().onsuccess = (e) => answer(e.target.result))),

    /* Change one entry if it is still here: `next` gives its new form, null to drop it, undefined to leave it. */
    change: (seq, next) => change("entries", seq, (entry) => (entry ? next(entry) : undefined)),

    /* A fact beside the entries, such as how far this phone's clock is off. */
    fact: async (name) => {
      const kept = await inside("facts", "readonly", (store, answer) => (store.get(name).onsuccess = (e) => answer(e.target.result)));
      return kept && kept.value;
    },
    keepFact: (name, value) => change("facts", name, () => ({ name, value })),

    /* Where the browser has no locks (plain http): take or renew the right to send, true if it is ours now. */
    lease: (holder, ms) =>
      change("facts", "sender", (kept) => {
        const now = Date.now();
        /* A lease that ends further ahead than any lease is long was made under a clock since set back. */
        const free = !kept || kept.holder === holder || kept.until < now || kept.until > now + 2 * ms;
        return free ? { name: "sender", holder, until: now + ms } : undefined;
      }),
    release: (holder) => change("facts", "sender", (kept) => (kept && kept.holder === holder ? null : undefined)),
  };
})();
