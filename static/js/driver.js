// The driver's first page: says when the gate has done something, sends the sheet with signal and without, and has this device
// keep every area so that it opens anywhere.
import { all, drop, get, newId, put } from "./keep.js";
import { tellWhenOld } from "./news.js";
import { offline, signOut } from "./offline.js";
import { held, note } from "./shelf.js";
import { begin, entry, flush, go, sendKey, sentKey, waiting } from "./queue.js";
import { askWhatFollows } from "./when.js";

const main = document.querySelector("main[data-seen]");
let took = false;

tellWhenOld(() => (document.querySelector(".news").hidden = false));

/**
 * What waits on this device is said where the page would say something else: an area that is typed here is not "12 left", and a
 * sheet that waits, or was sent since this page was made, is not offered to be sent once more.
 */
async function sayWhatIsHere() {
  const { areas, send: sheet } = await waiting();
  const isOld = (await get(sentKey))?.seen === main.dataset.seen;
  for (const form of document.querySelectorAll("form[data-send]")) form.hidden = isOld || Boolean(sheet && !sheet.why);
  document.querySelector("[data-sent]").hidden = !isOld;
  for (const { path } of areas) {
    const at = document.querySelector(`.areas a[href="${path}"] .at`);
    if (at) at.textContent = "on this device";
  }
}

/** The server may know less of the sheet than this device: whether it is whole is seen when it arrives. */
async function offerToSend() {
  const later = document.querySelector("[data-send-later]");
  if (!later || !(await waiting()).areas.length) return;
  later.replaceWith(later.content);
  for (const form of document.querySelectorAll("form[data-send]")) form.onsubmit = send;
}

async function send(event) {
  event.preventDefault();
  const { seen, edition } = event.target.elements;
  // The tap makes the record: however often it is sent, it is this one.
  await put(sendKey, { id: newId(), seen: seen.value, edition: edition.value, made_at: new Date().toISOString() });
  await flush(true);
}

/** Has this device keep the areas that it has not, or has as they were before: typed further on another device, raised to another
 * edition, or of an older program. */
async function keepAll() {
  if (!navigator.serviceWorker) return;
  const links = [...document.querySelectorAll(".areas a"), ...document.querySelector("[data-maybe]").content.querySelectorAll("a")];
  const marks = new Map(links.map((link) => [new URL(link.href, location.href).pathname, link.dataset.mark]));
  const of = `${main.dataset.edition} ${import.meta.url}`;
  const known = (await held(entry))?.record;
  const isFresh = (path) => known?.of === of && known.marks[path] === marks.get(path);
  const missing = async () => {
    const there = new Set((await held(entry))?.paths);
    return [...marks.keys()].filter((path) => !there.has(path));
  };
  await offline([...new Set([...(await missing()), ...[...marks.keys()].filter((path) => !isFresh(path))])]);
  for (let look = 0; look < 60; look += 1) {
    if (!(await missing()).length) {
      // Without room for the note all is fetched once more, the next time.
      await note(entry, { of, marks: Object.fromEntries(marks) }).catch(() => {});
      document.querySelector("[data-ready]").hidden = false;
      return;
    }
    await new Promise((resolve) => setTimeout(resolve, 500));
  }
}

/** Signs out: nothing of this sheet stays on the device. */
async function leave(event) {
  event.preventDefault();
  const { areas, photos, send: sheet } = await waiting();
  const left = areas.length + photos.length + (sheet ? 1 : 0);
  if (left && !confirm("Something of this sheet is on this device only and would be lost. Sign out all the same?")) return;
  const isOut = await signOut(event.target, async () => {
    for (const area of await all(`area ${entry}/`)) await drop(`area ${area.path}`);
    for (const photo of photos) await drop(`photo ${entry} ${photo.id}`);
    for (const key of [sendKey, sentKey]) await drop(key);
  });
  if (!isOut) alert("No signal: this device is still signed in, and nothing was taken away. Sign out where there is signal.");
}

for (const form of document.querySelectorAll("form[data-send]")) form.onsubmit = send;
document.querySelector("[data-asks]").addEventListener("submit", leave);

/** What the server took changes what this page says. Nothing is typed here that could be lost by it. */
async function renew() {
  await sayWhatIsHere();
  const { areas, photos, send: sheet } = await waiting();
  const goes = (one) => !one.both && !one.why;
  if (took && ![...areas, ...photos, ...(sheet ? [sheet] : [])].some(goes)) go();
}
askWhatFollows();
await offerToSend();
await sayWhatIsHere();
await begin(() => (took = true), renew);
await keepAll();
