// Sign-offs on their way: each is on the device before it is sent, goes as often as it must, and counts once. One that the rule
// does not let stand comes back to its maker with the reason.
import { all, drop, isFleeting, put } from "./keep.js";
import { isOf } from "./holder.js";

const nameOf = (item) => `sign-off ${item.path.split("/")[2]} ${item.id}`;

const seenBy = (item) => new URLSearchParams(item.fields).get("seen");

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

/** Keeps one on this device. Gives whether it outlasts this page. */
export async function keep(item) {
  await put(nameOf(item), item);
  return !isFleeting(nameOf(item));
}

export const putAway = (item) => drop(nameOf(item));

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
      headers: { accept: "application/json", "content-type": "application/x-www-form-urlencoded" },
      body: fields.toString(),
      signal: AbortSignal.timeout(patience),
    });
  } catch {
    return "waits";
  }
  if (answer.ok) {
    await putAway(item);
    return "sent";
  }
  return unsent(item, answer);
}

/** What becomes of one that the server did not take: what may pass with time waits, all else is for a person. */
async function unsent(item, answer) {
  // Its maker may come in here again: until then it waits.
  if (answer.status === 412) return "another's";
  // Nobody is signed in here; where a device was ended, its clears are refused with 403.
  if (answer.status === 401) return "waits";
  if (answer.status >= 500 || answer.status === 408 || answer.status === 429) return "waits";
  const said = await answer.json().catch(() => ({}));
  await keep({ ...item, refused: said.error ?? "The server did not take it." });
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
    await keep(item);
  }
}

/** What waits of one person and may go: nothing that was refused, or that was left here when they signed out. */
export const mayGo = (items, link) => items.filter((item) => !item.refused && !item.aside && isOf(item, link));

/** Signed out or in again: what waits of this person is left here until they come back, or goes on. */
export async function setAside(event, link, aside) {
  for (const item of (await waiting(event)).filter((item) => item.maker?.link === link)) await keep({ ...item, aside });
}

/** Sends all that waits of one person, one after the other, from one tab at a time. Gives how many were sent. */
export async function sendAll(event, link) {
  const act = async () => {
    let sent = 0;
    const items = mayGo(await waiting(event), link);
    for (const item of items) {
      const end = await send(item);
      if (end === "waits") break;
      if (end === "refused") await passOver(item, items);
      sent += end === "sent" ? 1 : 0;
    }
    return sent;
  };
  return navigator.locks ? navigator.locks.request(`sign-offs ${event}`, act) : act();
}
