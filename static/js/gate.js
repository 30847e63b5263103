// Keeps the whole gate on this device: every car's page, those never opened too, fresh while there is signal.
import { keepClock } from "./age.js";
import { forget } from "./offline.js";

const PAGES = "pages-1";

/**
 * Fetches what changed since last time and puts it where the worker finds it. Gives the time of the news, or null without signal.
 * One after the other, in all tabs: an answer that is overtaken would put an older page over a newer one.
 */
export async function keepGate(event) {
  if (!window.caches) return null;
  return navigator.locks ? navigator.locks.request(`pages ${event}`, () => keep(event)) : keep(event);
}

async function keep(event) {
  const NAME = `gate ${event}`;
  const had = read(NAME);
  try {
    const answer = await fetch(`/gate/${event}/pages.json?mark=${encodeURIComponent(had.mark ?? "")}`, { cache: "no-store" });
    // Let go: a phone that was lost shows nothing more of this event.
    if (answer.status === 401) await forget();
    if (!answer.ok) return null;
    const { mark, pages, as_of } = await answer.json();
    keepClock(as_of);
    const cache = await caches.open(PAGES);
    const page = (html) => new Response(html, { headers: { "content-type": "text/html; charset=utf-8" } });
    await Promise.all(pages.map(({ path, html }) => cache.put(location.origin + path, page(html))));
    // The lane goes last: it names no car whose page is not here.
    const lane = await fetch(`/gate/${event}`, { cache: "no-store" });
    if (lane.ok && !lane.redirected) await cache.put(`${location.origin}/gate/${event}`, lane);
    localStorage.setItem(NAME, JSON.stringify({ mark, as_of }));
    return as_of;
  } catch {
    return null;
  }
}

function read(name) {
  try {
    return JSON.parse(localStorage.getItem(name)) ?? {};
  } catch {
    return {};
  }
}
