// How old something is, in words: whoever stands at the pit exit must see it without reckoning.

/** "just now", "12 minutes ago", "3 hours ago, 09:40"; the time as the device has it. */
export function ago(then, now = Date.now()) {
  const minutes = Math.floor((now - then) / 60_000);
  if (minutes < 1) return "just now";
  if (minutes < 60) return `${minutes} ${minutes === 1 ? "minute" : "minutes"} ago`;
  const at = new Date(then);
  const clock = `${String(at.getHours()).padStart(2, "0")}:${String(at.getMinutes()).padStart(2, "0")}`;
  const hours = Math.floor(minutes / 60);
  if (hours >= 48) return `${Math.floor(hours / 24)} days ago`;
  return `${hours} ${hours === 1 ? "hour" : "hours"} ago, ${clock}`;
}
