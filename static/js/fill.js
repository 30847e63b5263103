// Filling in an area: every keystroke is kept on this device at once and on the server soon after, and the verdict comes back.
// Without this script the buttons do the same.
import { change, drop, get, isFleeting } from "./keep.js";
import { photos } from "./photos.js";
import { areaKey, begin, entry, flush, go, holdsOnlyHere, keepLast, landed, show } from "./queue.js";
import { askWhatFollows } from "./when.js";

const form = document.querySelector("[data-fill]");
const key = areaKey(location.pathname);
const was = form.elements._was;
/** How long a tap waits for the server before it goes on without, in milliseconds. */
const PATIENCE = 4000;

const fields = (of = form) => [...new FormData(of)].filter(([name]) => name !== "_was");
const body = () => new URLSearchParams(fields()).toString();
const itemOf = (name) => document.getElementById(name.split(".")[0]);

/** The form as the server made it. A thumb may have been quicker than this script: what it answered is not the server's. */
const made = form.cloneNode(true);
made.reset();
const asMade = new URLSearchParams(fields(made)).toString();
const typedHere = () => fields().filter(([name, value]) => !new URLSearchParams(asMade).getAll(name).includes(value));
let early = [];
let due = null;
let writing = null;
let wanted = false;
let forced = false;
/** What the device's database has of this form. */
let written = asMade;
/** What was kept when this page last looked: what differs from it was typed in another tab. */
let agreed = asMade;
/** Other tabs of this browser that show this area hear of what is typed here. */
const tabs = window.BroadcastChannel ? new BroadcastChannel(key) : null;
/** Items that were typed in since the server answered last. */
const touched = new Set();

/** Puts what was typed back into the fields, and marks the items that the page showed otherwise. */
function restore(text, isSent) {
  // What was typed for a question that is asked otherwise now answers nothing: it stays where it was sent.
  const kept = new URLSearchParams(text);
  const asked = (name) => `${name.split(".")[0]}.q`;
  const same = (name) => (kept.get(asked(name)) ?? form.elements[asked(name)]?.value) === form.elements[asked(name)]?.value;
  const typed = [...kept].filter(([name]) => !name.endsWith(".q") && same(name));
  fillIn(typed);
  const before = new Map(new URLSearchParams(asMade));
  const others = typed.filter(([name, value]) => (before.get(name) ?? "") !== value).map(([name]) => itemOf(name));
  for (const item of new Set(others)) if (item) markAsKept(item, isSent);
}

function fillIn(typed) {
  // An answer may open the item that the next text belongs to.
  for (let pass = 0; pass < 3; pass += 1) {
    for (const [name, value] of typed) {
      const found = form.elements[name];
      if (found instanceof RadioNodeList || found?.type === "radio") {
        for (const tap of found[Symbol.iterator] ? found : [found]) tap.checked = tap.value === value;
      } else if (found) found.value = value;
    }
    askWhatFollows();
  }
}

const lineOf = (className, textContent) => Object.assign(document.createElement("p"), { className, textContent });

function markAsKept(item, isSent = false) {
  const where = isFleeting(key) ? "No room to keep it on this device: stay on this page." : "Kept on this device, not sent yet.";
  const words = isSent ? "Sent." : where;
  item.querySelector("[data-verdict]")?.replaceChildren(lineOf("found kept-here", `${words} It is judged when there is signal.`));
}

/** Fields by item. */
function byItem(text) {
  const items = new Map();
  for (const [name, value] of new URLSearchParams(text)) {
    const item = name.split(".")[0];
    items.set(item, [...(items.get(item) ?? []), [name, value]]);
  }
  return items;
}

/**
 * Another tab keeps this area too: `theirs`. An item that only it changed is taken over into this page. Where both changed one,
 * what stands here counts and what stands there is shown. Gives what is to be kept.
 */
function meet(theirs) {
  const now = body();
  const [base, mine, other] = [agreed, now, theirs].map(byItem);
  const said = (fields) => JSON.stringify(fields ?? []);
  const question = (fields) => fields?.find(([name]) => name.endsWith(".q"))?.[1];
  const taken = [];
  for (const [item, fields] of other) {
    const here = mine.get(item);
    const isSame = [here, base.get(item)].some((one) => said(one) === said(fields));
    const place = document.getElementById(item);
    if (isSame || !place || question(fields) !== question(here)) continue;
    place.querySelector("[data-other-tab]")?.remove();
    const isBoth = said(here) !== said(base.get(item));
    if (!isBoth) {
      taken.push(...fields);
      mine.set(item, fields);
    }
    const texts = fields.filter(([name, value]) => value && !/\.(q|unit)$/.test(name)).map(([, value]) => value);
    const there = `In another tab: ${texts.join(", ") || "nothing"}. What stands here counts.`;
    const line = lineOf("found kept-here", isBoth ? there : "Typed in another tab of this browser.");
    line.dataset.otherTab = "";
    place.querySelector("[data-verdict]")?.after(line);
  }
  if (!taken.length) return now;
  fillIn(taken);
  return new URLSearchParams([...mine.values()].flat()).toString();
}

