// The garage's pages: readable without signal once they were opened, and a form that cannot go stays as it was typed.
import { newId } from "./keep.js";
import { offline } from "./offline.js";

offline();

/** What went last and may have arrived, with its id: forgotten once a page came of it. */
const LAST = "garage sent";
const last = {
  read() {
    try {
      return JSON.parse(sessionStorage.getItem(LAST));
    } catch {
      return null;
    }
  },
  write(sent) {
    try {
      sessionStorage.setItem(LAST, JSON.stringify(sent));
    } catch {
      // A browser that keeps nothing makes a second record where an answer was lost.
    }
  },
};
// An answer leads on to another page, or is this one with what is in the way. The way back is none, nor is the empty form.
const isLedTo = performance.getEntriesByType("navigation")[0]?.type === "navigate";
const isAnswer = last.read()?.from !== location.pathname || document.querySelector(".alert[role=alert]");
if (isLedTo && isAnswer) last.write(null);

/** Each sending has an id of its own, however old the page is. Sent once more because nothing came back, it keeps its id. */
function giveId(form, button) {
  const field = form.querySelector("input[type=hidden][name=id]");
  if (!field || "once" in form.dataset) return;
  const fields = [...new FormData(form, button)].filter(([name]) => name !== "id");
  const said = JSON.stringify([form.getAttribute("action"), fields]);
  const before = last.read();
  field.value = before?.said === said ? before.id : newId();
  last.write({ said, id: field.value, from: form.matches(".blanks") ? location.pathname : null });
}

function noSignal(form) {
  const said = form.querySelector(".no-signal") ?? form.appendChild(document.createElement("p"));
  said.className = "trouble no-signal";
  said.setAttribute("role", "alert");
  const typed = "No signal: it is not kept yet. What you typed stays on this page; try again where there is signal.";
  said.textContent = "keep" in form.dataset ? typed : "No signal: nothing was sent. Try again where there is signal.";
}

const forms = [...document.querySelectorAll("main.garage form[method=post]:not([data-asks]), form[data-keep]")];

for (const form of forms) {
  form.addEventListener("submit", async (event) => {
    // Under way: a second tap sends the same once more.
    if (form.dataset.goes === "now") return;
    event.preventDefault();
    if (form.dataset.goes) return;
    form.dataset.goes = "soon";
    try {
      // A page that is there tells whether the server is: only then may the browser leave what was typed.
      await fetch("/alive", { cache: "no-store", signal: AbortSignal.timeout(8000) });
      giveId(form, event.submitter);
      form.dataset.goes = "now";
      form.requestSubmit(event.submitter);
    } catch {
      delete form.dataset.goes;
      noSignal(form);
    }
  });
  // What is typed anew is another thing to send.
  form.addEventListener("input", () => delete form.dataset.goes);
}

// A page that the browser put back as it was left is opened anew.
addEventListener("pageshow", ({ persisted }) => {
  if (persisted) for (const form of forms) delete form.dataset.goes;
});
