// Whether a car may go out, from the list on this device and from the pass that is shown. The list counts; a pass counts where it
// is newer than the list, and never against a hold or a withdrawal that the list knows. What is newer is told by the place in the
// event's chain of records, and never by a clock.
//
// How long ago it was that this device heard anything is told by the server's clock. A car that was cleared then may have been
// held since: from a limit on, and past the event's end, there is no "cleared".
import { isWrong, now, span } from "./age.js";

/** For a list of an older program, which says no limit, in milliseconds. */
const OLD_AFTER = 15 * 60_000;

const ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ234567";
const CONTEXT = new TextEncoder().encode("witnessmark pass 1");

/** Bytes of a base32 text (RFC 4648, without padding); null for what is none. */
function base32(text) {
  const bytes = [];
  let bits = 0;
  let held = 0;
  for (const letter of text) {
    const value = ALPHABET.indexOf(letter);
    if (value < 0) return null;
    held = ((held << 5) | value) & 0xfff;
    bits += 5;
    if (bits >= 8) {
      bits -= 8;
      bytes.push((held >> bits) & 0xff);
    }
  }
  return new Uint8Array(bytes);
}

const base64url = (text) => Uint8Array.from(atob(text.replaceAll("-", "+").replaceAll("_", "/")), (c) => c.charCodeAt(0));
const hex = (bytes) => [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
const id = (bytes) => hex(bytes).replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");

/** What a pass says; null for a text that is none. */
export function readPass(text) {
  const bytes = base32((text.split("/P/").pop() ?? "").trim().toUpperCase());
  // Passes of the first form say no place: they are older than any list.
  const at = { 1: 57, 2: 61 }[bytes?.[0]];
  if (!at || bytes.length < at + 2 + 64) return null;
  const view = new DataView(bytes.buffer);
  const number = new TextDecoder().decode(bytes.slice(at + 1, at + 1 + bytes[at]));
  return {
    event: id(bytes.slice(1, 17)),
    entry: id(bytes.slice(17, 33)),
    made: view.getUint32(49) * 60_000,
    until: view.getUint32(53) * 60_000,
    place: at === 61 ? view.getUint32(57) : 0,
    number,
    signed: bytes.slice(0, -64),
    signature: bytes.slice(-64),
  };
}

/** Whether a pass was sealed with the event's key. */
export async function isSealed(pass, key) {
  const told = new Uint8Array([...CONTEXT, ...pass.signed]);
  const public_ = await crypto.subtle.importKey("raw", base64url(key), { name: "Ed25519" }, false, ["verify"]);
  return crypto.subtle.verify({ name: "Ed25519" }, public_, pass.signature, told);
}

const no = (car, because) => ({ car, look: "flagged", title: "Not cleared", because });

/** What is said in place of "cleared" where the news is too old for it; null where it is not. */
function tooOld(list, then, at) {
  if (isWrong(then, at)) {
    return { look: "old", title: "Ask the gate", because: "This phone's clock is wrong: how old its news is cannot be told." };
  }
  if (at - then < (list.old_after ?? OLD_AFTER)) return null;
  return { look: "old", title: `Was cleared ${span(then, at)} ago`, because: "Ask the gate: no news since." };
}

/** Whether the standings of this list are no longer to be shown. */
export const isOld = (list, at = now()) => at >= list.until || tooOld(list, list.as_of, at) !== null;

/**
 * The answer to a number that was typed or a pass that was scanned, by this list: `look` is "cleared", "flagged" or "old", the
 * last where there is no verdict.
 */
export async function verdictOf(list, asked, at = now()) {
  if (asked.number !== undefined) {
    const car = list.cars.find((one) => one.number === asked.number);
    if (!car) return { car: null, look: "flagged", title: `No car ${asked.number}`, because: "It is not entered in this event." };
    if (at >= list.until) return { car, look: "old", title: "The event is over", because: `This list was for ${list.day}.` };
    return byList(list, car, at);
  }
  const pass = readPass(asked.pass);
  if (!pass) return { car: null, look: "flagged", title: "No pass", because: "This code is something else. Type the car's number." };
  if (pass.event !== list.event) return no(null, "This pass is for another event.");
  try {
    if (!(await isSealed(pass, list.key))) return no(null, "This pass is false: it was altered, the club did not make it, or it made its passes anew since.");
  } catch {
    return no(null, "This browser cannot verify passes. Type the car's number.");
  }
  // Whoever has the key can sign anything: no pass outlives its event.
  if (pass.until > list.until) return no(null, "This pass is false: it says that it holds longer than the event.");
  const car = list.cars.find((one) => one.entry === pass.entry);
  if (at >= pass.until) return no(car ?? null, `This pass is over: it was for ${list.day}.`);
  const isNewer = pass.place > list.place;
  if (!car) return isNewer ? byPass(list, pass, at) : no(null, "Its car is not entered any more.");
  if (car.cleared || car.held || !isNewer) return byList(list, car, at);
  return { ...byPass(list, pass, at), car };
}

function byList(list, car, at) {
  if (!car.cleared) return no(car, car.because);
  return { car, look: "cleared", title: "Cleared", because: `Group ${car.group}`, ...tooOld(list, list.as_of, at) };
}

function byPass(list, pass, at) {
  const car = { number: pass.number, driver: "", car: "", group: "" };
  const because = "By its pass, which is newer than this device's list.";
  return { car, look: "cleared", title: "Cleared", because, ...tooOld(list, pass.made, at) };
}
