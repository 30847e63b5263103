// The driver's first page: says when the gate has done something, sends the sheet with signal and without, and has this device
// keep every area so that it opens anywhere.
import { all, drop, get, newId, put } from "./keep.js";
import { tellWhenOld } from "./news.js";
import { offline } from "./offline.js";
import { begin, entry, flush, sendKey, sentKey, waiting } from "./queue.js";
import { askWhatFollows } from "./when.js";

const main = document.querySelector("main[data-seen]");
let took = false;

tellWhenOld(() => (document.querySelector(".news").hidden = false));

/** A sheet that the server knows less of than this device cannot offer to be sent: this page does it for it. */
async function offerToSend() {
  const sent = await get(sentKey);
  const isOld = sent && sent.seen === main.dataset.seen;
  for (const form of document.querySelectorAll("form[data-send]")) form.hidden = isOld;
  document.querySelector("[data-sent]").hidden = !isOld;
  const later = document.querySelector("[data-send-later]");
  if (later && !isOld && (await waiting()).areas.length) later.replaceWith(later.content);
  for (const form of document.querySelectorAll("form[data-send]")) form.onsubmit = send;
}

async function send(event) {
  event.preventDefault();
  const { seen, edition } = event.target.elements;
  // The tap makes the record: however often it is sent, it is this one.
  await put(sendKey, { id: newId(), seen: seen.value, edition: edition.value, made_at: new Date().toISOString() });
  await flush(true);
}

/** Pages that this device has not, or has of another edition or an older program. */
async function keepAll() {
  if (!navigator.serviceWorker || !window.caches) return;
  const links = [...document.querySelectorAll(".areas a"), ...document.querySelector("[data-maybe]").content.querySelectorAll("a")];
  const paths = links.map((link) => new URL(link.href, location.href).pathname);
  const missing = async () => {
    const pages = await caches.open("pages-1");
    const there = await Promise.all(paths.map((path) => pages.match(location.origin + path)));
    return paths.filter((_, at) => !there[at]);
  };
  const of = `${main.dataset.edition} ${import.meta.url}`;
  const marked = await get(`pages ${entry}`);
  await offline(marked === of ? await missing() : paths);
  for (let look = 0; look < 60; look += 1) {
    if (!(await missing()).length) {
      await put(`pages ${entry}`, of);
      document.querySelector("[data-ready]").hidden = false;
      return;
    }
    await new Promise((resolve) => setTimeout(resolve, 500));
  }
}

/** Lets the device go: nothing of this sheet stays on it. */
async function letGo(event) {
  event.preventDefault();
  const { areas, photos, send: sheet } = await waiting();
  const left = areas.length + photos.length + (sheet ? 1 : 0);
  if (left && !confirm("Something of this sheet is on this device only and would be lost. Let it go all the same?")) return;
  for (const area of await all(`area ${entry}/`)) await drop(`area ${area.path}`);
  for (const photo of photos) await drop(`photo ${entry} ${photo.id}`);
  for (const key of [sendKey, sentKey, `pages ${entry}`]) await drop(key);
  if (window.caches) {
    const pages = await caches.open("pages-1");
    for (const page of await pages.keys()) if (new URL(page.url).pathname.startsWith(entry)) await pages.delete(page);
  }
  event.target.submit();
}

document.querySelector("[data-let-go]").addEventListener("submit", letGo);
await offerToSend();

/** What the server took changes what this page says. Nothing is typed here that could be lost by it. */
async function renew() {
  const { areas, photos, send: sheet } = await waiting();
  if (took && !areas.some((area) => !area.both && !area.why) && !photos.some((photo) => !photo.why) && !(sheet && !sheet.why)) location.reload();
}
askWhatFollows();
await begin(() => (took = true), renew);
await keepAll();
