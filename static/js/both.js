// Typed on two devices: what the driver chooses here is no longer waited with on this device.
import { change } from "./keep.js";
import { areaKey } from "./queue.js";

const form = document.querySelector("[data-both]");

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const key = areaKey(new URL(form.action).pathname);
  const chosen = [...new FormData(form)].filter(([name]) => name.startsWith("_choose."));
  const items = new Map(chosen.map(([name, choice]) => [name.slice("_choose.".length), choice]));
  await change(key, (kept) => {
    if (!kept) return null;
    // "There" is not sent any more; "here" has seen what stands there, as the form itself says it to the server.
    const left = [...new URLSearchParams(kept.now)].filter(([name]) => items.get(name.split(".")[0]) !== "there");
    const was = kept.was.split(" ").map((pair) => {
      const item = pair.split("=")[0];
      const choice = items.get(item) ?? "";
      return choice.startsWith("here=") ? `${item}=${choice.slice(5)}` : pair;
    });
    return { ...kept, now: new URLSearchParams(left).toString(), was: was.join(" "), old: [...kept.old, kept.was], both: null };
  });
  form.submit();
});
