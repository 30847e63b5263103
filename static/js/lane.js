// The lane: kept fresh, searched at once, with signal and without; and what this device signed and could not send yet.
import { ago, readClock } from "./age.js";
import { heldCars, keepGate } from "./gate.js";
import { holder, isAnothers, isOf, whose } from "./holder.js";
import { hear } from "./live.js";
import { keepNews } from "./news.js";
import { offline, signOut } from "./offline.js";
import { leftOf, mayGo, sendAll, setAside, waiting } from "./signing.js";
import * as undo from "./undo.js";

const main = document.querySelector("main[data-live]");
const event = location.pathname.split("/")[2];
const find = document.querySelector("[data-find]");
const queue = document.querySelector(".queue");
/** Said over plain http and in browsers without a worker. */
const NO_WORKER = "Without signal there is no gate on this phone.";
/** Whose lane this is; undefined where somebody else came in since it was made: then nothing is sent from it. */
const me = async () => ((await isAnothers()) ? undefined : holder?.link);

function narrow() {
  const wanted = find.value.trim().toUpperCase();
  for (const link of document.querySelectorAll("[data-car]")) {
    const byName = wanted !== "" && !/^\d/.test(wanted) && (link.dataset.name ?? "").toUpperCase().includes(wanted);
    link.parentElement.hidden = wanted !== "" && !link.dataset.car.startsWith(wanted) && !byName;
  }
}

// A number that is on the page needs no server to be found.
find.form.addEventListener("submit", (sent) => {
  const link = document.querySelector(`[data-car="${CSS.escape(find.value.trim().toUpperCase())}"]`);
  if (!link) return;
  sent.preventDefault();
  location.assign(link.href);
});

const line = (tag, text, inner = []) => {
  const element = document.createElement(tag);
  element.textContent = text;
  element.append(...inner);
  return element;
};

/** Shows what waits, and what came back. A car that was signed here says so: nobody signs it twice for want of a sign. */
async function showQueue() {
  await readClock();
  const items = await waiting(event);
  undo.tell(event, holder?.link, items, flush);
  const soon = items.filter((item) => !item.refused && !item.aside && isOf(item, holder?.link) && leftOf(item) > 0);
  const open = mayGo(items, holder?.link);
  const others = items.filter((item) => !item.refused && !open.includes(item) && !soon.includes(item));
  const parts = [];
  if (open.length > 0) {
    const again = line("button", "Try now");
    again.type = "button";
    again.addEventListener("click", flush);
    const count = open.length === 1 ? "1 sign-off waits" : `${open.length} sign-offs wait`;
    parts.push(line("p", `${count} on this device for signal: ${open.map((item) => item.number).join(", ")}. `, [again]));
  }
  for (const { maker, deed, number } of others) {
    const name = maker?.name;
    parts.push(line("p", `Car ${number}: ${name}'s ${deed} is not recorded. It is sent when ${name} signs in on this device again.`));
  }
  queue.hidden = parts.length === 0;
  queue.replaceChildren(...parts);
  for (const mine of document.querySelectorAll(".waits-here")) mine.remove();
  for (const item of [...open, ...others]) {
    const until = open.includes(item) ? "for signal" : "on this device";
    for (const link of document.querySelectorAll(`[data-car="${CSS.escape(item.number)}"]`)) {
      const note = line("small", `${whose(item, holder?.link)} ${item.deed} waits ${until}`);
      note.className = "waits-here";
      link.append(note);
    }
  }
}

async function showAge() {
  await readClock();
  const place = document.querySelector("[data-as-of]");
  const mark = place?.querySelector("[data-age]");
  if (mark) mark.textContent = `, ${ago(Number(place.dataset.asOf))}`;
}

/** Says what this device holds: whoever goes where there is no signal must know it before. */
async function showHeld() {
  const { here, cars, at } = await heldCars();
  const more = here < cars ? " Stay in signal: more come." : "";
  const none = navigator.serviceWorker ? "No car on this phone yet: stay in signal." : NO_WORKER;
  document.querySelector("[data-held]").textContent = at ? `${here} of ${cars} cars on this phone, ${at}.${more}` : none;
}

async function fetchGate() {
  await keepGate(holder?.link);
  showAge();
  await showHeld();
}

let due = null;

/** Soon, and once for many changes: the pages that changed are fetched. */
function freshen() {
  due ??= setTimeout(() => {
    due = null;
    fetchGate();
  }, 1500);
}

async function flush() {
  const sent = await sendAll(event, await me());
  await showQueue();
  if (sent > 0) freshen();
}

function dress() {
  narrow();
  showAge();
  showQueue();
}

/** Signing out leaves what waits: who does so is told first what becomes of it. */
async function leave(event_) {
  event_.preventDefault();
  const form = event_.target;
  const refused = async () => (await waiting(event)).filter((item) => item.refused).length;
  const before = await refused();
  // What is in its ten seconds goes first. Who has to hear that it was refused stays.
  if ((await undo.last(event, await me())).length > 0) await flush();
  if ((await refused()) > before) return;
  const left = (await waiting(event)).filter((item) => !item.refused && isOf(item, holder?.link));
  const out = async () => {
    const isOut = await signOut(form, () => setAside(event, holder?.link, true));
    if (!isOut) say("No signal: this device is still signed in. Sign out where there is signal.");
  };
  if (left.length === 0) return out();
  const cars = left.map((item) => `${item.deed} of car ${item.number}`).join(", ");
  const words =
    `Not recorded yet: ${cars}. If you sign out now, ${left.length === 1 ? "it stays" : "they stay"} on this device under your ` +
    "name and can only be sent when you sign in on it again. Where there is signal they go first: stay until they are sent.";
  const button = (name, act) => {
    const one = Object.assign(line("button", name), { type: "button" });
    one.addEventListener("click", act);
    return one;
  };
  say(words, [button("Stay", () => say("")), " ", button("Sign out all the same", out)]);
}

/** Says something at the foot of the page, where the way out is. */
function say(words, inner = []) {
  const place = document.querySelector("[data-leave]");
  place.hidden = words === "";
  place.replaceChildren(line("p", words), ...inner);
}

document.querySelector("[data-asks]")?.addEventListener("submit", leave);
find.addEventListener("input", narrow);
dress();
keepNews(dress);
// A stream that breaks may mean that this device was ended.
hear(main.dataset.live, freshen, (open) => (open ? flush() : freshen()));
// A phone that comes out of a pocket looks at once.
document.addEventListener("visibilitychange", () => document.hidden || freshen());
addEventListener("online", flush);
setInterval(() => {
  showAge();
  flush();
}, 20_000);
// Before anything is waited for: a phone may go into a pocket at once. Whose turn it is, the server asks too.
undo.count(event, holder?.link, flush, showQueue);
undo.begin(event);
showHeld();
const own = await me();
if (own) await setAside(event, own, false);
flush();
offline().then(fetchGate);
