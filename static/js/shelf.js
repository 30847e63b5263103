// A shelf on this device: things by name, safe across a reload and a dead battery. IndexedDB where there is one, else local storage.

const NAME = "witnessmark";
const TABLE = "shelf";
let opened = null;

function open() {
  opened ??= new Promise((resolve) => {
    if (!window.indexedDB) return resolve(null);
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(TABLE);
    asked.onsuccess = () => resolve(asked.result);
    // A browser that keeps nothing in private windows still has local storage for as long as the window is open.
    asked.onerror = asked.onblocked = () => resolve(null);
  });
  return opened;
}

async function inTable(mode, act) {
  const db = await open();
  if (!db) return undefined;
  return new Promise((resolve, reject) => {
    // "strict": on the disc before it is said to be kept.
    const deal = db.transaction(TABLE, mode, { durability: "strict" });
    const asked = act(deal.objectStore(TABLE));
    deal.oncomplete = () => resolve(asked.result ?? null);
    deal.onerror = deal.onabort = () => reject(deal.error);
  });
}

/** Puts a thing on the shelf, over what was there under this name. */
export async function put(name, thing) {
  if ((await inTable("readwrite", (table) => table.put(thing, name))) === undefined) {
    localStorage.setItem(`${TABLE} ${name}`, JSON.stringify(thing));
  }
}

/** Takes a thing off the shelf. */
export async function drop(name) {
  if ((await inTable("readwrite", (table) => table.delete(name))) === undefined) localStorage.removeItem(`${TABLE} ${name}`);
}

/** Everything whose name begins like this, in the order of the names. */
export async function all(begin) {
  const span = window.IDBKeyRange?.bound(begin, `${begin}\uffff`);
  const found = span && (await inTable("readonly", (table) => table.getAll(span)));
  if (found !== undefined) return found;
  const names = Object.keys(localStorage).filter((name) => name.startsWith(`${TABLE} ${begin}`));
  return names.sort().map((name) => JSON.parse(localStorage.getItem(name)));
}
