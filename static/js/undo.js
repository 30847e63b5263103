// The ten seconds in which a sign-off can be undone: counted on every page of the gate, shown at the top of the lane, with what
// was recorded and what came back.
import { ago } from "./age.js";
import { isOf, whose } from "./holder.js";
import { hearTabs, hurry, leftOf, mayGo, putAway, recorded, sendLeaving, UNDO, undo, undone, waiting } from "./signing.js";

const DONE = { clear: "cleared", hold: "held" };
/** How long the lane still says what was recorded before it was opened, in milliseconds. */
const RECENT = 60_000;
/** How long a page may take to be left, in milliseconds. */
const LEAVING = 5000;

/** What is in its ten seconds, as this page saw it last: what is shown as such goes when the page is left. */
let held = [];

/** The pages on which the ten seconds go on: the lane and the cars. */
const goesOn = (url, event) => new RegExp(`^${location.origin}/gate/${event}(/entries/[^/]+)?([?#].*)?$`).test(url);

/**
 * Counts the ten seconds of what this person signed: `due` is called when one may go, `changed` when another tab did something.
 * Leaving for anything but the lane or another car sends it at once: a phone that goes into a pocket runs no timer.
 */
export async function count(event, link, due, changed = () => {}) {
  let timer = null;
  let stays = null;
  const look = async () => {
    const items = (await waiting(event)).filter((item) => !item.refused && !item.aside && isOf(item, link));
    held = items.filter((item) => leftOf(item) > 0);
    clearTimeout(timer);
    if (held.length > 0) timer = setTimeout(() => due().then(look), Math.min(...held.map((item) => leftOf(item))) + 20);
  };
  const leaves = (url) => {
    clearTimeout(stays);
    stays = goesOn(url, event) ? setTimeout(() => (stays = null), LEAVING) : null;
  };
  // A browser that tells where it is going tells it of taps, forms and reloads; of an older one taps are heard.
  if (window.navigation) navigation.addEventListener("navigate", ({ destination }) => leaves(destination.url));
  else addEventListener("click", ({ target }) => target.closest?.("a[href]") && leaves(target.closest("a[href]").href));
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "visible") return due().then(look);
    if (stays) return;
    const left = sendLeaving(held);
    if (left.length > 0) hurry(left).then(due);
  });
  addEventListener("pageshow", () => (stays = null));
  hearTabs(() => look().then(changed));
  await look();
  return look;
}

const make = (tag, words = "", inner = [], more = {}) => {
  const element = Object.assign(document.createElement(tag), more);
  element.append(...(words ? [words] : []), ...inner);
  return element;
};

const place = document.querySelector("[data-told]");
const aloud = document.querySelector("[data-aloud]");
/** What was said aloud, and what this page has shown as it waited. */
const said = new Set();
const shown = new Map();

function say(key, words) {
  if (said.has(key)) return;
  said.add(key);
  aloud.textContent = words;
}

/** Ten ticks: painted while there is time. */
function ticks() {
  const inner = Array.from({ length: UNDO / 1000 }, () => make("i"));
  const all = make("span", "", inner, { className: "ticks" });
  all.setAttribute("aria-hidden", "true");
  return all;
}

function pending(item, isLast, act) {
  const left = make("small", "", [], { className: "left" });
  left.setAttribute("aria-hidden", "true");
  const of = ` the ${item.deed} of car ${item.number}`;
  const now = make("button", "Send now", [make("span", of, [], { className: "vh" })], { type: "button", className: "now" });
  now.addEventListener("click", () => act.sends(item));
  const back = make("button", "Undo", [make("span", of, [], { className: "vh" })], { type: "button", className: "back" });
  back.addEventListener("click", () => act.undoes(item));
  const row = make("div", "", [make("b", `Car ${item.number}: ${item.deed}`), left, ticks(), now], { className: "undo" });
  // What rests on another is undone before it.
  if (isLast) row.append(back);
  row.dataset.undo = item.id;
  say(item.id, `Car ${item.number}: ${item.deed}. It is sent in ten seconds. Undo is at the top of the page.`);
  return row;
}

function paint() {
  for (const row of document.querySelectorAll("[data-undo]")) {
    const item = shown.get(row.dataset.undo);
    const seconds = Math.ceil(leftOf(item) / 1000);
    const words = seconds > 0 ? `Sent in ${seconds} s` : "Being sent";
    const line = row.querySelector(".left");
    if (line.textContent === words) continue;
    line.textContent = words;
    row.querySelectorAll(".ticks i").forEach((tick, at) => tick.classList.toggle("gone", at >= seconds));
    for (const button of row.querySelectorAll("button")) button.disabled = seconds === 0;
  }
}

