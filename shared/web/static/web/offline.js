/* Over https: a page marked data-keep-offline survives a reload without network (worker.js). Everywhere: a page that
   has lost its server says so, with the time it speaks of; and the camera page hands a code back to its field. */
"use strict";

(() => {
  const { user, worker, scan } = document.currentScript.dataset;
  const root = document.documentElement;
  const clock = (time) => new Date(time).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false });

  /* --- the worker ------------------------------------------------------------------------------ */
  if (worker && "serviceWorker" in navigator) {
    navigator.serviceWorker.register(worker, { scope: "/" }).catch(() => {}); /* no certificate on this phone yet */
    navigator.serviceWorker.ready.then((ready) => {
      ready.active.postMessage({ kind: "user", user });
      if (!root.dataset.asOf && document.querySelector("[data-keep-offline]"))
        ready.active.postMessage({ kind: "keep", url: location.pathname + location.search });
    });
  }

  /* --- how old is what I read? ----------------------------------------------------------------- */
  let asOf = root.dataset.asOf || new Date().toISOString();
  let banner = null;
  const lost = (lead) => {
    if (!banner) {
      banner = document.createElement("div");
      banner.className = "frame notice notice--late as-of";
      banner.setAttribute("role", "status");
      document.getElementById("main").before(banner);
    }
    banner.textContent = `${lead} This page is as of ${clock(asOf)}.`;
  };
  const found = () => {
    if (root.dataset.asOf) return; /* what was kept in the phone stays as old as it is until it is loaded anew */
    if (banner) banner.remove();
    banner = null;
  };
  if (root.dataset.asOf) lost("Kept in this phone: no connection to the server.");
  window.addEventListener("offline", () => lost("No connection."));
  window.addEventListener("online", found);
  document.addEventListener("htmx:sendError", () => lost("No answer from the server."));
  document.addEventListener("htmx:afterRequest", (event) => {
    if (!event.detail.successful) return;
    asOf = new Date().toISOString();
    found();
  });
  document.addEventListener("outbox:change", (event) => {
    if (event.detail.why === "away" && event.detail.waiting) lost("No answer from the server.");
    else if (!event.detail.why) found();
  });
  /* Back in reach: a kept page is worth loading anew, unless something is being typed. */
  if (root.dataset.asOf) {
    const look = async () => {
      const answer = await fetch(location.href, { method: "HEAD", cache: "no-store" }).catch(() => null);
      if (answer && answer.ok && !document.querySelector("[data-outbox-dirty]")) location.reload();
    };
    window.addEventListener("online", look);
    setInterval(() => document.hidden || look(), 15000);
  }

  /* --- pages kept, for the page that stands in for one that is not ------------------------------- */
  const shelf = document.querySelector("[data-kept-pages]");
  if (shelf && "caches" in window) {
    caches.open("loadstock-pages").then(async (pages) => {
      const kept = (await pages.keys()).map((request) => new URL(request.url)).filter((url) => !url.pathname.startsWith("/__"));
      kept.forEach((url) => {
        const item = document.createElement("li");
        item.append(Object.assign(document.createElement("a"), { href: url.pathname + url.search, textContent: url.pathname + url.search }));
        shelf.append(item);
      });
    });
  }

  /* --- a code from the camera page into its field ------------------------------------------------ */
  const KEY = "loadstock-scan";
  const codeIn = (text) => (text.includes(":") ? text.split(":")[1] : text).trim().toUpperCase();
  const put = (field, text) => {
    if (field.matches("select")) {
      const option = [...field.options].find((one) => one.dataset.code && [text.trim().toUpperCase(), codeIn(text)].includes(one.dataset.code.toUpperCase()));
      if (!option) return false;
      field.value = option.value;
    } else field.value = text;
    ["input", "change"].forEach((kind) => field.dispatchEvent(new Event(kind, { bubbles: true })));
    field.focus();
    return true;
  };
  document.addEventListener("click", (event) => {
    const button = event.target.closest("[data-scan-into]");
    if (!button) return;
    event.preventDefault();
    const form = button.closest("form");
    const typed = form ? [...form.elements].filter((field) => field.id && field.type !== "hidden").map((field) => [field.id, field.type === "checkbox" ? field.checked : field.value]) : [];
    const back = location.pathname + location.search;
    sessionStorage.setItem(KEY, JSON.stringify({ back, into: button.dataset.scanInto, typed }));
    location.assign(button.getAttribute("href") || scan);
  });
  const handBack = () => {
    const asked = JSON.parse(sessionStorage.getItem(KEY) || "null");
    if (!asked || asked.back !== location.pathname + location.search) return;
    sessionStorage.removeItem(KEY);
    asked.typed.forEach(([id, value]) => {
      const field = document.getElementById(id);
      if (field && field.type === "checkbox") field.checked = value;
      else if (field) field.value = value;
    });
    const field = document.getElementById(asked.into);
    if (!field || !asked.code || put(field, asked.code)) return;
    const says = Object.assign(document.createElement("p"), { className: "wrong", textContent: `${asked.code} is none of those to choose from here.` });
    says.setAttribute("role", "alert");
    field.after(says);
  };
  handBack();
  document.querySelectorAll("[data-scan-into][hidden]").forEach((button) => (button.hidden = !scan));
})();
