// Serves pages where there is no signal. VERSION and ASSETS stand above this file: the server writes them there.
//
// A page that was opened is kept, and shown when the network does not answer in time. Nothing that was sent goes through here:
// what is sent is the page's own business, which knows how to keep it and when to say that it arrived.

const STATIC = `static-${VERSION}`;
const PAGES = "pages-1";
/** How long the network may take where there is a kept page, in milliseconds: a weak signal is worse than none. */
const PATIENCE = 4000;

self.addEventListener("install", (event) => {
  event.waitUntil(
    caches
      .open(STATIC)
      .then((kept) => kept.addAll(ASSETS))
      .then(() => self.skipWaiting()),
  );
});

self.addEventListener("activate", (event) => {
  event.waitUntil(
    (async () => {
      // A kept page names the scripts of its own version: the version before this one stays, so that no old page is stranded.
      const old = (await caches.keys()).filter((name) => name.startsWith("static-") && name !== STATIC);
      await Promise.all(old.slice(0, -1).map((name) => caches.delete(name)));
      await self.clients.claim();
    })(),
  );
});

self.addEventListener("message", (event) => {
  const paths = event.data?.keep ?? [];
  event.waitUntil(Promise.all(paths.map((path) => freshen(new Request(path, { credentials: "same-origin" })).catch(() => {}))));
});

const isPage = (path) =>
  /^\/(my|gate|grid|my\/garage)\/[0-9a-f-]{36}/.test(path) && !/\/(live|photos|sign-out|keep)(\/|$)|\.(json|csv)$/.test(path);
const keyOf = (url) => url.origin + url.pathname;

/** Asks the network, and keeps a good answer. Who is let in no more keeps no page either. */
async function freshen(request) {
  const answer = await fetch(request);
  const url = new URL(request.url);
  // A page that answers about one car would be shown as the whole later, however old.
  const isWhole = !["part", "number"].some((name) => url.searchParams.has(name));
  try {
    const pages = await caches.open(PAGES);
    if (answer.ok && !answer.redirected && isWhole) await pages.put(keyOf(url), answer.clone());
    if (answer.status === 404) await pages.delete(keyOf(url));
    if (answer.status === 401) await forget(pages, url);
  } catch {
    // No room to keep it: the answer is as good.
  }
  return answer;
}

/** Takes away every page of this part of the site: a phone that was let go, lost perhaps, shows nothing more of it. */
async function forget(pages, url) {
  const part = url.origin + url.pathname.split("/").slice(0, 3).join("/");
  for (const kept of await pages.keys()) if (kept.url.startsWith(part)) await pages.delete(kept);
}

const NO_SIGNAL = `<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width,initial-scale=1">
<title>No signal</title><h1>No signal</h1><p>This page was not opened on this device before, so it is not kept here. Go back, or try again
where there is signal. Nothing that was typed is lost.</p>`;

async function page(request) {
  const url = new URL(request.url);
  const kept = await caches.open(PAGES).then((pages) => pages.match(keyOf(url))).catch(() => undefined);
  const network = freshen(request);
  if (!kept) {
    return network.catch(
      () => new Response(NO_SIGNAL, { status: 503, headers: { "content-type": "text/html; charset=utf-8" } }),
    );
  }
  const late = new Promise((resolve) => setTimeout(resolve, PATIENCE, kept));
  return Promise.race([network.catch(() => kept), late]);
}

async function asset(request) {
  const kept = await caches.match(request).catch(() => undefined);
  if (kept) return kept;
  const answer = await fetch(request);
  const copy = answer.clone();
  if (answer.ok) await caches.open(STATIC).then((files) => files.put(request, copy)).catch(() => {});
  return answer;
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  if (url.pathname.startsWith("/static/")) event.respondWith(asset(request));
  else if (isPage(url.pathname) && !url.searchParams.has("part")) event.respondWith(page(request));
});
