// The marshal's page: the answer comes from the list on this device at once, and the list is kept fresh while there is signal.
import { ago, keepClock, now, readClock } from "./age.js";
import { hear } from "./live.js";
import { leave, offline } from "./offline.js";
import { held, partOf, putList, tagOf } from "./shelf.js";
import { isOld, verdictOf } from "./verdict.js";

const main = document.querySelector("[data-cars]");
const form = document.querySelector(".find");
const place = document.querySelector("[data-verdict-here]");
const fresh = document.querySelector("[data-fresh]");
const part = partOf(location.pathname);

/** A name that stands by itself, whichever way it is written (UAX #9, FSI and PDI): as in a `bdi`. */
const alone = (name) => `\u2068${name}\u2069`;

/** After how long the list is asked for again, in milliseconds. */
const FRESH = 4 * 60_000;

let list = null;
/** Gives whether there is a list, once what is kept was looked at. */
const kept = held(part);
const isRead = async () => {
  list ??= (await kept)?.list ?? null;
  return list !== null;
};
/** How many requests were made, and which of them gave the list. */
let requests = 0;
let taken = 0;
/** What is asked for now: a number, or a pass that was scanned. */
let asked = null;

/**
 * Whether a list replaces the one that is here: it goes further in the event's history. At the same place the later request
 * counts. Where the history does not go on from what this device had (an older backup was restored), the fetched list counts.
 */
function replaces(got, had, request) {
  if (!list || (list === had && !got.follows)) return true;
  return got.place === list.place ? request > taken : !(got.place < list.place);
}

/** Fetches the list. A device that is let in no more loses what it kept. */
async function refresh() {
  await isRead();
  const had = list;
  const request = ++requests;
  try {
    const has = had ? `?place=${had.place}&hash=${had.hash}` : "";
    const answer = await fetch(main.dataset.cars + has, { headers: { accept: "application/json" }, cache: "no-store" });
    if (answer.status === 401) return void leave();
    const got = answer.ok ? await answer.json() : null;
    if (got) keepClock(got.as_of);
    if (got && replaces(got, had, request)) {
      list = got;
      taken = request;
      // A device without room has the list for as long as the page is open.
      await putList(tagOf(answer), list).catch(() => {});
    }
  } catch {
    // No signal: the age of the list is on the page.
  }
  show();
}

async function show() {
  await readClock();
  if (list) fresh.textContent = `News of ${ago(list.as_of)}.`;
  if (!list) return;
  // What the server wrote into the page does not grow older by itself.
  document.querySelector("[data-answer]").replaceChildren();
  dressPlates();
  if (!asked) return;
  const { car, look, title, because } = await verdictOf(list, asked);
  const card = document.getElementById("card").content.cloneNode(true).firstElementChild;
  card.classList.add(look);
  for (const mark of card.querySelectorAll("[data-mark]")) if (mark.dataset.mark !== look) mark.remove();
  card.querySelector("[data-number]").textContent = car?.number ?? asked.number ?? "";
  card.querySelector("[data-title]").textContent = title;
  card.querySelector(".big").textContent = because;
  card.querySelector("[data-who]").textContent = car ? `${alone(car.driver)}, ${alone(car.car)}, group ${car.group}` : "";
  card.querySelector("[data-age]").textContent = `News of ${ago(list.as_of)}.`;
  card.querySelector("button").addEventListener("click", () => {
    asked = null;
    place.replaceChildren();
    form.number.value = "";
    form.number.focus();
  });
  place.replaceChildren(card);
}

/** The plates show no standing that the list does not bear out, or that is too old. */
function dressPlates() {
  const old = isOld(list);
  const cleared = new Set(list.cars.filter((car) => car.cleared).map((car) => car.number));
  for (const link of document.querySelectorAll("[data-list] a")) {
    const number = link.querySelector(".plate").textContent.trim();
    const isOff = old || link.classList.contains("cleared") !== cleared.has(number);
    link.dataset.label ??= link.getAttribute("aria-label");
    link.setAttribute("aria-label", isOff ? `Car ${number}` : link.dataset.label);
    link.querySelector(".mark").style.visibility = isOff ? "hidden" : "";
  }
}

function ask(what) {
  asked = what;
  show();
  refresh();
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  // Without a list there is only the server to ask.
  if (!(await isRead())) return form.submit();
  const number = form.number.value.trim().toUpperCase();
  if (number) ask({ number });
});
for (const link of document.querySelectorAll("[data-list] a")) {
  link.addEventListener("click", async (event) => {
    event.preventDefault();
    if (!(await isRead())) return location.assign(link.href);
    ask({ number: link.querySelector(".plate").textContent.trim() });
  });
}

const scan = document.querySelector("[data-scan]");
if (navigator.mediaDevices?.getUserMedia) {
  scan.hidden = false;
  scan.firstElementChild.addEventListener("click", async () => {
    const { scanOnce } = await import("./scan.js");
    const text = await scanOnce();
    if (text) ask({ pass: text });
  });
}

const number = new URLSearchParams(location.search).get("number");
if (number) asked = { number: number.trim().toUpperCase() };
refresh();
// A stream that breaks may mean that this device was ended.
hear(main.dataset.live, refresh, (open) => open || refresh());
// The age of the news goes on while nothing else does.
setInterval(show, 20_000);
// Where nothing happens nothing is told: that it is still so is asked for, well before the list is too old.
setInterval(() => list && now() - list.as_of > FRESH && refresh(), 60_000);
offline();
