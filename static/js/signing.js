// Sign-offs on their way: each is on the device before it is sent, goes as often as it must, and counts once. For ten seconds it
// can be undone; then it goes. One that the rule does not let stand comes back to its maker with the reason.
import { isOf } from "./holder.js";
import { all, change, drop, isFleeting, put } from "./keep.js";

/** How long a sign-off can be undone before it is sent, in milliseconds. */
export const UNDO = 10_000;

const nameOf = (item) => `sign-off ${item.path.split("/")[2]} ${item.id}`;
/** Says, beside the database, that one was sent in the moment in which its page was left. */
const outOf = ({ id }) => `out ${id}`;

const seenBy = (item) => new URLSearchParams(item.fields).get("seen");

/** The time in milliseconds by a clock that nobody puts back: pages of one browser agree on it. */
const steady = () => performance.timeOrigin + performance.now();

const isOut = (item) => {
  try {
    return localStorage.getItem(outOf(item)) !== null;
  } catch {
    return false;
  }
};

/** What a sign-off that is made now carries: until when it can be undone. */
export const fromNow = () => ({ until: steady() + UNDO });

/** How long it can still be undone, in milliseconds; 0 where it goes. A clock that jumped back makes nothing wait longer. */
export function leftOf(item) {
  const left = (item.until ?? 0) - steady();
  return item.going || left > UNDO || isOut(item) ? 0 : Math.max(0, left);
}

/** What was signed after another that waits comes after it, whatever this device's clock said. */
function inOrder(items) {
  const left = [...items];
  const ordered = [];
  while (left.length > 0) {
    const next = left.findIndex((item) => !left.some((other) => other.id === seenBy(item)));
    ordered.push(...left.splice(Math.max(next, 0), 1));
  }
  return ordered;
}

/** What waits in this event, in the order in which it was signed; what was refused waits for a person. */
export const waiting = async (event) => inOrder(await all(`sign-off ${event} `));

/** Other tabs of this browser are told of every change. */
const tabs = window.BroadcastChannel ? new BroadcastChannel("sign-offs") : null;
/** Calls `told` when another tab kept, undid or sent something. */
export const hearTabs = (told) => tabs?.addEventListener("message", ({ data }) => told(data));

/** Keeps one on this device. Gives whether it outlasts this page. */
export async function keep(item) {
  await put(nameOf(item), item);
  tabs?.postMessage({});
  return !isFleeting(nameOf(item));
}

/** Changes one that is kept, and nothing else of it: the worker and other tabs change it too. */
async function alter(item, more) {
  await change(nameOf(item), (kept) => kept && { ...kept, ...more });
  tabs?.postMessage({});
}

export async function putAway(item) {
  await drop(nameOf(item));
  await drop(undoneName(item));
  try {
    localStorage.removeItem(outOf(item));
  } catch {
    // Then nothing was put there.
  }
  tabs?.postMessage({});
}

/** What this page undid or sent before its ten seconds were over: a list from before does not know of it. */
const over = new Set();

/** Takes one back that was not sent yet. Gives whether it did: Undo does not reach what has begun to go. */
export async function undo(item) {
  let taken = null;
  await change(nameOf(item), (kept) => {
    taken = kept && leftOf(kept) > 0 ? kept : null;
    if (taken) over.add(item.id);
    return taken ? null : kept;
  });
  if (taken) await put(undoneName(taken), taken);
  tabs?.postMessage({});
  return taken !== null;
}

const undoneName = (item) => nameOf(item).replace("sign-off", "undone");

/** The sign-offs that were undone: the page that each was made on puts it back into its form. */
export const undone = (event) => all(`undone ${event} `);

/** Ends the ten seconds of these. */
export async function hurry(items) {
  for (const item of items.filter((item) => leftOf(item) > 0)) {
    over.add(item.id);
    await change(nameOf(item), (kept) => kept && { ...kept, until: 0 });
  }
}

/** What the server recorded lately for this tab, the newest last. It ends with the tab. */
const NOTES = "recorded";
const MOST_NOTES = 5;

export function recorded() {
  try {
    return JSON.parse(sessionStorage.getItem(NOTES)) ?? [];
  } catch {
    return [];
  }
}

function note({ id, number, deed, maker, path, isDirect }, at) {
  const one = { id, number, deed, at, link: maker?.link, event: path.split("/")[2], when: steady(), isDirect };
  keepNote(one);
  tabs?.postMessage(one);
}

function keepNote(one) {
  try {
    const others = recorded().filter((other) => other.id !== one.id);
    sessionStorage.setItem(NOTES, JSON.stringify([...others, one].slice(-MOST_NOTES)));
  } catch {
    // The board has it.
  }
}

hearTabs((told) => told.at && keepNote(told));

const asJson = { accept: "application/json", "content-type": "application/x-www-form-urlencoded" };

