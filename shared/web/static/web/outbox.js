/* Forms with data-outbox hand their entry to the phone, and the list shows what still waits or was refused.
   The contract stands in shared/web/__init__.py. Without this script, or where the phone keeps nothing (a private
   window), the same forms go to the server as they always did. */
"use strict";

(() => {
  const store = window.outboxStore;
  const sender = window.outboxSender;
  const { user, signIn } = document.currentScript.dataset;
  const DOUBLE_TAP_MS = 2000;
  const PAUSES_S = [3, 6, 12, 25, 30];
  const make = (name, props = {}, ...inner) => {
    const made = Object.assign(document.createElement(name), props);
    made.append(...inner);
    return made;
  };
  const clock = (iso) => new Date(iso).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false });
  const channel = "BroadcastChannel" in window ? new BroadcastChannel("loadstock-outbox") : null;
  const tell = (name, detail) => document.body.dispatchEvent(new CustomEvent(name, { detail, bubbles: true }));

  /* --- from a form to an entry --------------------------------------------------------------- */
  const nameOf = (field) => field.dataset.outboxName || field.name;
  const taking = (form, submitter) =>
    [...form.elements].filter(
      (field) =>
        field.name &&
        field.name !== "csrfmiddlewaretoken" &&
        !field.disabled &&
        !("outboxSkip" in field.dataset) &&
        !["file", "fieldset"].includes(field.type) &&
        (!["submit", "button"].includes(field.type) || field === submitter),
    );
  const valueOf = (field) => {
    if (field.type === "checkbox") return field.checked;
    if (field.type === "select-multiple") return [...field.selectedOptions].map((option) => option.value);
    return field.value.trim();
  };

  /* What the person sees in each field, and what the API gets. */
  const read = (form, submitter) => {
    const [body, words, typed] = [{}, {}, []];
    taking(form, submitter).forEach((field) => {
      if (field.type === "radio" && !field.checked) return;
      const value = valueOf(field);
      typed.push([field.name, value]);
      words[field.name] = field.type === "select-one" && field.selectedOptions[0] ? field.selectedOptions[0].textContent.trim() : value;
      if (value !== "") body[nameOf(field)] = value;
    });
    return { body, words, typed };
  };

  /* `{name}` in an address: the field's value, which then is no part of the body. */
  const addressed = (form, body) =>
    form.dataset.outbox.replace(/\{(\w+)\}|%7B(\w+)%7D/g, (_, plain, coded) => {
      const value = body[plain || coded];
      delete body[plain || coded];
      return encodeURIComponent(value ?? "");
    });

  let clockOff = 0; /* by how much the server's clock is ahead of this phone's [ms] */
  const setClock = async () => (clockOff = (await store.fact("clock")) || 0);

  const entryOf = (form, submitter) => {
    const { body, words, typed } = read(form, submitter);
    const at = new Date(Date.now() + clockOff).toISOString();
    const url = addressed(form, body);
    const timed = form.dataset.outboxTime;
    if (timed && !(timed in body)) body[timed] = at;
    const button = submitter && submitter.textContent.trim();
    const title = (form.dataset.outboxTitle || button || "Entry").replace(/\{(\w+)\}/g, (_, name) => words[name] ?? "");
    return {
      key: sender.newKey(), user, url, method: form.dataset.outboxMethod || "POST", body, title, at, typed, timed,
      page: location.pathname + location.search, form: placeOf(form), state: "waiting", tries: 0, failures: 0, sentence: "",
    };
  };

  const forms = () => [...document.querySelectorAll("form[data-outbox]")];
  const placeOf = (form) => form.id || `${forms().indexOf(form)}`;
  const formOf = (entry) => document.getElementById(entry.form) || forms()[Number(entry.form)];

  /* --- keeping it ------------------------------------------------------------------------------ */
  let last = { said: "", when: 0 };

  const keep = async (entry, mending) => {
    /* A mended entry keeps its place, its key and the time it happened: a refusal used none of them up. One that is on
       its way again by now stays as it is, and what was mended is an entry of its own. A time still to come was told by
       a clock that was wrong. */
    const mend = (kept) => {
      if (kept.state !== "look") return undefined;
      const at = kept.at < entry.at ? kept.at : entry.at;
      const body = kept.timed && entry.body[kept.timed] === entry.at ? { ...entry.body, [kept.timed]: at } : entry.body;
      return { ...entry, body, seq: kept.seq, key: kept.key, at };
    };
    if (!mending || !(await store.change(mending, mend))) await store.add(entry);
    note(`Kept in this phone at ${clock(entry.at)}: ${entry.title}`);
    tell("outbox:kept", { entry });
    changed();
    pump();
  };

  document.addEventListener(
    "submit",
    (event) => {
      const form = event.target;
      if (!form.matches("form[data-outbox]") || event.defaultPrevented || form.dataset.outboxPlain) return;
      event.preventDefault();
      const { submitter } = event;
      const entry = entryOf(form, submitter);
      const said = JSON.stringify([entry.url, entry.typed]);
      if (said === last.said && Date.now() - last.when < DOUBLE_TAP_MS) return;
      last = { said, when: Date.now() };
      const mending = Number(form.dataset.outboxMending || 0);
      delete form.dataset.outboxMending;
      form.reset(); /* at once: the next entry may be half typed before this one is on disk */
      keep(entry, mending).catch(() => {
        fill(form, entry);
        form.dataset.outboxPlain = "yes"; /* this phone keeps nothing: the form goes to the server by itself */
        form.requestSubmit(submitter);
      });
    },
    true,
  );

  /* --- sending, again and again until nothing waits ---------------------------------------------- */
  let [busy, again, timer, pause, why] = [false, false, 0, -1, ""];

  const heard = (name, detail) => {
    if (name === "outbox:sent") note(`Sent at ${clock(new Date().toISOString())}: ${detail.entry.title}`);
    tell(name, detail);
    changed();
  };
  const pump = async () => {
    clearTimeout(timer);
    if (busy) {
      again = true;
      return;
    }
    busy = true;
    const before = why;
    try {
      why = await sender.run(heard);
      await setClock();
    } catch {
      why = "away"; /* the store is busy or gone; the next turn tells */
    }
    busy = false;
    if (why !== before) changed();
    const left = (await store.all()).some((entry) => entry.state === "waiting" && entry.user === user);
    pause = why === "" || again ? -1 : Math.min(pause + 1, PAUSES_S.length - 1);
    if (left) timer = setTimeout(pump, again ? 0 : PAUSES_S[Math.max(pause, 0)] * 1000);
    else settle();
    again = false;
  };

  /* All is sent: a page that asked for it is loaded anew, unless that would lose what is being typed. */
  let sentHere = false;
  document.addEventListener("outbox:sent", (event) => {
    sentHere ||= event.detail.entry.page === location.pathname + location.search;
  });
  const settle = () => {
    const wanted = document.querySelector('form[data-outbox-then="reload"]');
    const typing = forms().some((form) => form.dataset.outboxDirty);
    if (wanted && sentHere && !typing && !document.querySelector(".outbox__look")) {
      sessionStorage.setItem(NOTED, noted);
      location.reload();
    }
    sentHere = false;
  };
  document.addEventListener("input", (event) => {
    const form = event.target.closest("form[data-outbox]");
    if (form) form.dataset.outboxDirty = "yes";
  });
  document.addEventListener("reset", (event) => delete event.target.dataset.outboxDirty);

  /* --- the list ------------------------------------------------------------------------------------ */
  const NOTED = "loadstock-noted"; /* what was said before the page was loaded anew */
  let noted = sessionStorage.getItem(NOTED) || "";
  sessionStorage.removeItem(NOTED);
  const note = (text) => (noted = text);
  const box = () => {
    let found = document.querySelector("[data-outbox-list]");
    if (!found) {
      found = make("section", { className: "frame" });
      found.dataset.outboxList = "";
      document.getElementById("main").before(found);
    }
    found.classList.add("outbox", "no-print");
    found.setAttribute("aria-label", "Entries kept in this phone");
    return found;
  };

  const REASONS = {
    away: "No answer from the pit laptop. They stay in this phone and go by themselves once it answers.",
    elsewhere: "Another page of this phone is sending them.",
  };
  const reason = (waiting) => {
    const others = [...new Set(waiting.filter((entry) => entry.user !== user).map((entry) => entry.user))];
    if (why === "out") {
      const link = make("a", { href: `${signIn}?next=${encodeURIComponent(location.pathname)}`, textContent: "Sign in" });
      return [link, " to send them: you are signed out. They stay in this phone."];
    }
    if (others.length) return [`Made by ${others.join(", ")}: sent when that person signs in on this phone.`];
    return REASONS[why] ? [REASONS[why]] : [];
  };

  const button = (text, act, id) => {
    const made = make("button", { type: "button", className: "button", textContent: text, id });
    made.addEventListener("click", () => act(made));
    return made;
  };
  /* Asked twice, since what is thrown away cannot be brought back. */
  const asking = new Set();
  const throwAway = (entry, allowed) => {
    const sure = asking.has(entry.seq);
    const made = button(sure ? "Really throw it away" : "Throw away", async () => {
      if (!sure) {
        asking.add(entry.seq);
        await render();
        return;
      }
      asking.delete(entry.seq);
      await store.change(entry.seq, (kept) => (allowed(kept) ? null : undefined));
      changed();
    }, `outbox-throw-${entry.seq}`);
    if (sure) made.classList.add("button--danger");
    return made;
  };

  const line = (entry, ...more) => {
    const time = make("time", { dateTime: entry.at, className: "fig", textContent: clock(entry.at) });
    const item = make("li", {}, time, " ", make("span", { className: "outbox__what", textContent: entry.title }));
    item.append(...more);
    return item;
  };
  const waitingLine = (entry) => {
    if (entry.user !== user) return line(entry);
    if (entry.tries) return line(entry, make("span", { className: "soft small", textContent: " tried; it may have arrived already" }));
    return line(entry, throwAway(entry, (kept) => kept.state === "waiting" && kept.tries === 0));
  };
  const lookLine = (entry) => {
    const says = make("p", { className: "outbox__says", textContent: entry.sentence });
    if (entry.user !== user) return line(entry, says);
    const anew = button("Try again", async () => {
      await store.change(entry.seq, (kept) => ({ ...kept, state: "waiting" }));
      changed();
      pump();
    }, `outbox-again-${entry.seq}`);
    const mend = button("Mend it", () => mendAt(entry), `outbox-mend-${entry.seq}`);
    const actions = make("div", { className: "actions" }, mend, anew);
    actions.append(throwAway(entry, (kept) => kept.state === "look"));
    return line(entry, says, actions);
  };
  const part = (title, kind, entries, lineOf, before = []) => {
    if (!entries.length) return [];
    const head = make("h2", { textContent: `${title} (${entries.length})` });
    const list = make("ol", { className: kind }, ...entries.map(lineOf));
    return [head, ...(before.length ? [make("p", {}, ...before)] : []), list];
  };

  const render = async () => {
    const entries = await store.all();
    const look = entries.filter((entry) => entry.state === "look");
    const waiting = entries.filter((entry) => entry.state === "waiting");
    const section = box();
    const focused = section.contains(document.activeElement) && document.activeElement.id;
    const said = make("p", { className: "soft small", textContent: noted });
    said.setAttribute("role", "status");
    section.replaceChildren(
      ...part("Needs a look", "outbox__look", look, lookLine),
      ...part("Waiting to be sent", "outbox__waiting", waiting, waitingLine, reason(waiting)),
      ...(noted ? [said] : []),
    );
    section.hidden = !section.childElementCount;
    if (focused && document.getElementById(focused)) document.getElementById(focused).focus();
    tell("outbox:change", { waiting: waiting.length, look: look.length, why });
  };
  const changed = () => {
    if (channel) channel.postMessage("changed");
    render();
  };

  /* --- mending: back into the form it came from ------------------------------------------------------ */
  const fill = (form, entry) => {
    const typed = new Map(entry.typed);
    form.reset();
    taking(form, null).forEach((field) => {
      if (!typed.has(field.name)) return;
      const value = typed.get(field.name);
      if (field.type === "checkbox") field.checked = value === true;
      else if (field.type === "radio") field.checked = field.value === value;
      else if (Array.isArray(value)) [...field.options].forEach((option) => (option.selected = value.includes(option.value)));
      else field.value = value;
    });
    form.dataset.outboxDirty = "yes";
  };
  const mendIn = (form, entry) => {
    fill(form, entry);
    form.dataset.outboxMending = entry.seq;
    for (let fold = form.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
    form.scrollIntoView({ block: "center" });
    const first = taking(form, null).find((field) => field.type !== "hidden");
    if (first) first.focus();
  };
  const mendAt = (entry) => {
    const form = entry.page === location.pathname + location.search && formOf(entry);
    if (form) mendIn(form, entry);
    else location.assign(`${entry.page}#mend-${entry.seq}`);
  };
  const mendFromAddress = async () => {
    const asked = location.hash.match(/^#mend-(\d+)$/);
    const entry = asked && (await store.all()).find((kept) => kept.seq === Number(asked[1]) && kept.state === "look");
    if (!entry) return;
    history.replaceState(null, "", location.pathname + location.search);
    if (formOf(entry)) mendIn(formOf(entry), entry);
  };

  /* --- start -------------------------------------------------------------------------------------------- */
  const start = async () => {
    await setClock();
    await render();
    await mendFromAddress();
    pump();
    if (!forms().length) return;
    await sender.whoIsIn(); /* sets this phone's clock by the server's before anything is entered */
    await setClock();
  };
  if (channel) channel.onmessage = () => render();
  window.addEventListener("online", pump);
  window.addEventListener("pageshow", (event) => event.persisted && pump());
  document.addEventListener("visibilitychange", () => document.hidden || pump());
  start().catch(() => {}); /* a private window keeps nothing; the forms then go to the server by themselves */
})();
