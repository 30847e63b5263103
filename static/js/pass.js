// The pass: it goes when the clearance does, and when its time is over, with signal or without.
import { offline } from "./offline.js";
import { keepNews } from "./news.js";

function dress() {
  const pass = document.querySelector("[data-until]");
  if (!pass) return;
  const left = Number(pass.dataset.until) - Date.now();
  pass.hidden = left <= 0;
  document.querySelector(".pass.over").hidden = left > 0;
  // The longest wait a browser takes is some weeks; a pass holds for a day.
  if (left > 0) setTimeout(dress, Math.min(left + 500, 86_400_000));
  const print = document.querySelector("[data-print]");
  print.hidden = left <= 0;
  print.onclick = () => window.print();
}

dress();
keepNews(dress);
offline();
