// One car at the gate: Clear stays shut until the checks are made on this page, and a page that is old says so.
import { ago, now, readClock } from "./age.js";
import { tellWhenOld } from "./news.js";
import { keepsFiles, newId } from "./keep.js";
import { holder, isAnothers, isOf, whose } from "./holder.js";
import { drawn, shrunk } from "./shrink.js";
import { fromNow, hearTabs, keep, leftOf, putAway, send, sendAll, undone, waiting } from "./signing.js";
import { count as countSeconds } from "./undo.js";

const main = document.querySelector("main[data-number]");

const form = document.querySelector("[data-sign-off]");
const clear = form.querySelector(".clear");
const left = form.querySelector("[data-left]");
const news = document.querySelector(".news");
const nothingSent = clear.disabled;
const event = location.pathname.split("/")[2];

function count() {
  const unticked = [...form.querySelectorAll("[data-must]")].filter((box) => !box.checked);
  // A finding that was measured is closed by the inspector's own reading, or by a sentence.
  const texts = (own) => [...own.querySelectorAll("input:not([type=hidden])")];
  const unsaid = [...form.querySelectorAll("[data-either]")].filter((own) => texts(own).every((text) => !text.value.trim()));
  const open = unticked.length + unsaid.length;
  left.textContent = nothingSent ? "nothing sent" : !news.hidden ? "look again first" : open ? `${open} to check` : "";
  clear.disabled = nothingSent || open > 0 || !news.hidden;
}

form.addEventListener("change", count);
form.addEventListener("input", count);
// A hold needs its reason: the first tap opens the field, the second sends.
form.querySelector(".hold").addEventListener("click", (event) => {
  if (form.reason.value.trim() === "") {
    event.preventDefault();
    form.querySelector("#why").open = true;
    form.reason.focus();
  }
});
/** Photos taken on this page; they go with the sign-off. */
const photos = [];
const MOST_PHOTOS = 4;
const taking = form.querySelector("[data-photos]");
keepsFiles.then((can) => (taking.hidden = !can));
/** Photos that are being made smaller: a sign-off waits for them. */
let adding = Promise.resolve();
taking.querySelector("input").addEventListener("change", ({ target }) => {
  const files = [...target.files];
  target.value = "";
  const over = photos.length + files.length - MOST_PHOTOS;
  const add = async () => {
    for (const file of files.slice(0, MOST_PHOTOS - photos.length)) await showPhoto({ id: newId(), file: await shrunk(file) });
    sayPhotos(over > 0 ? `. ${MOST_PHOTOS} at most: ${over} not added` : "");
  };
  adding = adding.then(add, add);
});

/** Shows one small, with a way to take it off again. */
async function showPhoto(photo) {
  photos.push(photo);
  const off = Object.assign(document.createElement("button"), { type: "button", className: "quiet", textContent: "Take off" });
  const shown = document.createElement("li");
  off.addEventListener("click", () => {
    photos.splice(photos.indexOf(photo), 1);
    shown.remove();
    sayPhotos();
  });
  shown.append(await drawn(photo.file), off);
  taking.querySelector("ul").append(shown);
}

function sayPhotos(more = "") {
  const words = ["No photo", "1 photo goes with it"][photos.length] ?? `${photos.length} photos go with it`;
  taking.querySelector("[data-count]").textContent = words + more;
  taking.querySelector("input").disabled = photos.length >= MOST_PHOTOS;
}

/** What was undone, or came back, and is in the form again. */
let back = null;
/** How long what was ticked counts as looked at, in milliseconds. */
const LOOKED = 15 * 60_000;

/** Keeps the sign-off on this device and goes back to the lane: there it can be undone for ten seconds, and then it is sent. */
async function sign(deed) {
  if (await isAnothers()) return anothers();
  await readClock();
  await adding;
  const fields = new URLSearchParams(new FormData(form));
  const path = new URL(form.action).pathname;
  const item = { id: newId(), path, number: main.dataset.number, deed, made: now(), page: form.seen.value, ...fromNow() };
  if (holder) item.maker = holder;
  fields.set("id", item.id);
  fields.set("deed", deed);
  fields.set("made_at", new Date().toISOString());
  // What this person signed here before and could not send was seen by them. What waits of another may arrive later, or never.
  let before = (await mine()).filter((item) => isOf(item, holder?.link)).at(-1);
  if (before && !shown.has(before.id)) {
    // A hold is always taken, as one that had not seen it.
    if (deed === "clear") return inAnotherTab(before);
    before = null;
  }
  if (before) fields.set("seen", before.id);
  item.photos = photos;
  if (photos.length > 0) fields.set("photos", photos.map((photo) => photo.id).join(","));
  item.fields = fields.toString();
  const isKept = await keep(item);
  if (isKept) {
    if (back) await putAway(back);
    location.assign(`/gate/${event}`);
    return;
  }
  // What cannot be kept here is sent at once, whatever else waits, and cannot be undone.
  const end = await send({ ...item, isDirect: true });
  if (end === "waits") {
    await putAway(item);
    lost(`This device has no room left and the server does not answer: this ${deed} is not recorded. Try again where there is signal.`);
    return;
  }
  if (end === "sent") {
    location.assign(`/gate/${event}`);
    return;
  }
  // Nothing was recorded: the server's own page says what is missing, and keeps what was ticked.
  await putAway(item);
  const chosen = Object.assign(document.createElement("input"), { type: "hidden", name: "deed", value: deed });
  form.append(chosen);
  form.submit();
}

