// One car at the gate: Clear stays shut until the checks are made on this page, and a page that is old says so.
import { tellWhenOld } from "./news.js";

const form = document.querySelector("[data-sign-off]");
const clear = form.querySelector(".clear");
const left = form.querySelector("[data-left]");
const news = document.querySelector(".news");
const nothingSent = clear.disabled;

function count() {
  const open = [...form.querySelectorAll("[data-must]")].filter((box) => !box.checked).length;
  left.textContent = nothingSent ? "nothing sent" : !news.hidden ? "look again first" : open ? `${open} to check` : "";
  clear.disabled = nothingSent || open > 0 || !news.hidden;
}

form.addEventListener("change", count);
// A hold needs its reason: the first tap opens the field, the second sends.
form.querySelector(".hold").addEventListener("click", (event) => {
  if (form.reason.value.trim() === "") {
    event.preventDefault();
    form.querySelector("#why").open = true;
    form.reason.focus();
  }
});
// A second tap while the first is on its way would send the same record again: harmless, but it looks broken.
form.addEventListener("submit", () => form.setAttribute("aria-busy", "true"));

function old() {
  news.hidden = false;
  count();
}

tellWhenOld(old);
count();
