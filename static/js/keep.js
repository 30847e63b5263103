// What this device keeps until the server has it: names and values, in the browser's database where there is one, else in its
// local storage. A browser that has neither keeps them for as long as the page is open.

const STORE = "kept";

const database = new Promise((resolve) => {
  try {
    const asked = indexedDB.open("witnessmark", 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE);
    asked.onsuccess = () => resolve(asked.result);
    asked.onerror = () => resolve(null);
  } catch {
    resolve(null);
  }
});

/** Whether files can be kept: local storage holds texts only. */
export const keepsFiles = database.then((db) => db !== null);

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
      if (value === null) localStorage.removeItem(`kept ${key}`);
      else localStorage.setItem(`kept ${key}`, JSON.stringify(value));
      memory.delete(key);
    } catch {
      memory.set(key, value);
    }
  },
  names: () => [...new Set([...stored().map((name) => name.slice(5)), ...memory.keys()])].filter((key) => texts.read(key) !== null),
};

/** Runs `deed` in one transaction and gives its request's result, once it is on the disc and not merely under way. */
function inStore(db, mode, deed) {
  return new Promise((resolve, reject) => {
    const done = db.transaction(STORE, mode, { durability: "strict" });
    const said = deed(done.objectStore(STORE));
    done.oncomplete = () => resolve(said.value);
    done.onerror = done.onabort = () => reject(done.error ?? new Error("this device keeps nothing more"));
  });
}

/**
 * Changes what is kept under a name, in one go: `to` is given what is there (or null) and gives what is to be there, null for
 * nothing. Two tabs that change the same thing do so one after the other.
 */
export async function change(key, to) {
  const db = await database;
  if (!db) {
    const value = to(texts.read(key)) ?? null;
    texts.write(key, value);
    return value;
  }
  return inStore(db, "readwrite", (store) => {
    const said = {};
    store.get(key).onsuccess = ({ target }) => {
      said.value = to(target.result ?? null) ?? null;
      if (said.value === null) store.delete(key);
      else store.put(said.value, key);
    };
    return said;
  });
}

export const put = (key, value) => change(key, () => value);
export const drop = (key) => change(key, () => null);

const look = (db, ask) =>
  inStore(db, "readonly", (store) => {
    const said = {};
    ask(store).onsuccess = ({ target }) => (said.value = target.result ?? null);
    return said;
  });

/** All that is kept under names that begin so, in the order of the names. */
export async function all(begin) {
  const db = await database;
  if (db) return look(db, (store) => store.getAll(IDBKeyRange.bound(begin, `${begin}\uffff`)));
  return texts.names().filter((key) => key.startsWith(begin)).sort().map(texts.read);
}

/** What is kept under a name, or null. */
export async function get(key) {
  const db = await database;
  return db ? look(db, (store) => store.get(key)) : texts.read(key);
}

/** An id that tells when it was made (UUIDv7): the same thing sent twice is recognised by it. */
export function newId(now = Date.now()) {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  for (let at = 0; at < 6; at += 1) bytes[at] = Math.floor(now / 256 ** (5 - at)) % 256;
  bytes[6] = (bytes[6] & 0x0f) | 0x70;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
}
