// One car at the gate: Clear stays shut until the checks are made on this page, and a page that is old says so.
import { ago, now, readClock } from "./age.js";
import { tellWhenOld } from "./news.js";
import { keepsFiles, newId } from "./keep.js";
import { holder, isAnothers, isOf, whose } from "./holder.js";
import { shrunk } from "./shrink.js";
import { keep, putAway, send, waiting } from "./signing.js";

const main = document.querySelector("main[data-number]");

const form = document.querySelector("[data-sign-off]");
const clear = form.querySelector(".clear");
const left = form.querySelector("[data-left]");
const news = document.querySelector(".news");
const nothingSent = clear.disabled;

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
taking.querySelector("input").addEventListener("change", async ({ target }) => {
  for (const file of [...target.files].slice(0, MOST_PHOTOS - photos.length)) photos.push({ id: newId(), file: await shrunk(file) });
  target.value = "";
  target.disabled = photos.length >= MOST_PHOTOS;
  const words = document.createElement("li");
  words.textContent = photos.length === 1 ? "1 photo goes with it" : `${photos.length} photos go with it`;
  taking.querySelector("ul").replaceChildren(words);
});

/** Keeps the sign-off on this device, sends it, and goes back to the lane, sent or not: the lane says what waits. */
async function sign(deed) {
  if (await isAnothers()) return anothers();
  await readClock();
  const event = location.pathname.split("/")[2];
  const fields = new URLSearchParams(new FormData(form));
  const item = { id: newId(), path: new URL(form.action).pathname, number: main.dataset.number, deed, made: now() };
  if (holder) item.maker = holder;
  fields.set("id", item.id);
  fields.set("deed", deed);
  fields.set("made_at", new Date().toISOString());
  // What this person signed here before and could not send was seen by them. What waits of another may arrive later, or never.
  const before = (await mine(event)).filter((item) => isOf(item, holder?.link)).at(-1);
  if (before) fields.set("seen", before.id);
  item.photos = photos;
  if (photos.length > 0) fields.set("photos", photos.map((photo) => photo.id).join(","));
  item.fields = fields.toString();
  const isKept = await keep(item);
  // What cannot be kept here is sent at once, whatever else waits.
  const end = before && isKept ? "waits" : await send(item);
  if (end === "waits" && !isKept) {
    await putAway(item);
    lost(`This device has no room left and the server does not answer: this ${deed} is not recorded. Try again where there is signal.`);
    return;
  }
  if (end === "sent" || end === "waits") {
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
const mine = async (event) =>
  (await waiting(event)).filter((item) => !item.refused && item.path === new URL(form.action).pathname);

form.addEventListener("submit", (event) => {
  event.preventDefault();
  // A second tap while the first is on its way would send the same record again: harmless, but it looks broken.
  if (form.getAttribute("aria-busy")) return;
  form.setAttribute("aria-busy", "true");
  sign(event.submitter?.value ?? "hold").catch(() => lost("Something failed on this device: nothing is recorded. Try again."));
});

const capital = (words) => words[0].toUpperCase() + words.slice(1);

async function showMine() {
  await readClock();
  const [item] = (await mine(location.pathname.split("/")[2])).slice(-1);
  const place = document.querySelector(".mine");
  place.hidden = !item;
  const words = item && whose(item, holder?.link);
  const until = words === "your" ? "signal" : `${item?.maker?.name} to sign in here again`;
  if (item) place.textContent = `${capital(words)} ${item.deed} of ${ago(item.made)} is on this device and waits for ${until}.`;
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

tellWhenOld(old);
if (await isAnothers()) anothers();
count();
showMine();
setInterval(showMine, 20_000);
