// What this device keeps until the server has it: names and values, in the browser's database where there is one that answers and
// has room, else in its local storage. Where neither has, it is kept for as long as the page is open, and the page is told so.

const STORE = "kept";
/** How long a database may take to answer, in milliseconds: some open and never do. */
const PATIENCE = 2000;

/**
 * A database of this browser: one store of names and values. `within` runs `deed` on it in one transaction and gives what that put
 * into `said`, once it is on the disc and not merely under way; null where there is no such database. `deed` calls `heard` with the
 * first answer.
 */
export function storeOf(database) {
  let isDumb = false;
  const opened = new Promise((resolve) => {
    setTimeout(resolve, PATIENCE, null);
    try {
      const asked = indexedDB.open(database, 1);
      asked.onupgradeneeded = () => asked.result.createObjectStore(STORE);
      asked.onsuccess = () => resolve(asked.result);
      asked.onerror = () => resolve(null);
    } catch {
      resolve(null);
    }
  });
  const run = (db, mode, deed) =>
    new Promise((resolve, reject) => {
      const done = db.transaction(STORE, mode, { durability: "strict" });
      const said = {};
      const late = setTimeout(() => {
        isDumb = true;
        reject(new Error("this browser's database does not answer"));
        done.abort?.();
      }, PATIENCE);
      deed(done.objectStore(STORE), said, () => clearTimeout(late));
      done.oncomplete = () => resolve(said);
      done.onerror = done.onabort = () => {
        clearTimeout(late);
        reject(done.error ?? new Error("this device keeps nothing more"));
      };
    });
  const within = async (mode, deed) => {
    const db = isDumb ? null : await opened;
    return db && run(db, mode, deed);
  };
  return { opened, within };
}

/** What was made here and not sent yet: apart from copies of pages, whose writing may take a while. */
const { opened, within: withinUnsent } = storeOf("witnessmark");
export { withinUnsent };

/** Whether files can be kept: local storage holds texts only. */
export const keepsFiles = opened.then((db) => db !== null);

const memory = new Map();
const stored = () => {
  try {
    return Object.keys(localStorage).filter((name) => name.startsWith("kept "));
  } catch {
    // A browser that is told to keep nothing says so by failing.
    return [];
  }
};
const texts = {
  read(key) {
    if (memory.has(key)) return memory.get(key);
    return stored().includes(`kept ${key}`) ? JSON.parse(localStorage.getItem(`kept ${key}`)) : null;
  },
  write(key, value) {
    try {
      // A file would be lost in a text.
      if (value?.photos?.length || value?.file) throw new Error("a file");
      if (value === null) localStorage.removeItem(`kept ${key}`);
      else localStorage.setItem(`kept ${key}`, JSON.stringify(value));
      memory.delete(key);
    } catch {
      memory.set(key, value);
    }
  },
  names: () => [...new Set([...stored().map((name) => name.slice(5)), ...memory.keys()])].filter((key) => texts.read(key) !== null),
};

/** Whether this lasts only as long as the page is open: the device had no room for it. */
export const isFleeting = (key) => (memory.get(key) ?? null) !== null;

/**
 * Changes what is kept under a name, in one go: `to` is given what is there (or null) and gives what is to be there, null for
 * nothing. Two tabs that change the same thing do so one after the other.
 */
export async function change(key, to) {
  const turn = (store, said, heard) => {
    store.get(key).onsuccess = ({ target }) => {
      heard();
      said.value = to(texts.read(key) ?? target.result ?? null) ?? null;
      if (said.value === null) store.delete(key);
      else store.put(said.value, key);
    };
  };
  // Full, or dumb: local storage has room of its own.
  const done = await withinUnsent("readwrite", turn).catch(() => null);
  if (done) {
    texts.write(key, null);
    return done.value;
  }
  const value = to(texts.read(key) ?? (await stands(key))) ?? null;
  texts.write(key, value);
  return value;
}

export const put = (key, value) => change(key, () => value);
export const drop = (key) => change(key, () => null);

/** What the database has under a name, or null. */
async function stands(key) {
  const look = (store, said, heard) => {
    store.get(key).onsuccess = ({ target }) => {
      heard();
      said.value = target.result ?? null;
    };
  };
  return (await withinUnsent("readonly", look).catch(() => null))?.value ?? null;
}

/** All that is kept under names that begin so, in the order of the names. */
export async function all(begin) {
  const found = new Map();
  const look = (store, said, heard) => {
    const range = IDBKeyRange.bound(begin, `${begin}\uffff`);
    store.getAllKeys(range).onsuccess = ({ target }) => {
      heard();
      said.keys = target.result;
    };
    store.getAll(range).onsuccess = ({ target }) => (said.values = target.result);
  };
  const { keys = [], values } = (await withinUnsent("readonly", look).catch(() => null)) ?? {};
  keys.forEach((key, at) => found.set(key, values[at]));
  // What the database had no room for is the newer.
  for (const key of texts.names()) if (key.startsWith(begin)) found.set(key, texts.read(key));
  return [...found.keys()].sort().map((key) => found.get(key));
}

/** What is kept under a name, or null. */
export const get = async (key) => texts.read(key) ?? stands(key);

/** An id that tells when it was made (UUIDv7): the same thing sent twice is recognised by it. */
export function newId(now = Date.now()) {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  for (let at = 0; at < 6; at += 1) bytes[at] = Math.floor(now / 256 ** (5 - at)) % 256;
  bytes[6] = (bytes[6] & 0x0f) | 0x70;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}