function quiet(head, words, id) {
  const row = make("div", "", [make("b", head), make("small", words)], { className: "undo quiet" });
  row.dataset.row = id;
  return row;
}

function refusal(item, link, again) {
  const look = make("a", `Open car ${item.number}`, [], { className: "do", href: item.path.replace("/sign-offs", "") });
  const away = make("button", "Put away", [], { type: "button" });
  away.addEventListener("click", () => putAway(item).then(again));
  const head = `Car ${item.number}: ${whose(item, link)} ${item.deed} of ${ago(item.made)} was not recorded.`;
  const inner = [make("b", head), make("p", item.refused), make("p", "", [look, " ", away])];
  const note = make("div", "", inner, { className: "alert" });
  note.dataset.refused = item.id;
  return note;
}

/** Puts the rows there; one that says the same as before stays, for a thumb may be on its button. */
function put(rows) {
  // How long ago something was refused changes and moves nothing.
  const said = (row) => row.dataset.refused ?? row.querySelector("b").textContent + row.querySelectorAll("button").length;
  const keyOf = (row) => [row.className, row.dataset.undo ?? row.dataset.row, said(row)].join(" ");
  const before = [...place.children];
  const same = (row) => before.find((old) => keyOf(old) === keyOf(row));
  const after = rows.map((row) => same(row) ?? row);
  if (after.length !== before.length || after.some((row, at) => row !== before[at])) place.replaceChildren(...after);
}

/**
 * Shows at the top of the lane what came back, what can be undone and what was recorded. What has its row keeps it: nothing below
 * moves under a thumb while the seconds run out.
 */
export function tell(event, link, items, again) {
  const act = {
    sends: (item) => {
      shown.set(item.id, { ...item, until: 0 });
      paint();
      hurry(items.filter((one) => one.path === item.path)).then(again);
    },
    undoes: async (item) => {
      if (await undo(item)) location.assign(item.path.replace("/sign-offs", ""));
      else again();
    },
  };
  const mine = items.filter((item) => !item.refused && !item.aside && isOf(item, link));
  held = mine.filter((item) => leftOf(item) > 0);
  for (const item of held) shown.set(item.id, item);
  const notes = recorded().filter((one) => one.event === event && one.link === link);
  const isRecent = (one) => performance.timeOrigin - one.when < RECENT;
  const rows = [];
  for (const one of notes.filter((one) => shown.has(one.id) || isRecent(one))) {
    const direct = "Recorded. This phone had no room to keep it, so it was sent at once, without Undo.";
    const words = one.isDirect ? direct : "Recorded";
    const head = `Car ${one.number}: ${DONE[one.deed]}${one.at ? `, ${one.at}` : ""}`;
    if (shown.has(one.id) || one.isDirect) say(`recorded ${one.id}`, `${head}. ${words}.`);
    rows.push(quiet(head, words, one.id));
  }
  for (const item of shown.values()) {
    const there = mine.find((one) => one.id === item.id);
    if (!there) continue;
    const isLast = !mine.some((other) => new URLSearchParams(other.fields).get("seen") === item.id);
    if (leftOf(there) > 0) rows.push(pending(there, isLast, act));
    else rows.push(quiet(`Car ${item.number}: ${item.deed}`, "Not sent yet: it waits on this phone", item.id));
  }
  const refused = items.filter((item) => item.refused).map((item) => refusal(item, link, again));
  const isNew = refused.some((note) => !said.has(note.dataset.refused));
  // Read out once, and not again with every look.
  if (isNew) for (const note of refused) note.setAttribute("role", "alert");
  for (const note of refused) said.add(note.dataset.refused);
  put([...refused, ...rows.reverse()]);
  place.hidden = refused.length + rows.length === 0;
  place.dataset.left = mine.filter((item) => leftOf(item) > 0).length;
  paint();
  if (isNew) place.scrollIntoView({ block: "start" });
}

/** Begins at the lane: what was undone and not signed again is gone with its page. */
export async function begin(event) {
  for (const item of await undone(event)) await putAway(item);
  setInterval(paint, 200);
}

/** What may still be sent before its person signs out. */
export async function last(event, link) {
  await hurry((await waiting(event)).filter((item) => isOf(item, link)));
  return mayGo(await waiting(event), link);
}
