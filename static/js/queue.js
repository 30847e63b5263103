// What waits to be sent: areas as they were typed, photos, and the sheet itself, in that order. It stays on the device until the
// server has said that it has it, and the page says how much waits.
//
// The server knows what it has: an area by its content, photo and sheet by the device's id. So all may be sent again.
import { all, change, drop, isFleeting, put } from "./keep.js";

const box = document.querySelector("[data-queue]");
/** The address of the driver's sheet: `/my/...`. */
export const entry = box?.dataset.queue;
export const areaKey = (path) => `area ${path}`;
export const sendKey = `send ${entry}`;
export const sentKey = `sent ${entry}`;

/** How long an answer may take, in milliseconds; a photo is larger. */
const ANSWER = 15_000;
const PHOTO = 90_000;
/** Pauses between two tries, in seconds. */
const PAUSES = [5, 10, 20, 40, 60];

/** What was typed in the moment in which a page was left: there was no time for the database. */
const last = (path) => `last ${path}`;

export function keepLast(path, begun) {
  try {
    localStorage.setItem(last(path), JSON.stringify({ ...begun, at: Date.now() }));
  } catch {
    // A browser without local storage loses what was typed within the last moment before a page is left.
  }
}

/** What the pages before this one could keep in haste only is put to the rest, before anything is read. */
export const landed = (async () => {
  let names = [];
  try {
    names = Object.keys(localStorage).filter((name) => name.startsWith(last(`${entry}/`)));
  } catch {
    return;
  }
  for (const name of names) {
    const begun = JSON.parse(localStorage.getItem(name));
    // A battery that dies may bring back what local storage had before: what was typed since counts.
    const { now, at } = begun;
    const join = (kept) => (kept?.at > at ? kept : { ...begun, ...kept, now, at, clean: false, why: null });
    await change(areaKey(begun.path), join);
    localStorage.removeItem(name);
  }
})();

let isLeft = false;
/** Whether something waits that no store had room for: it is gone with this page. */
let isOnlyHere = false;
export const holdsOnlyHere = () => isOnlyHere;
addEventListener("beforeunload", (event) => {
  // The browser asks; whoever stays goes on as before.
  if (isOnlyHere) event.preventDefault();
  else isLeft = true;
});

/** Goes on by itself, but never against the person: who has tapped on something else is on the way there. */
export function go(to) {
  if (isLeft) return;
  isLeft = true;
  if (to) location.assign(to);
  else location.reload();
}

// A browser may keep a page that was left for the way back (Firefox), and with it the lock that the page had or asked for at that
// moment. No other page would ever get it. So a page that is left gives it back, and does nothing more until it is shown again.
let leaving = new AbortController();
addEventListener("pagehide", () => leaving.abort());
addEventListener("pageshow", ({ persisted }) => {
  if (!persisted) return;
  leaving = new AbortController();
  isLeft = false;
  flush();
});

/** Does this in one tab at a time. */
async function alone(deed) {
  if (!navigator.locks) return deed();
  const { signal } = leaving;
  const left = () => new Promise((resolve) => signal.addEventListener("abort", resolve, { once: true }));
  try {
    await navigator.locks.request("witnessmark queue", { signal }, () => signal.aborted || Promise.race([deed(), left()]));
  } catch (error) {
    if (!signal.aborted) throw error;
  }
  if (signal.aborted) throw new NoAnswer();
}

let told = () => {};
let done = () => {};
let failed = false;
let tries = 0;
let due = null;

/** Everything of this sheet that the server has not. */
export async function waiting() {
  await landed;
  const [areas, photos, [send = null]] = await Promise.all([all(`area ${entry}/`), all(`photo ${entry} `), all(sendKey)]);
  return { areas: areas.filter((area) => !area.clean), photos, send, notes: areas.filter((area) => area.note) };
}

class NoAnswer extends Error {}

