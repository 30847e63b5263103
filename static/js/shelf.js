// The shelf: what this device keeps of a part of the site (/my/ENTRY, /my/garage/GARAGE, /gate/EVENT, /grid/EVENT), for the pages
// and for the worker that serves them without signal.
//
// A part has one record: whose it is (the link), until when copies of pages and lists may stay here, until when what was never
// sent may, and up to which mark the pages are whole. Pages and record change in one transaction, so neither outlives the other,
// and `forget` takes both. Where another person's answer comes, all that the person before left of that part goes first.
import { get, put, storeOf, withinUnsent } from "./keep.js";

const { within: onShelf } = storeOf("witnessmark shelf");

/** The part of the site that a path lies in; null outside of all. */
export const partOf = (path) => path.match(/^\/(?:gate|grid|my\/garage|my)\/[0-9a-f-]{36}(?=\/|$)/)?.[0] ?? null;

/** What an answer says of its keeping (src/web/keep.rs); null where it may not be kept. */
export function tagOf(answer) {
  const words = answer.headers.get("x-keep");
  if (!words) return null;
  const tag = Object.fromEntries(words.split(" ").map((word) => word.split("=")));
  for (const name of ["now", "until", "unsent"]) tag[name] = Number(tag[name]);
  return tag;
}

// A phone's clock may be hours or years off, and is only trusted to go on evenly: what counts is how far the server's was ahead
// when an answer came last. A page and the worker each tell it by their own clock; a page that has heard none takes the worker's
// word on what is over.
const WORKERS = "clock of the worker";
const CLOCK = typeof document === "undefined" ? WORKERS : "clock";
let ahead = null;
let workers = null;

/** Resolves once the clock that was heard last is known. */
export async function readClock() {
  if (ahead !== null) return;
  const kept = await get(CLOCK);
  workers = (await get(WORKERS))?.ahead ?? null;
  ahead ??= kept?.ahead ?? null;
}

/** The time by the server's clock, as far as this device can tell, in milliseconds. */
export const now = () => Date.now() + (ahead ?? 0);

/** An answer that came just now, and no kept one, says what time it is. */
export function keepClock(time) {
  const isNews = ahead === null || Math.abs(now() - time) > 1000;
  ahead = time - Date.now();
  if (isNews) put(CLOCK, { ahead }).catch(() => {});
}

const partKey = (part) => `part ${part}`;
const pageKey = (path) => `page ${path}`;
const listKey = (part) => `list ${part}`;
const under = (begin) => IDBKeyRange.bound(begin, `${begin}\uffff`);

function clear(store, part) {
  store.delete(partKey(part));
  store.delete(listKey(part));
  store.delete(under(pageKey(part)));
}

/** In a transaction: what another person left of this part goes, then `then(record)`. */
function claim(store, tag, heard, then) {
  store.get(partKey(tag.part)).onsuccess = ({ target }) => {
    heard();
    const own = target.result?.link === tag.link ? target.result : null;
    if (!own) clear(store, tag.part);
    then({ ...own, link: tag.link, at: Math.max(tag.now, own?.at ?? 0), until: tag.until, unsent: tag.unsent });
  };
}

/** What the device keeps of an answer. `asked` tells which of two came of the later request. */
export async function pageFrom(answer, tag, asked, body = null) {
  // The body lies here unpacked, and perhaps comes out of another answer than its own.
  const headers = [...answer.headers].filter(([name]) => !/^content-(encoding|length|type)$|^transfer-encoding$/.test(name));
  headers.push(["content-type", "text/html; charset=utf-8"]);
  return { program: tag.program, asked, headers, body: body ?? (await answer.text()) };
}

/** Keeps a page, unless a later request brought one before. A clock that was put back does not hold the newer one off. */
export const putPage = (tag, path, page) =>
  onShelf("readwrite", (store, _, heard) =>
    claim(store, tag, heard, (record) => {
      store.put(record, partKey(tag.part));
      store.get(pageKey(path)).onsuccess = ({ target: { result: kept } }) => {
        const isOvertaken = kept && kept.asked > page.asked && kept.asked <= Date.now();
        if (!isOvertaken) store.put(page, pageKey(path));
      };
    }),
  );

/** How many pages one transaction writes: while it does, nobody reads. */
const AT_ONCE = 50;

/**
 * Keeps many pages, and after them the mark up to which they are whole: it never says more than is here. `all` are the paths of all
 * the cars there are, where these are all: others go.
 */
export async function putGate(tag, pages, all, mark) {
  for (let at = 0; at < pages.length; at += AT_ONCE) {
    await onShelf("readwrite", (store, _, heard) =>
      claim(store, tag, heard, (record) => {
        store.put(record, partKey(tag.part));
        for (const [path, page] of pages.slice(at, at + AT_ONCE)) store.put(page, pageKey(path));
      }),
    );
  }
  await onShelf("readwrite", (store, _, heard) =>
    claim(store, tag, heard, (record) => {
      store.put({ ...record, ...mark }, partKey(tag.part));
      if (!all) return;
      store.getAllKeys(under(pageKey(`${tag.part}/entries/`))).onsuccess = ({ target }) => {
        for (const key of target.result) if (!all.has(key.slice("page ".length))) store.delete(key);
      };
    }),
  );
}

export const putList = (tag, list) =>
  onShelf("readwrite", (store, _, heard) =>
    claim(store, tag, heard, (record) => {
      store.put(record, partKey(tag.part));
      store.put(list, listKey(tag.part));
    }),
  );

