// Serves pages where there is no signal. VERSION and ASSETS, keep.js and shelf.js stand above this file: the server writes them
// there.
//
// A page that was opened is put on the shelf, and shown when the network does not answer in time. What is sent is the page's
// own business, which knows how to keep it and when to say that it arrived.

const FILES = `static-${VERSION}`;
/** How long the network may take where there is a kept page, in milliseconds: a weak signal is worse than none. */
const SIGNAL_MS = 4000;
/** How often the page without signal tries again by itself, in seconds. */
const AGAIN_S = 5;

self.addEventListener("install", (event) => {
  const install = async () => {
    const kept = await caches.open(FILES);
    await kept.addAll(ASSETS);
    // Last: a version is here once all of it is.
    await kept.put(files(VERSION), new Response(""));
    await self.skipWaiting();
  };
  event.waitUntil(install());
});

self.addEventListener("activate", (event) => {
  const activate = async () => {
    // A kept page and its files live and die together. The version before this one stays for pages that are open just now.
    const needed = await programs();
    const old = (await caches.keys()).filter((name) => name.startsWith("static-") && name !== FILES);
    const over = old.slice(0, -1).filter((name) => !needed.has(name.slice("static-".length)));
    // Pages of before the shelf say neither whose they are nor when they end.
    await Promise.all([...over, "pages-1"].map((name) => caches.delete(name)));
  };
  event.waitUntil(activate().catch(() => {}).then(() => self.clients.claim()));
});

// Whenever the worker starts: nobody has to open a page for what is over to go.
sweep().catch(() => {});

/** Parts whose pages were answered since the worker started. */
const seen = new Set();

/**
 * This device is let in no more: it shows nothing more of this part, and every open page of it is loaded again. `but` are the ids
 * of pages that are being answered just now.
 */
async function leave(part, isKnown, but = []) {
  const had = await forget(part);
  if (!seen.delete(part) && !had && !isKnown) return;
  const open = await self.clients.matchAll({ type: "window", includeUncontrolled: true });
  for (const page of open) {
    const url = new URL(page.url);
    if (partOf(url.pathname) !== part || but.includes(page.id)) continue;
    // Not every browser lets a worker do it; then the page does.
    url.hash = "";
    page.navigate(url.href).catch(() => page.postMessage({ leave: part }));
  }
}

self.addEventListener("message", (event) => {
  const { keep = [], leave: part, isLeaving, post } = event.data ?? {};
  // A sign-off whose page is being left. It is kept until a page hears the server's answer: here it is only sent.
  if (post) event.waitUntil(fetch(post.path, post).catch(() => {}));
  if (part) event.waitUntil(leave(part, true, isLeaving ? [event.source.id] : []));
  const puts = [];
  const get = (path) => freshen(event, new Request(path, { credentials: "same-origin" }), () => true, puts).catch(() => {});
  const done = Promise.all(keep.map(get)).then(() => Promise.all(puts));
  event.waitUntil(done.then(() => event.ports[0]?.postMessage("kept")));
});

const isPage = ({ pathname, searchParams }) =>
  partOf(pathname) && !/\/(live|photos|sign-out|keep)(\/|$)|\.(json|csv|ics)$/.test(pathname) && !searchParams.has("part");

/** Asks the network, and keeps a good answer: `puts` has when. `isShown` tells whether a kept page was shown meanwhile. */
async function freshen(event, request, isShown = () => true, puts = []) {
  const asked = Date.now();
  const answer = await fetch(request);
  const url = new URL(request.url);
  const tag = tagOf(answer);
  if (tag) {
    keepClock(tag.now);
    seen.add(tag.part);
  }
  // A page that answers about one car would be shown as the whole later, however old.
  const isWhole = !answer.redirected && !url.searchParams.has("number");
  if (tag && isWhole) puts.push(keepPage(answer.clone(), tag, url.pathname, asked));
  event.waitUntil(Promise.all(puts));
  if (answer.status === 404) event.waitUntil(dropPage(url.pathname).catch(() => {}));
  if (answer.status === 401) {
    const own = isShown() ? [] : [event.clientId, event.resultingClientId];
    await leave(partOf(url.pathname), false, request.mode === "navigate" ? own : []).catch(() => {});
  }
  return answer;
}

/** A page without its files is no page. No room to keep it: the answer is as good. */
async function keepPage(answer, tag, path, asked) {
  try {
    if (await filesAreHere(tag.program)) await putPage(tag, path, await pageFrom(answer, tag, asked));
  } catch {
    // The shelf says what it holds.
  }
}

const NO_SIGNAL = `<!doctype html><html lang="en"><meta charset="utf-8"><title>No signal</title>
<meta name="viewport" content="width=device-width,initial-scale=1"><meta http-equiv="refresh" content="${AGAIN_S}"><h1>No signal</h1>
<p>This page is not kept on this device: it was not opened here before, or its time is over. It opens by itself once there is signal.
Nothing that was typed is lost.</p>`;
const noSignal = () => new Response(NO_SIGNAL, { status: 503, headers: { "content-type": "text/html; charset=utf-8" } });

async function page(event, url) {
  const kept = await pageOf(url.pathname).catch(() => null);
  let isShown = false;
  const network = freshen(event, event.request, () => isShown);
  if (!kept) return network.catch(noSignal);
  const show = () => {
    isShown = true;
    return kept;
  };
  const late = new Promise((resolve) => setTimeout(() => resolve(null), SIGNAL_MS));
  event.waitUntil(network.catch(() => {}));
  return (await Promise.race([network.catch(show), late])) ?? show();
}

async function asset(request) {
  const kept = await caches.match(request).catch(() => undefined);
  if (kept) return kept;
  const answer = await fetch(request);
  const isOurs = new URL(request.url).pathname.startsWith(`/static/${VERSION}/`);
  const copy = answer.clone();
  if (answer.ok && isOurs) await caches.open(FILES).then((kept) => kept.put(request, copy)).catch(() => {});
  return answer;
}

self.addEventListener("fetch", (event) => {
  const { request } = event;
  const url = new URL(request.url);
  if (request.method !== "GET" || url.origin !== location.origin) return;
  // A script that wants news and nothing kept says so.
  if (request.mode !== "navigate" && request.cache === "no-store") return;
  if (url.pathname.startsWith("/static/")) event.respondWith(asset(request));
  else if (isPage(url)) event.respondWith(page(event, url));
});
