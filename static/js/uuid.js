// A record's own id, made on the device: UUIDv7 (RFC 9562), so that sending twice changes nothing.

/** A new id; it begins with the time, in milliseconds. */
export function newId(now = Date.now()) {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  for (let at = 5, rest = now; at >= 0; at -= 1, rest = Math.floor(rest / 256)) bytes[at] = rest % 256;
  bytes[6] = (bytes[6] & 0x0f) | 0x70;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}
