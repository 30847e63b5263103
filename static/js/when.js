// What is asked depends on answers: an item or an area that hangs on one comes with the answer, without asking the server.
// Pages carry what is not asked in templates, so that a form that is sent without script is as the server means it.
import { all } from "./keep.js";
import { entry } from "./queue.js";

/** The answers of other areas, as far as this device knows them. */
const elsewhere = new Map();
all(`area ${entry}/`).then((areas) => {
  for (const area of areas) for (const [name, value] of new URLSearchParams(area.now)) elsewhere.set(name, value);
  askWhatFollows();
});

/** What was answered to an item; undefined where this page cannot know. */
function answerTo(item) {
  const taps = document.querySelectorAll(`input[name="${item}"]`);
  if (!taps.length) return elsewhere.get(item);
  if (taps[0].closest("fieldset[hidden]")) return "";
  return [...taps].find((tap) => tap.checked)?.value ?? "";
}

/** Whether one of the conditions is met: `roof=open restraint=harness|four-strap`. */
function isAsked(conditions) {
  const met = conditions.split(" ").map((condition) => {
    const [item, values] = condition.split("=");
    const answer = answerTo(item);
    return answer === undefined ? undefined : values.split("|").includes(answer);
  });
  return met.includes(true) || (met.includes(undefined) ? undefined : false);
}

/** Shows what is asked now and hides what is not; what cannot be known stays as the server had it. */
export function askWhatFollows() {
  for (const place of document.querySelectorAll("fieldset[data-when]")) {
    const asked = isAsked(place.dataset.when);
    if (asked === undefined) continue;
    const template = place.querySelector(":scope > template");
    if (asked && template) template.replaceWith(template.content);
    place.hidden = !asked;
    place.disabled = !asked;
  }
  const list = document.querySelector(".areas");
  for (const area of document.querySelector("[data-maybe]")?.content.querySelectorAll("li") ?? []) {
    if (isAsked(area.dataset.when)) list.append(area);
  }
}
