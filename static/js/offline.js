// Pages that work without signal: the worker keeps what was opened. Over plain http a browser has none, and nothing is lost by it.

const PAGES = "pages-1";

/** Takes away what is kept of this part of the site: pages, and the mark up to which they are kept. */
export async function forget() {
  const part = location.pathname.split("/").slice(0, 3).join("/");
  const pages = await caches.open(PAGES);
  for (const kept of await pages.keys()) if (kept.url.startsWith(location.origin + part)) await pages.delete(kept);
  // What waits to be sent lies beside them in a browser without a database: that is not ours to take away.
  const ofPages = (name) => /^(gate|grid) /.test(name) && name.includes(part.split("/")[2]);
  for (const name of Object.keys(localStorage).filter(ofPages)) localStorage.removeItem(name);
}

// Who lets this device go leaves nothing on it. A driver is asked first, by driver.js: something may be on this device only.
for (const form of document.querySelectorAll("form[action$='/sign-out']:not([data-let-go])")) {
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
  } catch {
    // A browser that refuses workers still has the pages with signal.
  }
}
