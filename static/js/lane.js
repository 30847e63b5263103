// The lane: kept fresh, and a number typed shows only the cars that begin with it.
import { keepNews } from "./news.js";

const find = document.querySelector("[data-find]");

function narrow() {
  const wanted = find.value.trim().toUpperCase();
  for (const link of document.querySelectorAll("[data-car]")) {
    link.parentElement.hidden = wanted !== "" && !link.dataset.car.startsWith(wanted);
  }
}

find.addEventListener("input", narrow);
narrow();
keepNews(narrow);
