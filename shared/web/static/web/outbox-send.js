/* Sends what the phone keeps: in order, once each, by one page at a time. What is refused is put aside with the
   server's sentence and the later ones go on; without an answer everything stays and is tried again. */
"use strict";

window.outboxSender = (() => {
  const PATIENCE_MS = 15000; /* after which a request counts as unanswered */
  const LEASE_MS = 3 * PATIENCE_MS;
  const MOST_FAILURES = 5; /* of the server itself, before an entry stops holding up the others */
  const PASSING = [408, 425, 429, 502, 503, 504];
  const store = window.outboxStore;
  const place = document.currentScript.dataset;
  const hex = (bytes) => Array.from(crypto.getRandomValues(new Uint8Array(bytes)), (b) => b.toString(16).padStart(2, "0")).join("");
  const me = hex(8);

  const cookie = (name) => (document.cookie.match(new RegExp(`(?:^|; )${name}=([^;]+)`)) || [])[1];
  const token = () => cookie("__Host-csrftoken") || cookie("csrftoken") || "";

  const ask = async (url, options = {}) => {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), PATIENCE_MS);
    try {
      const answer = await fetch(url, { credentials: "same-origin", cache: "no-store", signal: stop.signal, ...options });
      const text = await answer.text();
      let body = null;
      try {
        body = text ? JSON.parse(text) : null;
      } catch {
        body = null; /* a page instead of an answer: its status says enough */
      }
      return { status: answer.status, ok: answer.ok, body, date: answer.headers.get("Date") };
    } catch {
      return { status: 0, ok: false, body: null, date: null };
    } finally {
      clearTimeout(timer);
    }
  };

  /* Who is signed in as the server sees it: an entry is sent as the person who made it or not at all. */
  const whoIsIn = async () => {
    const answer = await ask(place.me);
    if (answer.date) {
      const off = Date.parse(answer.date) - Date.now();
      await store.keepFact("clock", Math.abs(off) < 5000 ? 0 : off);
    }
    if (answer.ok && answer.body) return { state: "in", name: answer.body.username };
    return { state: answer.status === 401 || answer.status === 403 ? "out" : "away", name: "" };
  };

  const sentence = ({ status, body }) => {
    if (body && typeof body.detail === "string") return body.detail;
    if (Array.isArray(body)) return body.map(String).join(" ");
    if (body && typeof body === "object") {
      const told = Object.entries(body).map(([field, says]) => {
        const words = Array.isArray(says) ? says.map((s) => (typeof s === "string" ? s : JSON.stringify(s))).join(" ") : String(says);
        return field === "non_field_errors" ? words : `${field}: ${words}`;
      });
      if (told.length) return told.join(" ");
    }
    return `The server did not take it (answer ${status}).`;
  };

  /* What an answer means for its entry: sent, look, out (sign in) or away (try again later). */
  const outcome = (answer, entry) => {
    if (answer.ok) return "sent";
    const roleSays = answer.status === 403 && answer.body && "field" in answer.body;
    if ((answer.status === 401 || answer.status === 403) && !roleSays) return "out";
    if (answer.status === 0 || PASSING.includes(answer.status)) return "away";
    if (answer.status >= 500) return (entry.failures || 0) + 1 >= MOST_FAILURES ? "look" : "away";
    return "look";
  };

  const send = async (entry, tell) => {
    /* Marked before it leaves, so that it cannot be taken back any more from here on. */
    const ours = await store.change(entry.seq, (kept) => (kept.state === "waiting" ? { ...kept, tries: kept.tries + 1 } : undefined));
    if (!ours) return "gone";
    const answer = await ask(entry.url, {
      method: entry.method,
      headers: { "Content-Type": "application/json", Accept: "application/json", "X-CSRFToken": token(), "Idempotency-Key": entry.key },
      body: JSON.stringify(entry.body),
    });
    const end = outcome(answer, entry);
    if (end === "sent") {
      await store.change(entry.seq, () => null);
      tell("outbox:sent", { entry, answer: answer.body });
    } else if (end === "look") {
      await store.change(entry.seq, (kept) => ({ ...kept, state: "look", sentence: sentence(answer), failures: 0 }));
      tell("outbox:refused", { entry, sentence: sentence(answer) });
    } else if (answer.status >= 500) {
      await store.change(entry.seq, (kept) => ({ ...kept, failures: (kept.failures || 0) + 1 }));
    }
    return end;
  };

  /* Until none of this person's entries waits. Answers why it stopped: "" (done), "away" or "out". */
  const sendAll = async (tell) => {
    const held = async () => (await store.all()).filter((entry) => entry.state === "waiting");
    if (!(await held()).length) return "";
    const person = await whoIsIn();
    if (person.state !== "in") return person.state;
    for (;;) {
      const next = (await held()).find((entry) => entry.user === person.name);
      if (!next) return "";
      if (!navigator.locks && !(await store.lease(me, LEASE_MS))) return "";
      const end = await send(next, tell);
      if (end === "away" || end === "out") return end;
    }
  };

  const withLease = async (work) => {
    if (!(await store.lease(me, LEASE_MS))) return "elsewhere";
    try {
      return await work();
    } finally {
      await store.release(me);
    }
  };

  /* One page of this phone at a time. Two that send the same entry anyhow do no harm: it goes under one key. */
  const run = (tell) => {
    const work = () => sendAll(tell);
    if (!navigator.locks) return withLease(work);
    return navigator.locks.request("loadstock-outbox", { ifAvailable: true }, (lock) => (lock ? work() : "elsewhere"));
  };

  return { run, whoIsIn, newKey: () => hex(16) };
})();
