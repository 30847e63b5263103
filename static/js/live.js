// Hears that something changed, with one event stream for all tabs of this browser: a browser opens six connections to a
// host, and a stream holds one for as long as the page is open.

/**
 * Calls `told(entry)` whenever something changed: with the entry's id, or "" where it may be anything. It is "" when the
 * stream opens, since nobody told what happened between the page's making and then.
 * Calls `fresh(ok)` when the stream opens or breaks.
 */
export function hear(url, told, fresh = () => {}) {
  if (typeof SharedWorker === "function") {
    const worker = new SharedWorker(new URL("./stream.js", import.meta.url), { name: "witnessmark" });
    worker.port.onmessage = ({ data }) => (data.changed === undefined ? fresh(data.open) : told(data.changed));
    worker.port.postMessage({ hear: url });
    addEventListener("pagehide", () => worker.port.postMessage({ leave: url }));
    // Come back to with the back button, a page may be as it was left: it listens again, and looks.
    addEventListener("pageshow", ({ persisted }) => persisted && worker.port.postMessage({ hear: url }));
    return;
  }
  // Without a shared worker only the tab in front listens; it looks once when it comes to the front.
  let stream = null;
  const turn = () => {
    if (document.hidden) {
      stream?.close();
      stream = null;
    } else if (!stream) {
      stream = new EventSource(url);
      stream.addEventListener("changed", (event) => told(event.data === "all" ? "" : event.data));
      stream.addEventListener("open", () => {
        fresh(true);
        told("");
      });
      stream.addEventListener("error", () => fresh(false));
    }
  };
  document.addEventListener("visibilitychange", turn);
  turn();
}
