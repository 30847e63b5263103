// The board: kept fresh, and filtered while typing. Without this script the form does the same with a tap more.
import { keepNews, tellWhenOld } from "./news.js";

const form = document.querySelector("[data-filter]");

function filter() {
  if (!form) return;
  const find = form.find.value.trim().toLowerCase();
  for (const row of document.querySelectorAll("[data-number]")) {
    const number = row.dataset.number.toLowerCase();
    const text = row.children[1].textContent.toLowerCase();
    const fits =
      (!find || number === find || (!/^\d+$/.test(find) && text.includes(find)) || (/^\d+$/.test(find) && number.startsWith(find))) &&
      (!form.group.value || row.dataset.group === form.group.value) &&
      (!form.standing.value || row.dataset.standing === form.standing.value);
    row.hidden = !fits;
  }
}

if (form) {
  form.addEventListener("input", filter);
  form.querySelector("button").hidden = location.search === "";
  filter();
}
keepNews(filter);

// A page about one car does not change under the reader's eyes: it says that it is old.
tellWhenOld(() => (document.querySelector(".news").hidden = false));

const print = document.querySelector("[data-print]");
if (print) {
  print.hidden = false;
  print.addEventListener("click", () => window.print());
}
