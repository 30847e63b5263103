// Filling in an area: what is typed is kept on the server soon after, and the verdict comes back at once.
// Without this script the buttons do the same.

const form = document.querySelector("[data-fill]");
let due = null;
let sent = "";
let follows = false;

const body = () => new URLSearchParams(new FormData(form)).toString();

let busy = false;

// One at a time: an old reading that comes in late must not undo the new one.
async function keep() {
  due = null;
  if (busy) return;
  busy = true;
  try {
    for (let now = body(); now !== sent; now = body()) {
      const answer = await fetch(location.pathname, {
        method: "POST",
        headers: { accept: "application/json", "content-type": "application/x-www-form-urlencoded" },
        body: now,
      });
      if (!answer.ok) break;
      sent = now;
      const said = await answer.json();
      follows ||= said.follows;
      show(said);
    }
    // Another item hangs on an answer just given: it can only come with the page. All that was typed has been kept.
    if (follows && body() === sent) location.reload();
  } catch {
    // No signal: the form still holds everything, and the buttons say so when they are tapped.
  } finally {
    busy = false;
  }
}

function show({ verdicts, troubles, strip }) {
  for (const [item, html] of Object.entries(verdicts)) {
    const place = form.querySelector(`[data-verdict="${item}"]`);
    if (place && place.innerHTML.trim() !== html.trim()) place.innerHTML = html;
  }
  for (const line of form.querySelectorAll("[data-trouble]")) {
    const words = troubles[line.dataset.trouble];
    line.textContent = words ?? "";
    line.hidden = !words;
    const field = form.elements[line.dataset.trouble];
    if (field instanceof HTMLInputElement) field.toggleAttribute("aria-invalid", false), words && field.setAttribute("aria-invalid", "true");
  }
  const here = document.querySelector("[data-strip]");
  if (here) here.innerHTML = strip;
}

function soon(wait) {
  clearTimeout(due);
  due = setTimeout(keep, wait);
}

// A number is judged when the person has stopped typing it, a tap at once.
form.addEventListener("input", (event) => soon(event.target.type === "radio" ? 50 : 900));
form.addEventListener("focusout", () => soon(50));
addEventListener("pagehide", () => {
  if (body() !== sent) navigator.sendBeacon?.(location.pathname, new URLSearchParams(new FormData(form)));
});
form.addEventListener("submit", () => (sent = body()));
sent = body();
