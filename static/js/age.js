// How old something is, in words: whoever stands at the pit exit must see it without reckoning. It is told by the server's clock
// as this phone heard it last.
import { keepClock, now, readClock } from "./shelf.js";

/** How far a time may lie ahead before the clock is taken to be wrong, in milliseconds. */
const SLACK = 60_000;

export { keepClock, now, readClock };

/** Whether a time that has been cannot have been yet: then nothing can be said of ages. */
export const isWrong = (then, at = now()) => at - then < -SLACK;

/** "just now", "12 minutes ago", "3 hours ago, 09:40"; the time of day in the zone of the device. */
export function ago(then, at_ = now()) {
  if (isWrong(then, at_)) return "an unknown time ago (this phone's clock is wrong)";
  const minutes = Math.floor((at_ - then) / 60_000);
  if (minutes < 1) return "just now";
  if (minutes < 60) return `${minutes} ${minutes === 1 ? "minute" : "minutes"} ago`;
  const at = new Date(then);
  const clock = `${String(at.getHours()).padStart(2, "0")}:${String(at.getMinutes()).padStart(2, "0")}`;
  const hours = Math.floor(minutes / 60);
  if (hours >= 48) return `${Math.floor(hours / 24)} days ago`;
  return `${hours} ${hours === 1 ? "hour" : "hours"} ago, ${clock}`;
}

/** "47 min", "2 h", "3 days", to be read at arm's length. */
export function span(then, at = now()) {
  const minutes = Math.floor((at - then) / 60_000);
  if (minutes < 60) return `${minutes} min`;
  return minutes < 48 * 60 ? `${Math.floor(minutes / 60)} h` : `${Math.floor(minutes / 1440)} days`;
}
