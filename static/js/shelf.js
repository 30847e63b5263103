// The shelf: what this device keeps of one part of the site (/gate/EVENT, /grid/EVENT) has an owner. A page says whose it is, the
// link's id and its holder's name; nothing here guesses.
import { forget, partOf } from "./offline.js";

const NAME = `owner ${partOf(location.pathname)}`;
const main = document.querySelector("main");

/** Whose page this is, as the server wrote it; null on a page of an older program. */
export const holder = main?.dataset.maker ? { link: main.dataset.maker, name: main.dataset.makerName } : null;

/** Who came in last on this device, as far as its pages have told. */
export function lastIn() {
  try {
    return JSON.parse(localStorage.getItem(NAME));
  } catch {
    return null;
  }
}

/** Whether somebody else came in here since this page was made: then nothing may be signed on it. */
export function isAnothers() {
  const known = lastIn();
  if (!holder) return false;
  const made = Number(main.dataset.made);
  if (known && known.link !== holder.link && known.at > made) return true;
  try {
    localStorage.setItem(NAME, JSON.stringify({ ...holder, at: Math.max(made, known?.at ?? 0) }));
  } catch {
    // A device without room tells two people apart by what the server answers.
  }
  return false;
}

/** Whether this person made it. What an older program kept names nobody, and goes as it did then. */
export const isOf = (item, link) => !item.maker || item.maker.link === link;

/** "your", or "R. Holt's": what another person made is never called yours. */
export const whose = (item, link) => (isOf(item, link) ? "your" : `${item.maker.name}'s`);

/**
 * Signs this device out. `before` runs once the server can be reached and before the device is out.
 * Gives whether it is out; without signal nothing changes, since the cookie is the server's to take.
 */
export async function signOut(form, before = async () => {}) {
  try {
    await fetch("/alive", { cache: "no-store", signal: AbortSignal.timeout(8000) });
    await before();
    await fetch(form.action, { method: "POST", redirect: "manual", signal: AbortSignal.timeout(8000) });
  } catch {
    return false;
  }
  await forget();
  location.assign("/");
  return true;
}
