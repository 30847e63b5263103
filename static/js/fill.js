// Filling in an area: what is typed is kept on the server soon after, and the verdict comes back at once.
// Without this script the buttons do the same.

const form = document.querySelector("[data-fill]");
let due = null;
let sent = "";

const body = () => new URLSearchParams(new FormData(form)).toString();

async function keep() {
  due = null;
  const now = body();
  if (now === sent) return;
  try {
    const answer = await fetch(location.pathname, {
      method: "POST",
      headers: { accept: "application/json", "content-type": "application/x-www-form-urlencoded" },
      body: now,
    });
    if (!answer.ok) return;
    sent = now;
    show(await answer.json());
  } catch {
    // No signal: the form still holds everything, and the buttons say so when they are tapped.
  }
}

function show({ verdicts, troubles, strip, follows }) {
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
  // Another item hangs on an answer just given: it can only come with the page. Nothing typed is lost, it was just kept.
  if (follows) location.reload();
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
