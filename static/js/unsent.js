// The page of a device that is not let in. A hold that was signed on it still counts, so what waits here is sent all the same; a
// clear is refused, and what another person made waits for them. It may be anybody who reads this, so each is told under its
// maker's name, and of a driver's sheet nothing is told but that there is something.
import { all } from "./keep.js";
import { partOf } from "./shelf.js";
import { hurry, sendAll, waiting } from "./signing.js";

const part = partOf(location.pathname);

function tell(lines) {
  const place = document.querySelector("[data-unsent]");
  place.replaceChildren(...lines.map((words) => Object.assign(document.createElement("p"), { textContent: words })));
  place.hidden = lines.length === 0;
}

async function ofTheGate(event) {
  const before = await waiting(event);
  // Nothing is undone here.
  await hurry(before);
  const makers = new Set(before.map((item) => item.maker?.link));
  for (const link of makers) await sendAll(event, link);
  const left = await waiting(event);
  const told = before.map((item) => {
    const there = left.find((one) => one.id === item.id);
    const name = item.maker?.name;
    const waits = `is not recorded: it waits on this device${name ? ` for ${name} to sign in here again` : ""}`;
    const still = there?.refused ? "was not recorded" : waits;
    return `Car ${item.number}: ${name ? `${name}'s` : "the"} ${item.deed} ${there ? still : "is recorded"}.`;
  });
  tell(told);
}

async function ofASheet() {
  const kinds = await Promise.all([all(`area ${part}/`), all(`photo ${part} `), all(`send ${part}`)]);
  const left = kinds.flat().filter((one) => !one.clean);
  const words = "What was typed here and not sent is still on this device. It is sent once the private link is opened here again.";
  tell(left.length > 0 ? [words] : []);
}

if (part?.startsWith("/gate/")) ofTheGate(part.split("/")[2]);
else if (part) ofASheet();
