// Whose page at the gate this is. A page says it: the link's id and its holder's name; nothing here guesses.
import { isAnothers as ask, partOf } from "./shelf.js";

/** How long this is remembered where no worker hears the event's own end, in milliseconds. */
const LEFT_MS = 7 * 86_400_000;

const main = document.querySelector("main");

/** Whose page this is, as the server wrote it; null on a page of an older program. */
export const holder = main?.dataset.maker ? { link: main.dataset.maker, name: main.dataset.makerName } : null;

/** Whether somebody else came in here since this page was made: then nothing may be signed on it. */
export async function isAnothers() {
  if (!holder) return false;
  const made = Number(main.dataset.made);
  return ask({ part: partOf(location.pathname), link: holder.link, now: made, at: made, until: made + LEFT_MS });
}

/** Whether this person made it. What an older program kept names nobody, and goes as it did then. */
export const isOf = (item, link) => !item.maker || item.maker.link === link;

/** "your", or "R. Holt's": what another person made is never called yours. */
export const whose = (item, link) => (isOf(item, link) ? "your" : `${item.maker.name}'s`);
