// The page of a device that was ended. A hold that was signed on it still counts, so what waits here is sent all the same; a
// clear is refused, and its maker is told.
import { sendAll, waiting } from "./signing.js";

const [, part, event] = location.pathname.split("/");

async function send() {
  const before = (await waiting(event)).filter((item) => !item.refused);
  if (before.length === 0) return;
  await sendAll(event);
  const left = await waiting(event);
  const lines = before.map(({ id, number, deed }) => {
    const there = left.find((item) => item.id === id);
    const end = !there ? "is recorded" : there.refused ? "was not recorded" : "waits on this device for signal";
    const told = document.createElement("p");
    told.textContent = `Car ${number}: your ${deed} ${end}.`;
    return told;
  });
  const place = document.querySelector("[data-unsent]");
  place.replaceChildren(...lines);
  place.hidden = false;
}

if (part === "gate") send();
