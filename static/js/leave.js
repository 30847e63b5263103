// Signing out of the garage leaves the whole browser: its sheets are signed out too, by whatever link they were opened, and
// nothing of either stays on the device.
import { all, drop } from "./keep.js";
import { forget, partOf } from "./shelf.js";

const form = document.querySelector("form[data-sheets]");
const sheets = form.dataset.sheets.split(" ").filter(Boolean).map((entry) => `/my/${entry}`);

/** The names of what this device keeps of a sheet, and whether some of it is here only. */
async function kept(sheet) {
  const [areas, photos, sends] = await Promise.all([all(`area ${sheet}/`), all(`photo ${sheet} `), all(`send ${sheet}`)]);
  const hasty = Object.keys(localStorage).filter((name) => name.startsWith(`last ${sheet}/`));
  const names = [
    ...areas.map((area) => `area ${area.path}`),
    ...photos.map((photo) => `photo ${sheet} ${photo.id}`),
    ...["send", "sent"].map((what) => `${what} ${sheet}`),
  ];
  return { names, hasty, isHereOnly: areas.some((area) => !area.clean) || photos.length + sends.length + hasty.length > 0 };
}

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const here = await Promise.all(sheets.map(kept));
  const question = "Something of a sheet is on this device only and would be lost. Sign out all the same?";
  if (here.some((of) => of.isHereOnly) && !confirm(question)) return;
  try {
    const patience = () => ({ signal: AbortSignal.timeout(8000) });
    await fetch("/alive", { cache: "no-store", ...patience() });
    const out = (sheet) => fetch(`${sheet}/sign-out`, { method: "POST", redirect: "manual", ...patience() });
    await Promise.all(sheets.map(out));
  } catch {
    const said = form.querySelector(".no-signal") ?? form.appendChild(document.createElement("p"));
    said.className = "trouble no-signal";
    said.setAttribute("role", "alert");
    said.textContent = "No signal: you are not signed out yet. Try again where there is signal.";
    return;
  }
  for (const { names, hasty } of here) {
    for (const name of names) await drop(name);
    for (const name of hasty) localStorage.removeItem(name);
  }
  const parts = [...sheets, partOf(location.pathname)];
  for (const part of parts) await forget(part);
  // Other tabs go as well.
  for (const part of parts) navigator.serviceWorker?.controller?.postMessage({ leave: part, isLeaving: true });
  form.submit();
});
