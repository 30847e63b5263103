// Somebody comes in: what the person before them kept of this part of the site goes, so that no page of theirs is shown as this
// one's. What waits to be sent stays: it has its maker's name on it.
import { forget } from "./shelf.js";

const form = document.querySelector("form[data-part]");

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  await forget(form.dataset.part);
  form.submit();
});