async function post(path, body, headers, patience = ANSWER) {
  const { signal } = leaving;
  let answer;
  try {
    answer = await fetch(path, {
      method: "POST",
      headers: { accept: "application/json", ...headers },
      body,
      redirect: "manual",
      signal: AbortSignal.timeout?.(patience),
    });
  } catch {
    throw new NoAnswer();
  }
  // Another page may have sent it meanwhile, and more.
  if (signal.aborted) throw new NoAnswer();
  if (answer.status === 401) {
    // All is kept here, and goes when its driver opens the link again: nothing of it is told to whoever has this device now.
    (await import("./offline.js")).leave();
    throw new NoAnswer();
  }
  // A server that is busy or being started is no refusal either.
  if (answer.status >= 500 || answer.status === 408 || answer.status === 429) throw new NoAnswer();
  return answer;
}

/** Why something was refused, in the server's words. */
async function why(answer) {
  try {
    const { title, error, mend = null } = await answer.json();
    return { why: title ?? `${error[0].toUpperCase()}${error.slice(1)}.`, mend };
  } catch {
    return { why: `The server refused it (${answer.status}).` };
  }
}

async function sendArea(path) {
  const key = areaKey(path);
  for (;;) {
    // What is under way is sent again before anything newer: the server may have it, and its answer may be lost.
    const area = await change(key, (kept) => kept && { ...kept, sending: kept.clean ? null : (kept.sending ?? kept.now) });
    if (!area || area.clean) return;
    const body = `${area.sending}&_was=${encodeURIComponent(area.was)}`;
    const answer = await post(path, body, { "content-type": "application/x-www-form-urlencoded" });
    if (!answer.ok && answer.status !== 409) {
      const because = await why(answer);
      await change(key, (kept) => kept && { ...kept, sending: null, ...because });
      return;
    }
    const said = await answer.json();
    const after = await change(key, (kept) => {
      if (!kept) return null;
      const old = [...kept.old, kept.was].filter((was) => was !== said.was).slice(-40);
      const both = said.both?.length ? said.both : null;
      const clean = !both && kept.now === area.sending;
      return { ...kept, was: said.was, old, both, clean, sending: null, why: null, note: said.elsewhere ?? kept.note };
    });
    told("area", area, said);
    // What was typed since goes too, even where the driver has to choose: all else of it is kept.
    if (!after || after.clean || (after.both && after.now === area.sending)) return;
  }
}

async function sendPhoto(photo) {
  const form = new FormData();
  form.append("id", photo.id);
  form.append("photo", photo.file, "photo.jpg");
  const answer = await post(photo.action, form, {}, PHOTO);
  if (answer.ok || answer.type === "opaqueredirect") {
    await drop(`photo ${entry} ${photo.id}`);
    told("photo", photo);
  } else {
    const because = await why(answer);
    await change(`photo ${entry} ${photo.id}`, (kept) => kept && { ...kept, ...because });
  }
}

async function sendSheet({ id, seen, edition, made_at }) {
  const body = JSON.stringify({ id, seen: seen ? seen.split(",") : [], edition, made_at });
  const answer = await post(`${entry}/submissions`, body, { "content-type": "application/json" });
  if (answer.ok) {
    // First that it was sent, then that it waits no more: a crash in between sends it again, which changes nothing.
    await put(sentKey, { id, seen });
    await change(sendKey, (kept) => (kept?.id === id ? null : kept));
    told("sent");
  } else {
    const because = await why(answer);
    await change(sendKey, (kept) => (kept?.id === id ? { ...kept, ...because } : kept));
  }
}

async function sendAll(tapped) {
  // What was refused waits for the driver, not for the next try.
  const open = (one) => tapped || !(one.why || one.both);
  for (const area of (await waiting()).areas.filter(open)) await sendArea(area.path);
  for (const photo of (await waiting()).photos.filter(open)) await sendPhoto(photo);
  const { areas, photos, send } = await waiting();
  if (send && open(send) && !areas.length && !photos.length) await sendSheet(send);
}

let turn = Promise.resolve();