/** Notes that this person's page is open here, where no worker told it. Gives whether another came in since it was made. */
export async function isAnothers(tag) {
  const look = (store, said, heard) => {
    store.get(partKey(tag.part)).onsuccess = ({ target: { result: had } }) => {
      heard();
      said.is = Boolean(had) && had.link !== tag.link && had.at > tag.now;
      if (!had) store.put(tag, partKey(tag.part));
    };
  };
  // A device without room tells two people apart by what the server answers.
  return (await onShelf("readwrite", look).catch(() => null))?.is ?? false;
}

/** Notes more of a part that is kept here. */
export const note = (part, more) =>
  onShelf("readwrite", (store, _, heard) => {
    store.get(partKey(part)).onsuccess = ({ target: { result: record } }) => {
      heard();
      if (record) store.put({ ...record, ...more }, partKey(part));
    };
  });

const files = (program) => `/static/${program}/whole`;

/** Whether the scripts and styles of a version of the program are all on this device. */
export const filesAreHere = async (program) => Boolean(await caches.match(files(program)));

/** Where no clock was ever heard, nothing is said to be over. */
const isOver = (end) => (ahead ?? workers) !== null && end <= Date.now() + (ahead ?? workers);
const hasEnded = (record) => isOver(record.until);

/** What is kept of a part and not over: its record, its list, the paths of its pages; null where there is nothing. */
export async function held(part) {
  await readClock();
  const look = (store, said, heard) => {
    store.get(partKey(part)).onsuccess = ({ target }) => {
      heard();
      said.record = target.result;
    };
    store.get(listKey(part)).onsuccess = ({ target }) => (said.list = target.result ?? null);
    store.getAllKeys(under(pageKey(part))).onsuccess = ({ target }) => (said.paths = target.result.map((key) => key.slice(5)));
  };
  const said = await onShelf("readonly", look).catch(() => null);
  return said?.record && !hasEnded(said.record) ? said : null;
}

/** A kept page as an answer, with the headers that it came with; null where there is none, it is over, or its files are gone. */
export async function pageOf(path) {
  await readClock();
  const look = (store, said, heard) => {
    store.get(partKey(partOf(path))).onsuccess = ({ target }) => {
      heard();
      said.record = target.result;
    };
    store.get(pageKey(path)).onsuccess = ({ target }) => (said.page = target.result);
  };
  const { record, page } = (await onShelf("readonly", look)) ?? {};
  if (!record || !page || hasEnded(record) || !(await filesAreHere(page.program))) return null;
  return new Response(page.body, { headers: page.headers });
}

export const dropPage = (path) => onShelf("readwrite", (store, _, heard) => (store.delete(pageKey(path)).onsuccess = heard));

/**
 * Takes away all copies that are kept of a part, and gives whether there were any. What was made here and not sent stays: it has
 * its maker's name on it, or is the driver's own words, and ends by itself.
 */
export async function forget(part) {
  const take = (store, said, heard) => {
    store.getKey(partKey(part)).onsuccess = ({ target }) => {
      heard();
      said.had = target.result !== undefined;
      clear(store, part);
    };
  };
  return (await onShelf("readwrite", take).catch(() => null))?.had ?? false;
}

/** The versions of the program that kept pages are of. */
export async function programs() {
  const found = new Set();
  const look = (store, _, heard) => {
    store.openCursor(under("page ")).onsuccess = ({ target: { result: cursor } }) => {
      heard();
      if (!cursor) return;
      found.add(cursor.value.program);
      cursor.continue();
    };
  };
  await onShelf("readonly", look);
  return found;
}

const UNSENT = ["area", "photo", "send", "sent", "sign-off", "undone"];
/** How long what was never sent stays where no answer has said it, in milliseconds. */
const UNSENT_MS = 60 * 86_400_000;

/** The part of a name of something that was made here: `area /my/ENTRY/areas/x`, `sign-off EVENT ID`. */
const partOfName = (name) => partOf(name.replace(/^(sign-off|undone) /, "$1 /gate/").split(" ")[1] ?? "");

/** Takes away what is over: copies of parts that have ended, and what nobody can send any more. */
export async function sweep() {
  await readClock();
  const ends = new Map();
  await onShelf("readwrite", (store, _, heard) => {
    store.openCursor(under("part ")).onsuccess = ({ target: { result: cursor } }) => {
      heard();
      if (!cursor) return;
      const part = cursor.key.slice("part ".length);
      ends.set(part, cursor.value.unsent);
      if (hasEnded(cursor.value)) clear(store, part);
      cursor.continue();
    };
  });
  await withinUnsent("readwrite", (store, _, heard) => {
    for (const kind of UNSENT) {
      store.openCursor(under(`${kind} `)).onsuccess = ({ target: { result: cursor } }) => {
        heard();
        if (!cursor) return;
        const { value, key } = cursor;
        const end = value.ends ?? ends.get(partOfName(key)) ?? now() + UNSENT_MS;
        if (isOver(end)) cursor.delete();
        else if (!value.ends) cursor.update({ ...value, ends: end });
        cursor.continue();
      };
    }
  });
}

/** The same for what a page put into local storage, which the worker does not see. */
export async function sweepTexts() {
  await readClock();
  for (const name of Object.keys(localStorage)) {
    // Names of before the shelf.
    if (/^(gate|grid|owner) /.test(name) || name === "clock") localStorage.removeItem(name);
    if (!/^(kept|last) /.test(name)) continue;
    const value = JSON.parse(localStorage.getItem(name));
    if (isOver(value.ends)) localStorage.removeItem(name);
    else if (!value.ends) localStorage.setItem(name, JSON.stringify({ ...value, ends: now() + UNSENT_MS }));
  }
}