/**
 * Sends one; "sent", "waits", "refused" or "another's": somebody else than its maker is signed in. Nobody is told "sent" but by
 * the server. What is refused stays on the device with its words.
 */
export async function send(item, patience = 8000) {
  let answer;
  let { fields } = item;
  try {
    // The photos first: a sign-off names only what is there. Sent twice, a photo is there once.
    for (const photo of item.photos ?? []) {
      const form = new FormData();
      form.append("id", photo.id);
      form.append("photo", photo.file, "photo.jpg");
      const path = item.path.replace("/sign-offs", "/photos");
      const taken = await fetch(path, { method: "POST", body: form, signal: AbortSignal.timeout(patience * 4) });
      // A device that was ended adds no photo, but its hold counts: it goes without.
      if (taken.status === 401 && item.deed === "hold") {
        fields = new URLSearchParams(fields);
        fields.delete("photos");
        break;
      }
      if (!taken.ok) return await unsent(item, taken);
    }
    answer = await fetch(item.path, {
      method: "POST",
      headers: asJson,
      body: fields.toString(),
      signal: AbortSignal.timeout(patience),
    });
  } catch {
    return "waits";
  }
  return answered(item, answer);
}

async function answered(item, answer) {
  if (!answer.ok) return unsent(item, answer);
  const { at } = await answer.json().catch(() => ({}));
  note(item, at ?? "");
  await putAway(item);
  return "sent";
}

/** What becomes of one that the server did not take: what may pass with time waits, all else is for a person. */
async function unsent(item, answer) {
  // Its maker may come in here again: until then it waits.
  if (answer.status === 412) return "another's";
  // Nobody is signed in here; where a device was ended, its clears are refused with 403.
  if (answer.status === 401) return "waits";
  if (answer.status >= 500 || answer.status === 408 || answer.status === 429) return "waits";
  const said = await answer.json().catch(() => ({}));
  await alter(item, { refused: said.error ?? "The server did not take it." });
  return "refused";
}

/**
 * What was signed after one that is refused says that it has seen it. It is in no history, and a car whose history names a record
 * that never comes could not be cleared again: what the refused one had seen stands there instead.
 */
async function passOver(refused, items) {
  for (const item of items.filter((item) => seenBy(item) === refused.id)) {
    const fields = new URLSearchParams(item.fields);
    fields.set("seen", seenBy(refused));
    item.fields = fields.toString();
    await alter(item, { fields: item.fields });
  }
}

/** What waits of one person and may go: nothing that was refused, can be undone, or was left here when they signed out. */
export const mayGo = (items, link) =>
  items.filter((item) => !item.refused && !item.aside && isOf(item, link) && leftOf(item) === 0);

/** Signed out or in again: what waits of this person is left here until they come back, or goes on. */
export async function setAside(event, link, aside) {
  for (const item of (await waiting(event)).filter((item) => item.maker?.link === link)) await alter(item, { aside });
}

/** From here on it is on its way. Gives null where it was undone in another tab meanwhile. */
async function begins(item) {
  if (!item.until) return item;
  return change(nameOf(item), (kept) => kept && { ...kept, going: true });
}

/** Sends all that waits of one person, one after the other, from one tab at a time. Gives how many were sent. */
export async function sendAll(event, link) {
  const act = async () => {
    let sent = 0;
    const items = mayGo(await waiting(event), link);
    for (const item of items) {
      const going = await begins(item);
      if (!going) continue;
      const end = await send(going);
      if (end === "waits") break;
      if (end === "refused") await passOver(item, items);
      sent += end === "sent" ? 1 : 0;
    }
    return sent;
  };
  return navigator.locks ? navigator.locks.request(`sign-offs ${event}`, act) : act();
}

/**
 * Sends what is in its ten seconds while its page is left: nobody knows whether a timer runs once a phone is in a pocket. The
 * browser finishes the request though the page is gone; its answer is heard by the next page, which sends the same once more.
 * Gives what it could not send so.
 */
export function sendLeaving(items) {
  const left = [];
  for (const item of items.filter((item) => leftOf(item) > 0 && !over.has(item.id))) {
    // What rests on another goes after it, and photos are too heavy for a request that outlives its page.
    let isHeavy = item.photos?.length > 0 || items.some((other) => other.id === seenBy(item));
    try {
      if (!isHeavy) localStorage.setItem(outOf(item), "");
    } catch {
      // Where nothing can be noted at once, Undo could reach what has gone.
      isHeavy = true;
    }
    if (isHeavy) {
      left.push(item);
      continue;
    }
    const worker = navigator.serviceWorker?.controller;
    const post = { method: "POST", headers: asJson, body: item.fields };
    // Where there is a worker it outlives the page for sure; a request of the page, passed on by the worker, is lost at times.
    if (worker) worker.postMessage({ post: { path: item.path, ...post } });
    else fetch(item.path, { ...post, keepalive: true }).then((answer) => answered(item, answer)).catch(() => {});
  }
  return left;
}