/** Sends what waits, one tab at a time. Gives whether the server answered. */
export function flush(tapped = false) {
  const round = async () => {
    clearTimeout(due);
    try {
      await alone(() => sendAll(tapped));
      failed = false;
      tries = 0;
    } catch (error) {
      if (!(error instanceof NoAnswer)) throw error;
      failed = true;
      due = setTimeout(flush, 1000 * PAUSES[Math.min(tries, PAUSES.length - 1)]);
      tries += 1;
    }
    await show();
    await done();
    return !failed;
  };
  turn = turn.then(round, round);
  return turn;
}

const count = (number, one) => (number ? [`${number} ${one}${number === 1 ? "" : "s"}`] : []);

function line(words, link = null) {
  const p = document.createElement("p");
  p.textContent = words;
  if (link) {
    const a = document.createElement("a");
    a.href = link.href;
    a.className = "do";
    a.textContent = link.name;
    p.append(" ", a);
  }
  return p;
}

/** Says what waits. While all goes well nothing is said: a line that comes and goes with every answer is noise. */
export async function show(slow = false) {
  const { areas, photos, send, notes } = await waiting();
  const lines = [];
  const keys = [...areas.map((area) => areaKey(area.path)), ...photos.map((photo) => `photo ${entry} ${photo.id}`)];
  const noRoom = "This device has no room to keep it: stay on this page until it is sent.";
  isOnlyHere = [...keys, ...(send ? [sendKey] : [])].some(isFleeting);
  const still = [...areas, ...photos].filter((one) => !one.why && !one.both);
  if (send?.why) lines.push(line(`Not sent: ${send.why}`, send.mend ?? { href: entry, name: "Open the sheet" }));
  else if (send && isFleeting(sendKey)) lines.push(line(`Not sent yet. ${noRoom}`));
  else if (send) lines.push(line("Not sent yet: the sheet goes to the gate when there is signal, with the answers as they are then."));
  const parts = [...count(still.filter((one) => one.path).length, "area"), ...count(still.filter((one) => one.id).length, "photo")];
  if (parts.length && (failed || slow || send)) {
    const many = still.length > 1;
    const where = keys.some(isFleeting) ? noRoom : "Kept on this device, not sent yet.";
    lines.push(line(`${parts.join(" and ")} ${many ? "wait" : "waits"} for signal. ${where}`));
  }
  for (const area of areas.filter((one) => one.both)) {
    lines.push(line(`${area.name}: typed on another device too (${area.both.join(", ")}).`, { href: area.path, name: "Choose" }));
  }
  for (const one of [...areas, ...photos].filter((kept) => kept.why)) {
    lines.push(line(`${one.name}: ${one.why} It is kept on this device.`, one.path ? { href: one.path, name: "See it" } : null));
  }
  for (const area of notes) lines.push(line(`${area.note}. It stands as it was typed there.`, { href: area.path, name: "See it" }));
  const place = box.querySelector("[data-waits]");
  // Told again only where it says something else: a status line is read out loud.
  if (place.textContent !== lines.map((one) => one.textContent).join("")) place.replaceChildren(...lines);
  box.querySelector("[data-try]").hidden = !(areas.length || photos.length || send);
  box.querySelector("[data-unsend]").hidden = !send;
  box.hidden = lines.length === 0;
  document.documentElement.toggleAttribute("data-no-signal", failed);
  return lines.length;
}

/** Begins: sends what is left from before, and again whenever there may be signal. `on` hears what the server took,
 * `after` when a round is over. */
export function begin(on, after = done) {
  told = on;
  done = after;
  box.querySelector("[data-try]").addEventListener("click", () => flush(true));
  box.querySelector("[data-unsend]").addEventListener("click", async () => {
    await drop(sendKey);
    await show();
    await done();
  });
  addEventListener("online", () => flush());
  document.addEventListener("visibilitychange", () => flush());
  setTimeout(() => show(true), 3000);
  return flush();
}
