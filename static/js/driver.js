// The driver's first page: says when the gate has done something.
import { hear } from "./live.js";

const main = document.querySelector("[data-live]");
if (main) hear(main.dataset.live, (entry) => entry && (document.querySelector(".news").hidden = false));
