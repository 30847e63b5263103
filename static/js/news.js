// Keeps a part of the page as it is on the server: on "changed" it fetches the part anew and puts it in place.
import { hear } from "./live.js";

/** What is on the server now, and nothing that is kept. */
const LATEST = { headers: { accept: "text/html" }, cache: "no-store" };

/** This device was ended: no page of it stays. */
const letGo = async () => (await import("./offline.js")).leave();

/** `after` runs whenever the part was replaced. */
export function keepNews(after = () => {}) {
  const main = document.querySelector("[data-live][data-news]");
  const place = document.querySelector("[data-news-here]");
  if (!main || !place) return;
  let due = null;
  let again = false;
  let busy = false;
  const look = async () => {
    due = null;
    if (busy) {
      again = true;
      return;
    }
    busy = true;
    try {
      const url = new URL(main.dataset.news, location.href);
      for (const [name, value] of new URLSearchParams(location.search)) url.searchParams.set(name, value);
      url.searchParams.set("part", "news");
      const answer = await fetch(url, LATEST);
      if (answer.status === 401) await letGo();
      if (answer.ok) {
        const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
        const part = fresh.querySelector("[data-news-here]") ?? fresh.body;
        place.replaceChildren(...part.childNodes);
        after();
      }
      stale(!answer.ok);
    } catch {
      stale(true);
    } finally {
      busy = false;
      if (again) {
        again = false;
        soon();
      }
    }
  };
  // Many records may arrive at once, when a phone comes back into signal: one look serves them all.
  const soon = () => (due ??= setTimeout(look, 150));
  const stale = (old) => document.querySelectorAll("[data-stale]").forEach((mark) => (mark.hidden = !old));
  hear(main.dataset.live, soon, (open) => stale(!open));
}

/** Calls `old()` once the page that is shown is no longer the newest: such a page does not change under the reader's eyes. */
export function tellWhenOld(old) {
  const main = document.querySelector("main[data-live][data-seen]");
  if (!main) return;
  const look = async () => {
    try {
      const answer = await fetch(main.querySelector(".news a").href, LATEST);
      if (answer.status === 401) await letGo();
      if (!answer.ok) return;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (page.querySelector("main[data-seen]")?.dataset.seen !== main.dataset.seen) old();
    } catch {
      // No connection: the stream has the page look again when it is back.
    }
  };
  // A driver's stream tells of no other car, so its page need not name its own.
  const heard = (entry) => (entry === "" ? look() : (main.dataset.entry ?? entry) === entry && old());
  // Where the stream breaks, this device may have been ended.
  hear(main.dataset.live, heard, (open) => open || look());
}
