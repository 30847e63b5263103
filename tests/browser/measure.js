// Measures the page that is open: contrast of every text, size of every target, width. `arguments[0]` says what.

// WCAG 2.2, definition of relative luminance and of contrast ratio (w3.org/TR/WCAG22, "relative luminance", "contrast ratio").
function luminance([r, g, b]) {
  const part = (value) => {
    const share = value / 255;
    return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
  };
  return 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b);
}

function ratio(one, other) {
  const [a, b] = [luminance(one), luminance(other)];
  return (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
}

// Red, green, blue from 0 to 255, and how opaque from 0 to 1.
function colour(text) {
  const found = /^rgba?\(([^)]+)\)$/.exec(text);
  if (!found) throw new Error(`a colour that cannot be read: ${text}`);
  const parts = found[1].split(/[\s,/]+/).map(Number);
  return [parts[0], parts[1], parts[2], parts[3] ?? 1];
}

const over = (top, under) => [0, 1, 2].map((nth) => top[nth] * top[3] + under[nth] * (1 - top[3]));

// What lies under an element's text: the grounds of the elements around it, one over the other, down to the first opaque one.
function groundOf(element) {
  const layers = [];
  for (let at = element; at; at = at.parentElement) {
    const style = getComputedStyle(at);
    if (style.backgroundImage !== "none") throw new Error(`a picture under text: ${nameOf(at)}`);
    const ground = colour(style.backgroundColor);
    layers.push(ground);
    if (ground[3] === 1) break;
  }
  // A page that paints nothing would lie on the browser's own white; every page of ours paints its body.
  return layers.reverse().reduce((under, top) => over(top, under), [255, 255, 255]);
}

function nameOf(element) {
  const classes = [...element.classList].map((name) => `.${name}`).join("");
  const own = element.tagName.toLowerCase() + (element.id ? `#${element.id}` : "") + classes;
  const words = (element.innerText || element.value || element.placeholder || element.name || "").trim().slice(0, 40);
  return `${element.parentElement ? element.parentElement.tagName.toLowerCase() + " > " : ""}${own} "${words}"`;
}

function isSeen(element) {
  if (!element.checkVisibility({ visibilityProperty: true, opacityProperty: true })) return false;
  const box = element.getBoundingClientRect();
  // What is clipped to nothing is there for a screen reader alone.
  return box.width > 1 && box.height > 1 && getComputedStyle(element).clipPath === "none";
}

function strengthOf(element, text) {
  let opaque = 1;
  for (let at = element; at; at = at.parentElement) opaque *= Number(getComputedStyle(at).opacity);
  const ground = groundOf(element);
  const ink = colour(text);
  return ratio(over([ink[0], ink[1], ink[2], ink[3] * opaque], ground), ground);
}

function texts() {
  const found = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const element = walker.currentNode.parentElement;
    if (walker.currentNode.textContent.trim() && !element.closest("svg, script, option") && isSeen(element)) {
      found.push({ name: nameOf(element), ratio: strengthOf(element, getComputedStyle(element).color) });
    }
  }
  for (const field of document.querySelectorAll("input, textarea, select")) {
    if (!isSeen(field) || ["radio", "checkbox", "hidden"].includes(field.type)) continue;
    found.push({ name: nameOf(field), ratio: strengthOf(field, getComputedStyle(field).color) });
    if (!field.placeholder) continue;
    const placeholder = getComputedStyle(field, "::placeholder");
    found.push({ name: `placeholder of ${nameOf(field)}`, ratio: strengthOf(field, placeholder.color) });
  }
  return found;
}

// What a finger aims at: a tap's label for its hidden button, a box's label for the box, else the element itself.
function targets() {
  const all = [...document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea, summary")];
  const aimed = all.map((element) => (["radio", "checkbox"].includes(element.type) ? element.closest("label") ?? element : element));
  const seen = aimed.filter(isSeen);
  return seen.map((element) => {
    // A label or a link answers to a tap on any of its parts, also where one is drawn beyond its edge.
    const parts = ["LABEL", "A"].includes(element.tagName) ? [element, ...element.children] : [element];
    const boxes = parts.map((part) => part.getBoundingClientRect());
    const [left, top] = [Math.min(...boxes.map((box) => box.left)), Math.min(...boxes.map((box) => box.top))];
    const [right, bottom] = [Math.max(...boxes.map((box) => box.right)), Math.max(...boxes.map((box) => box.bottom))];
    return { name: nameOf(element), width: right - left, height: bottom - top };
  });
}

function width() {
  const window_ = document.documentElement.clientWidth;
  const beyond = [...document.body.querySelectorAll("*")].filter((element) => {
    const box = element.getBoundingClientRect();
    return isSeen(element) && box.right > window_ + 0.5;
  });
  return { window: window_, page: document.documentElement.scrollWidth, beyond: beyond.map(nameOf).slice(0, 6) };
}

const what = arguments[0];
if (what === "texts") return texts();
if (what === "targets") return targets();
if (what === "width") return width();
if (what === "none") return [];
return ratio(colour(what[0]), colour(what[1]));
