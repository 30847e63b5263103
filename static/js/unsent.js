// The page of a device that was ended. A hold that was signed on it still counts, so what waits here of its person is sent all the
// same; a clear is refused. It may be anybody who reads this, so each is told under its maker's name.
import { lastIn } from "./shelf.js";
import { hurry, mayGo, sendAll, waiting } from "./signing.js";

const [, part, event] = location.pathname.split("/");

async function send() {
  const before = (await waiting(event)).filter((item) => !item.refused);
  if (before.length === 0) return;
  const link = lastIn()?.link;
  // Nothing is undone here.
  await hurry(before);
  await sendAll(event, link);
  const left = await waiting(event);
  const lines = before.map((item) => {
    const there = left.find((one) => one.id === item.id);
    const name = item.maker?.name;
    const waits = mayGo([item], link).length ? "signal" : `${name} to sign in here again`;
    const end = !there ? "is recorded" : there.refused ? "was not recorded" : `is not recorded: it waits on this device for ${waits}`;
    const told = document.createElement("p");
    told.textContent = `Car ${item.number}: ${name ? `${name}'s` : "the"} ${item.deed} ${end}.`;
    return told;
  });
  const place = document.querySelector("[data-unsent]");
  place.replaceChildren(...lines);
  place.hidden = false;
}

if (part === "gate") send();