/** What is kept of this page where nothing is kept yet. */
const begun = () => ({ path: location.pathname, name: document.querySelector("h1").textContent, was: was.value, old: [], sending: null });

/** Keeps the form on the device as it stands. Only one writing at a time; what is typed meanwhile is written after it. */
function keepHere(always = false) {
  wanted = true;
  forced ||= always;
  writing ??= (async () => {
    try {
      while (wanted) {
        const force = forced;
        wanted = forced = false;
        const after = await change(key, (kept) => {
          const now = kept ? meet(kept.now) : body();
          if (!force && (kept?.now ?? asMade) === now) return kept;
          return { ...(kept ?? begun()), now, at: Date.now(), clean: false, why: null };
        });
        written = agreed = after?.now ?? asMade;
        tabs?.postMessage({ now: written });
      }
    } catch {
      // The database is full or broken: the next page puts this to the rest.
      keepLast(location.pathname, { ...begun(), now: body() });
    } finally {
      writing = null;
    }
  })();
  return writing;
}

function soon(wait) {
  clearTimeout(due);
  due = setTimeout(flush, wait);
}

const ready = (async () => {
  await landed;
  const kept = await get(key);
  // Up to here: what is kept goes into the fields now, and a thumb does not wait for a database.
  early = typedHere();
  askWhatFollows();
  if (!kept) return;
  // A page that was kept for times without signal may be older than what this device has had the server take since.
  if (!kept.clean || kept.old.includes(was.value)) {
    restore(kept.now, kept.clean);
    was.value = kept.was;
    written = body();
    agreed = kept.now;
  } else await drop(key);
})();

if (tabs) {
  tabs.onmessage = async ({ data }) => {
    await ready;
    if (data.said) {
      if (data.now === body()) showVerdicts(data.said);
      return;
    }
    meet(data.now);
    written = agreed = data.now;
  };
}

function showVerdicts({ verdicts, troubles, strip }) {
  for (const [item, html] of Object.entries(verdicts)) {
    const place = form.querySelector(`[data-verdict="${item}"]`);
    if (place && place.innerHTML.trim() !== html.trim()) place.innerHTML = html;
  }
  for (const line of form.querySelectorAll("[data-trouble]")) {
    const words = troubles[line.dataset.trouble];
    line.textContent = words ?? "";
    line.hidden = !words;
    const field = form.elements[line.dataset.trouble];
    if (field instanceof HTMLInputElement) field.toggleAttribute("aria-invalid", false), words && field.setAttribute("aria-invalid", "true");
  }
  const here = document.querySelector("[data-strip]");
  if (here) here.innerHTML = strip;
}

let last = null;

function told(kind, record, said) {
  if (kind === "photo") shown.taken(record);
  if (kind !== "area" || record.path !== location.pathname) return;
  last = said;
  was.value = said.was;
  // More was typed meanwhile: its verdict is on the way, and an old one would be of a reading that stands here no more.
  if (record.sending === body()) {
    touched.clear();
    showVerdicts(said);
    tabs?.postMessage({ now: record.sending, said });
  }
  const both = document.querySelector("[data-see-both]");
  both.hidden = !said.both.length;
}

// The server has the page that shows both; the form as it stands is what it asks for.
document.querySelector("[data-see-both] button").addEventListener("click", async () => {
  await keepHere();
  form.submit();
});

/** On to where the server sends this page; without an answer, on to the next area, which this device keeps. */
async function leave(then) {
  last = null;
  await ready;
  await shown.added();
  await keepHere(true);
  const late = new Promise((resolve) => setTimeout(resolve, PATIENCE));
  await Promise.race([flush(true), late]);
  if (last?.both.length) return;
  if (last) {
    const to = new URL(last.to, location.href);
    if (then === "stay" || Object.keys(last.troubles).length || to.pathname === location.pathname) {
      if (then !== "stay" && to.hash) history.replaceState(null, "", to.hash);
      go();
    } else go(to);
    return;
  }
  await show(true);
  const canGoOn = navigator.serviceWorker?.controller && then !== "stay" && !holdsOnlyHere();
  if (canGoOn) go(form.dataset.onward);
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  clearTimeout(due);
  leave(event.submitter?.value);
});
// A number is judged when the person has stopped typing it, a tap at once. On the device it is at once, whatever it is.
form.addEventListener("input", async (event) => {
  const item = event.target.closest(".item");
  if (item) touched.add(item);
  await ready;
  askWhatFollows();
  await keepHere();
  await sayNoSignal();
  soon(event.target.type === "radio" ? 50 : 900);
});
form.addEventListener("focusout", () => soon(50));
addEventListener("pagehide", () => {
  if (body() !== written) keepLast(location.pathname, { ...begun(), now: body() });
});

/** Without an answer every item that was typed in says where it is. */
async function sayNoSignal() {
  if (!document.documentElement.hasAttribute("data-no-signal")) return;
  touched.forEach((item) => markAsKept(item));
  await show();
}

const shown = photos(entry);
ready.then(async () => {
  if (early.length > 0) {
    fillIn(early);
    await keepHere();
  }
  await begin(told, sayNoSignal);
});
