// Keeps the whole gate on this device: every car's page, those never opened too, fresh while there is signal.
import { leave } from "./offline.js";
import { filesAreHere, held, keepClock, pageFrom, partOf, putGate, tagOf } from "./shelf.js";

const part = partOf(location.pathname);
/** How long pages of a new version wait for its files, in looks of half a second. */
const LOOKS = 120;

/**
 * Fetches what changed since last time and puts it where the worker finds it. Gives the time of the news, or null without signal.
 * One after the other, in all tabs: an answer that is overtaken would put an older page over a newer one.
 */
export async function keepGate(link) {
  if (!navigator.serviceWorker) return null;
  const act = () => keep(link).catch(() => null);
  return navigator.locks ? navigator.locks.request(`pages ${part}`, act) : act();
}

/** What this device holds of the gate: `here` of `cars`, as of `at` by the event's clock. */
export async function heldCars() {
  const it = await held(part);
  const here = it?.paths.filter((path) => path.startsWith(`${part}/entries/`)).length ?? 0;
  return { ...it?.record, here };
}

/** The files of a new version come with its worker, in a moment. */
async function files(program) {
  for (let look = 0; look < LOOKS; look += 1) {
    if (await filesAreHere(program)) return true;
    await new Promise((resolve) => setTimeout(resolve, 500));
  }
  return false;
}

async function keep(link) {
  const had = await heldCars();
  // Where pages are missing the mark says too much: all come anew.
  const mark = had.link === link && had.here >= had.cars ? had.mark : "";
  const asked = Date.now();
  const answer = await fetch(`${part}/pages.json?mark=${encodeURIComponent(mark)}`, { cache: "no-store" });
  if (answer.status === 401) await leave();
  const tag = tagOf(answer);
  if (!answer.ok || !tag) return null;
  const news = await answer.json();
  keepClock(news.as_of);
  // The lane comes last: it names no car whose page is not here.
  const lane = await fetch(part, { cache: "no-store", headers: { accept: "text/html" } });
  if (!lane.ok || lane.redirected || !(await files(tag.program))) return null;
  const pages = news.pages.map(async ({ path, html }) => [path, await pageFrom(answer, tag, asked, html)]);
  pages.push(pageFrom(lane, tag, asked).then((page) => [part, page]));
  const { whole, as_of, at, cars } = news;
  const all = whole ? new Set(news.pages.map(({ path }) => path)) : null;
  await putGate(tag, await Promise.all(pages), all, { mark: news.mark, as_of, at, cars });
  return as_of;
}
