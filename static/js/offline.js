// Pages that work without signal: the worker keeps what was opened. Over plain http a browser has none, and nothing is lost by it.

const PAGES = "pages-1";

/** The part of the site that a path lies in: `/gate/EVENT`. */
export const partOf = (path) => path.split("/").slice(0, 3).join("/");

/** Takes away what is kept of a part of the site: pages, and the mark up to which they are kept. */
export async function forget(part = partOf(location.pathname)) {
  const pages = await caches.open(PAGES);
  for (const kept of await pages.keys()) if (kept.url.startsWith(location.origin + part)) await pages.delete(kept);
  // What waits to be sent lies beside them in a browser without a database: that is not ours to take away.
  const ofPages = (name) => /^(gate|grid) /.test(name) && name.includes(part.split("/")[2]);
  for (const name of Object.keys(localStorage).filter(ofPages)) localStorage.removeItem(name);
}

// Who signs out leaves nothing on the device. Where something may be on this device only, the page's own script asks first.
for (const form of document.querySelectorAll("form[action$='/sign-out']:not([data-asks])")) {
  form.addEventListener("submit", async (event) => {
    if (!window.caches) return;
    event.preventDefault();
    await forget();
    form.submit();
  });
}

/** Has the worker keep the pages of this part of the site; `more` are addresses to keep beside the one that is open. */
export async function offline(more = []) {
  if (!navigator.serviceWorker) return;
  try {
    await navigator.serviceWorker.register("/sw.js");
    const { active } = await navigator.serviceWorker.ready;
    active.postMessage({ keep: [location.pathname, ...more] });
    // A browser that is short of room throws away what it was not asked to keep.
    navigator.storage?.persist?.().catch(() => {});
  } catch {
    // A browser that refuses workers still has the pages with signal.
  }
}
