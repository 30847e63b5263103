// Pages that work without signal, and what becomes of them when this device signs out or is let in no more. Over plain http a
// browser has no worker, and nothing is lost by it.
import { forget, partOf, sweep, sweepTexts } from "./shelf.js";

const here = partOf(location.pathname);
const worker = navigator.serviceWorker;

/** Whether this page signs out just now: it knows where it goes. */
let isGoing = false;

/** The server says that this device is let in no more: every page of this part goes, the open ones too. */
export async function leave() {
  if (isGoing) return;
  if (worker?.controller) return worker.controller.postMessage({ leave: here });
  await forget(here);
  location.reload();
}
worker?.addEventListener("message", ({ data }) => data?.leave === here && location.reload());

/**
 * Signs this device out: `before` runs once the server can be reached and before the device is out. Gives whether it is out;
 * without signal nothing changes, since the cookie is the server's to take.
 */
export async function signOut(form, before = async () => {}) {
  try {
    await fetch("/alive", { cache: "no-store", signal: AbortSignal.timeout(8000) });
    await before();
    isGoing = true;
    await fetch(form.action, { method: "POST", redirect: "manual", signal: AbortSignal.timeout(8000) });
  } catch {
    isGoing = false;
    return false;
  }
  await forget(here);
  // Other tabs of this part go as well.
  worker?.controller?.postMessage({ leave: here, isLeaving: true });
  location.assign("/");
  return true;
}

// Where something may be on this device only, the page's own script asks first.
for (const form of document.querySelectorAll("form[action$='/sign-out']:not([data-asks])")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    if (await signOut(form)) return;
    const said = form.querySelector("[role=alert]") ?? form.appendChild(document.createElement("p"));
    said.className = "trouble";
    said.setAttribute("role", "alert");
    said.textContent = "No signal: this device is still signed in. Sign out where there is signal.";
  });
}

/** How long the worker may take to fetch what it is asked for, in milliseconds. */
const KEPT_MS = 30_000;

/** Has the worker keep the page that is open, and `more`: it resolves once these are as they are now, or cannot be had. */
export async function offline(more = []) {
  sweepTexts().catch(() => {});
  if (!worker) return sweep().catch(() => {});
  try {
    await worker.register("/sw.js");
    const { active } = await worker.ready;
    const { port1, port2 } = new MessageChannel();
    const kept = new Promise((resolve) => (port1.onmessage = resolve));
    active.postMessage({ keep: [location.pathname, ...more] }, [port2]);
    // A browser that is short of room throws away what it was not asked to keep.
    navigator.storage?.persist?.().catch(() => {});
    // A worker of the version before says nothing.
    if (more.length > 0) await Promise.race([kept, new Promise((resolve) => setTimeout(resolve, KEPT_MS))]);
  } catch {
    // A browser that refuses workers still has the pages with signal.
  }
}
