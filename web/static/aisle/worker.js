// The service worker. The server puts VERSION, PAGES (address: its stand-in without the server) and FILES ahead of it.
// It caches only files of the application and pages that hold nothing of anybody's; never a redirect.
/* global VERSION, PAGES, FILES */
const NAME = `aisle-${VERSION}`;
const AWAY = "/aisle/away";
const PATIENCE = 4000; // milliseconds a page of the aisle may take before its stand-in is shown
const DOWN = 30_000; // milliseconds for which a server that did not answer is believed to be out of reach
const HURRY = 700; // patience while it is
const standIns = new Set(); // pages that were answered from here: their files come from here too, of one version
let down = 0; // moment until which the server is believed to be out of reach

self.addEventListener("install", (event) => event.waitUntil(fill().then(() => self.skipWaiting())));
self.addEventListener("activate", (event) => event.waitUntil(tidy().then(() => self.clients.claim())));
self.addEventListener("fetch", (event) => {
  const { method, mode, url } = event.request;
  const { origin, pathname, search } = new URL(url);
  if (method !== "GET" || origin !== location.origin) return;
  if (mode === "navigate") event.respondWith(page(event, pathname));
  else if (FILES.includes(pathname) && !search) event.respondWith(file(event, pathname));
});

async function fill() {
  const cache = await caches.open(NAME);
  const wanted = [...FILES, ...new Set(Object.values(PAGES)), AWAY];
  await Promise.all(wanted.map(async (path) => {
    const answer = await fetch(path, { cache: "no-cache", redirect: "error" });
    if (answer.status !== 200) throw new Error(`${path}: ${answer.status}`); // then this version is not installed
    await cache.put(path, answer);
  }));
}

async function tidy() {
  for (const name of await caches.keys()) if (name !== NAME && name.startsWith("aisle-")) await caches.delete(name);
}

const stored = (path) => caches.open(NAME).then((cache) => cache.match(path, { ignoreVary: true }));

/** Ask the server for a time; throws when it does not answer. */
async function asked(request, patience) {
  const late = patience && new Promise((_done, failed) => setTimeout(failed, patience, new Error("late")));
  try {
    const answer = await Promise.race([fetch(request), ...(late ? [late] : [])]);
    down = 0;
    return answer;
  } catch (error) {
    down = Date.now() + DOWN;
    throw error;
  }
}

/** Whether a verdict's page is of something this phone judged itself: it can show its own then. */
async function judgedHere(pathname) {
  const number = Number(/^\/check\/(\d+)$/.exec(pathname)?.[1]);
  if (!number) return false;
  try {
    const database = await new Promise((done, failed) => {
      const asked = indexedDB.open("sourcing-aisle");
      asked.onupgradeneeded = () => asked.transaction.abort(); // it is the pages that make it
      asked.onerror = () => failed(asked.error);
      asked.onsuccess = () => done(asked.result);
    });
    const items = await new Promise((done, failed) => {
      const asked = database.transaction("items").objectStore("items").getAll();
      asked.onerror = () => failed(asked.error);
      asked.onsuccess = () => done(asked.result);
    }).finally(() => database.close());
    return items.some(({ what, target }) => what.kind === "check" && target === number);
  } catch {
    return false; // nothing was kept
  }
}

async function page(event, pathname) {
  const standIn = PAGES[pathname] ?? ((await judgedHere(pathname)) ? PAGES["/"] : undefined);
  try {
    return await asked(event.request, standIn && (Date.now() < down ? HURRY : PATIENCE));
  } catch (error) {
    const answer = await stored(standIn ?? AWAY);
    if (!answer) throw error;
    standIns.add(event.resultingClientId);
    return answer;
  }
}

async function file(event, pathname) {
  const here = await stored(pathname);
  if (here && (standIns.has(event.clientId) || Date.now() < down)) return here;
  try {
    return await asked(event.request, here && PATIENCE);
  } catch (error) {
    if (here) return here;
    throw error;
  }
}
