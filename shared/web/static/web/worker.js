/* The worker: pages marked data-keep-offline, and the files they need, survive a reload without network. It is told
   `self.facts` by shared/views/offline.py. What the API answers is never kept. A kept page says of what time it is;
   pages of one person go when that person signs out or another one comes. */
"use strict";

const { version, assets, offline, accounts } = self.facts;
const STATIC = self.facts.static;
const FILES = `loadstock-files-${version}`;
const PAGES = "loadstock-pages";
const USER = "/__user";
const PATIENCE_MS = 5000; /* a page that is kept is shown when the server has not answered by then */
const AWAY = [502, 503, 504];

/* --- files: named by their content, so what is kept is never old ------------------------------- */
const file = async (request) => {
  const files = await caches.open(FILES);
  const kept = await files.match(request);
  if (kept) return kept;
  const answer = await fetch(request);
  if (answer.ok) await files.put(request, answer.clone());
  return answer;
};

/* --- pages ------------------------------------------------------------------------------------- */
const filesOf = (html) => [...html.matchAll(/(?:src|href)="([^"]+)"/g)].map((found) => found[1]).filter((url) => url.startsWith(STATIC));

const keep = async (url, answer) => {
  const html = await answer.text();
  const headers = new Headers(answer.headers);
  headers.set("X-Kept-At", new Date().toISOString());
  ["Content-Encoding", "Content-Length"].forEach((name) => headers.delete(name));
  await (await caches.open(PAGES)).put(url, new Response(html, { headers }));
  await Promise.all(filesOf(html).map((one) => file(new Request(one)).catch(() => {})));
};
const usable = (answer) => answer.ok && !answer.redirected && (answer.headers.get("Content-Type") || "").startsWith("text/html");

const fetchAndKeep = async (url) => {
  const answer = await fetch(url, { credentials: "same-origin", cache: "no-store" }).catch(() => null);
  if (answer && usable(answer)) await keep(url, answer);
};

const found = async (url) => (await caches.open(PAGES)).match(url, { ignoreVary: true });

/* The kept page with the time it was kept at on its first element, for offline.js to say. */
const stamped = async (kept) => {
  const at = kept.headers.get("X-Kept-At");
  const html = (await kept.text()).replace("<html ", `<html data-as-of="${at}" `);
  return new Response(html, { headers: kept.headers });
};

const noPage = async () => (await (await caches.open(FILES)).match(offline)) || Response.error();

const page = async (event) => {
  const url = event.request.url.split("#")[0];
  const kept = await found(url);
  const answering = fetch(event.request);
  try {
    if (!kept) return await answering;
    const answer = await Promise.race([answering, new Promise((_, late) => setTimeout(() => late(new Error("late")), PATIENCE_MS))]);
    if (AWAY.includes(answer.status)) return await stamped(kept);
    if (usable(answer)) event.waitUntil(keep(url, answer.clone()));
    return answer;
  } catch {
    answering.catch(() => {}); /* it may still fail after the kept page was shown */
    return kept ? stamped(kept) : noPage();
  }
};

/* --- whose pages they are ------------------------------------------------------------------------ */
const forget = () => caches.delete(PAGES);

const belong = async (user) => {
  const pages = await caches.open(PAGES);
  const mark = await pages.match(USER);
  if (mark && (await mark.text()) === user) return;
  await forget();
  await (await caches.open(PAGES)).put(USER, new Response(user));
};

/* Signing out forgets at once, with or without network; signing in as soon as the sign-in page comes up. */
const account = async (event) => {
  const answer = await fetch(event.request).catch(() => null);
  if (answer) await forget();
  return answer || noPage();
};

/* --- events ---------------------------------------------------------------------------------------- */
self.addEventListener("install", (event) => {
  event.waitUntil(caches.open(FILES).then((files) => files.addAll(assets)).then(() => self.skipWaiting()));
});

const takeOver = async () => {
  const stale = (await caches.keys()).filter((name) => name.startsWith("loadstock-files-") && name !== FILES);
  /* Pages kept under the former version name files that are about to go: fetched anew, or they go as well. */
  const pages = await caches.open(PAGES);
  const urls = (await pages.keys()).map((request) => request.url).filter((url) => new URL(url).pathname !== USER);
  if (stale.length) {
    await Promise.all(urls.map((url) => pages.delete(url)));
    await Promise.all(urls.map(fetchAndKeep));
  }
  await Promise.all(stale.map((name) => caches.delete(name)));
  await self.clients.claim();
};
self.addEventListener("activate", (event) => event.waitUntil(takeOver()));

let turn = Promise.resolve(); /* messages one after the other: whose pages, before which */
self.addEventListener("message", (event) => {
  const { kind, user, url } = event.data;
  turn = turn.then(() => (kind === "user" ? belong(user) : kind === "keep" ? fetchAndKeep(new URL(url, self.location.origin).href) : null)).catch(() => {});
  event.waitUntil(turn);
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (url.origin !== self.location.origin) return;
  const isPage = request.mode === "navigate";
  if (isPage && url.pathname.startsWith(accounts)) {
    if (request.method === "GET") event.respondWith(account(event));
    else if (url.pathname.endsWith("/logout/")) event.waitUntil(forget());
    return;
  }
  if (request.method !== "GET") return;
  if (isPage) event.respondWith(page(event));
  else if (url.pathname.startsWith(STATIC)) event.respondWith(file(request));
});
