// The garage's pages: readable without signal once they were opened, and a form that cannot go stays as it was typed.
import { offline } from "./offline.js";

offline();

for (const form of document.querySelectorAll("form[data-keep]")) {
  form.addEventListener("submit", async (event) => {
    if (form.dataset.goes) return;
    event.preventDefault();
    try {
      // A page that is there tells whether the server is: only then may the browser leave what was typed.
      await fetch("/alive", { cache: "no-store", signal: AbortSignal.timeout(8000) });
      form.dataset.goes = "1";
      form.requestSubmit(event.submitter);
    } catch {
      const said = form.querySelector(".no-signal") ?? form.appendChild(document.createElement("p"));
      said.className = "trouble no-signal";
      said.setAttribute("role", "alert");
      said.textContent = "No signal: it is not kept yet. What you typed stays on this page; try again where there is signal.";
    }
  });
}