/** Says that nothing came of it; the buttons are free again, and all that was typed is there. */
function lost(words) {
  form.removeAttribute("aria-busy");
  const place = document.querySelector("[data-lost]");
  place.textContent = words;
  place.hidden = false;
  place.scrollIntoView({ block: "center" });
}

/** What was signed for this car on this device and not sent. */
const mine = async () => (await waiting(event)).filter((item) => !item.refused && item.path === new URL(form.action).pathname);

form.addEventListener("submit", (event) => {
  event.preventDefault();
  // A second tap while the first is on its way would send the same record again: harmless, but it looks broken.
  if (form.getAttribute("aria-busy")) return;
  form.setAttribute("aria-busy", "true");
  sign(event.submitter?.value ?? "hold").catch(() => lost("Something failed on this device: nothing is recorded. Try again."));
});

const capital = (words) => words[0].toUpperCase() + words.slice(1);

/** What waits of this car, as this page said when it was opened: what is signed here has seen it. */
const shown = new Set();

async function showMine() {
  await readClock();
  const [item] = (await mine()).slice(-1);
  const place = document.querySelector(".mine");
  place.hidden = !item;
  const words = item && whose(item, holder?.link);
  const until = words === "your" ? "signal" : `${item?.maker?.name} to sign in here again`;
  const waits = item && leftOf(item) > 0 ? "is sent in a moment. Undo is in the lane" : `waits for ${until}`;
  if (item) place.textContent = `${capital(words)} ${item.deed} of ${ago(item.made)} is on this device and ${waits}.`;
  document.querySelector("[data-age]").textContent = `, ${ago(Number(main.dataset.asOf))}`;
}

function old() {
  news.hidden = false;
  count();
}

/** Nothing is signed on a page that was made for somebody else. */
function anothers() {
  news.firstChild.textContent = `This page is ${holder.name}'s, and another person has signed in on this device since. `;
  form.removeAttribute("aria-busy");
  form.querySelector(".hold").disabled = true;
  old();
}

/** Two tabs show this car, and it was signed in the other: this page is as old as if somebody else had signed. */
function inAnotherTab(item) {
  const what = `${item.deed} of car ${item.number}, ${ago(item.made)}`;
  news.firstChild.textContent = `In another tab of this browser you signed: ${what}. `;
  form.removeAttribute("aria-busy");
  old();
  news.scrollIntoView({ block: "center" });
}

/** Puts back what was ticked and typed for a sign-off that was undone, or that the server refused. */
async function restore() {
  await readClock();
  const path = new URL(form.action).pathname;
  const refused = (await waiting(event)).filter((item) => item.refused);
  const isMine = (item) => item.path === path && isOf(item, holder?.link) && now() - item.made < LOOKED;
  back = [...refused, ...(await undone(event))].filter(isMine).at(-1) ?? null;
  if (!back) return;
  // What was ticked belongs to what was shown then: after a hold, say, everything is looked at again.
  const isSame = back.page === form.seen.value;
  const ofPage = /^(id|maker_link|seen|edition|deed|made_at|photos)$/;
  for (const [name, value] of new URLSearchParams(back.fields)) {
    const field = form.elements[name];
    if (!field || ofPage.test(name) || (!isSame && name !== "reason")) continue;
    if (field.type === "checkbox") field.checked = true;
    else field.value = value;
  }
  for (const photo of back.photos ?? []) await showPhoto(photo);
  if (photos.length > 0) sayPhotos();
  form.querySelector("#why").open ||= form.reason.value !== "" || photos.length > 0;
  const words = document.querySelector("[data-back]");
  const because = back.refused ? `Your ${back.deed} was not recorded. ${back.refused}` : `Undone: the ${back.deed} was not sent.`;
  const again = isSame ? "ticked and typed is here again" : "wrote is here again; look at the car again";
  words.textContent = `${because} What you ${again}.`;
  words.hidden = false;
}

const me = async () => ((await isAnothers()) ? undefined : holder?.link);
const sends = async () => sendAll(event, await me());
// Before anything is waited for: a phone may go into a pocket at once. Whose turn it is, the server asks too.
countSeconds(event, holder?.link, sends, showMine);
tellWhenOld(old);
if (await isAnothers()) anothers();
count();
const first = mine().then((items) => items.forEach((item) => shown.add(item.id)));
showMine();
setInterval(showMine, 20_000);
await restore();
count();
await first;
sends();
hearTabs(async () => {
  const other = (await mine()).find((item) => isOf(item, holder?.link) && !shown.has(item.id));
  if (other && !form.getAttribute("aria-busy")) inAnotherTab(other);
});
