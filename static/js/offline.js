// Pages that work without signal: the worker keeps what was opened. Over plain http a browser has none, and nothing is lost by it.

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
