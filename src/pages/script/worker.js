// Lets the contributor's form open without signal. It keeps the form's page, its style and its
// script, and nothing else: no answer to a form, no receipt, nothing of the data interface.

// The server puts in a hash of everything that is kept from the start, and their addresses.
const VERSION = "VERSION_OF_THE_PARTS";
const PARTS = ["ADDRESSES_OF_THE_PARTS"];

const PREFIX = "tautpool-";
const CACHE = `${PREFIX}${VERSION}`;

// How long the network may take before the kept copy is shown, in milliseconds.
const PATIENCE = 3_000;

/** Whether a path is that of a study's form. */
function isForm(path) {
  return /^\/studies\/[^/]+\/send$/.test(path);
}

/** Keeps an answer to a GET, when it is what was asked for and holds no receipt. */
async function keep(address, answer) {
  if (!answer.ok || answer.redirected || answer.type !== "basic") {
    return false;
  }
  const { pathname } = new URL(address, location.origin);
  if (isForm(pathname)) {
    const field = /<input[^>]*name="receipt"[^>]*>/.exec(await answer.clone().text());
    if (field && /\svalue="[^"]/.test(field[0])) {
      return false;
    }
  }
  const cache = await caches.open(CACHE);
  await cache.put(address, answer);
  return true;
}

/** What is kept for an address; a form opened with a query falls back on the plain one. */
async function kept(address) {
  const cache = await caches.open(CACHE);
  const { pathname } = new URL(address);
  return (await cache.match(address)) ?? cache.match(pathname);
}

/** The network's answer, or after a while the kept copy; what arrives late is kept for next time. */
async function answer(event) {
  const address = event.request.url.split("#")[0];
  const fromNetwork = fetch(event.request);
  const copied = fromNetwork.then((fresh) => keep(address, fresh.clone()));
  event.waitUntil(copied.catch(() => false));
  const late = new Promise((resolve) => setTimeout(resolve, PATIENCE));
  const first = await Promise.race([fromNetwork, late]).catch(() => undefined);
  if (first && first.status < 500) {
    return first;
  }
  return (await kept(address)) ?? first ?? fromNetwork;
}

/** Takes the pages of older versions over, anew where there is network, and drops the rest. */
async function takeOver() {
  const old = (await caches.keys()).filter((name) => name.startsWith(PREFIX) && name !== CACHE);
  for (const name of old) {
    const cache = await caches.open(name);
    for (const request of await cache.keys()) {
      if (isForm(new URL(request.url).pathname)) {
        const fresh = await fetch(request.url, {
          signal: AbortSignal.timeout(PATIENCE),
        }).catch(() => undefined);
        if (!fresh || !(await keep(request.url, fresh))) {
          await keep(request.url, await cache.match(request));
        }
      }
    }
    await caches.delete(name);
  }
}

self.addEventListener("install", (event) => {
  const parts = PARTS.map((address) => new Request(address, { cache: "no-cache" }));
  event.waitUntil(
    caches
      .open(CACHE)
      .then((cache) => cache.addAll(parts))
      .then(() => self.skipWaiting()),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(takeOver().then(() => self.clients.claim()));
});

self.addEventListener("fetch", (event) => {
  const { method, url } = event.request;
  const { origin, pathname } = new URL(url);
  if (method === "GET" && origin === location.origin) {
    if (isForm(pathname) || PARTS.includes(pathname)) {
      event.respondWith(answer(event));
    }
  }
});

// A page asks for itself to be kept, because its first visit came before the worker.
self.addEventListener("message", (event) => {
  const path = event.data?.keep;
  if (typeof path === "string" && isForm(path)) {
    const done = fetch(path)
      .then((fresh) => keep(new URL(path, location.origin).href, fresh))
      .catch(() => kept(new URL(path, location.origin).href))
      .then((found) => event.ports[0]?.postMessage(found ? "kept" : "not kept"));
    event.waitUntil(done);
  }
});
