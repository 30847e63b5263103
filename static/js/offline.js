// Pages that work without signal: the worker keeps what was opened. Over plain http a browser has none, and nothing is lost by it.

const PAGES = "pages-1";

/** Takes away what is kept of this part of the site: pages, and the mark up to which they are kept. */
export async function forget() {
  const part = location.pathname.split("/").slice(0, 3).join("/");
  const pages = await caches.open(PAGES);
  for (const kept of await pages.keys()) if (kept.url.startsWith(location.origin + part)) await pages.delete(kept);
  for (const name of Object.keys(localStorage)) if (name.includes(part.split("/")[2])) localStorage.removeItem(name);
}

// Who lets this device go leaves nothing on it.
for (const form of document.querySelectorAll("form[action$='/sign-out']")) {
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
