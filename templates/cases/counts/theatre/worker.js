/* The service worker of the counting pages. It keeps the shell and nothing else: pages, answers and data about cases
   always come from the server, or from what the page itself keeps while a case is open. */

const SHELL = {{ shell|safe }};
const KEPT = "trayspan-shell-{{ version }}";
const PREFIX = "trayspan-shell-";
/** A network that gives no answer for so long is as good as none. */
const PATIENCE_MS = 4000;

self.addEventListener("install", (event) => {
  event.waitUntil(
    caches
      .open(KEPT)
      .then((kept) => kept.addAll([SHELL.page, ...SHELL.parts].map((url) => new Request(url, { cache: "reload" }))))
      .then(() => self.skipWaiting()),
  );
});

self.addEventListener("activate", (event) => {
  const old = (name) => name.startsWith(PREFIX) && name !== KEPT;
  event.waitUntil(
    caches
      .keys()
      .then((names) => Promise.all(names.filter(old).map((name) => caches.delete(name))))
      .then(() => self.clients.claim()),
  );
});

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== self.location.origin) return;
  if (request.mode === "navigate") {
    if (address.pathname.startsWith(SHELL.scope)) event.respondWith(fromNetwork(request, SHELL.page));
  } else if (SHELL.parts.includes(address.pathname)) {
    event.respondWith(fromNetwork(request, address.pathname));
  }
});

/** The network's answer; where there is none in time, what is kept. */
async function fromNetwork(request, kept) {
  let patience;
  const tooLong = new Promise((_, reject) => {
    patience = setTimeout(reject, PATIENCE_MS, new Error("no answer"));
  });
  const answer = fetch(request);
  try {
    return await Promise.race([answer, tooLong]);
  } catch {
    return (await caches.match(kept, { cacheName: KEPT })) ?? answer;
  } finally {
    clearTimeout(patience);
  }
}
