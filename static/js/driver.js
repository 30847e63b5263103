// The driver's first page: says when the gate has done something.
import { tellWhenOld } from "./news.js";

tellWhenOld(() => (document.querySelector(".news").hidden = false));
