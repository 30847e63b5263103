// Photos of an item: to pick one is to add it. It is kept on the device at once, made smaller, shown as waiting, and sent when
// there is signal.
import { all, change, drop, isFleeting, keepsFiles, newId, put } from "./keep.js";
import { flush, show } from "./queue.js";
import { drawn, shrunk } from "./shrink.js";

const placeOf = (item) => document.querySelector(`[id="${item}"] .photos`);

/** Shows a photo that waits, small, with a way to take it off again. */
async function draw(key, { id, item, name, file }) {
  const place = placeOf(item);
  if (!place || place.querySelector(`[data-waits-photo="${id}"]`)) return;
  const figure = document.createElement("figure");
  figure.dataset.waitsPhoto = id;
  const words = document.createElement("figcaption");
  words.textContent = isFleeting(key) ? "waits: no room to keep it, stay on this page" : "waits";
  const off = Object.assign(document.createElement("button"), { type: "button", className: "quiet", textContent: "Take off" });
  off.onclick = async () => {
    await drop(key);
    figure.remove();
    await show();
  };
  figure.append(words, off);
  place.append(figure);
  figure.prepend(await drawn(file, `Photo of ${name}`));
}

export function photos(entry) {
  const keyOf = (id) => `photo ${entry} ${id}`;
  const left = (form) => Number(form.dataset.left) - document.querySelectorAll(`[id="${form.dataset.item}"] [data-waits-photo]`).length;
  let adding = Promise.resolve();
  const add = async (form, files) => {
    // Where no file can be kept the form goes as it is.
    if (!(await keepsFiles)) return form.submit();
    const [free, trouble] = [left(form), form.querySelector(".trouble")];
    form.reset();
    trouble.hidden = files.length <= free;
    trouble.textContent = `${free} more could be added here: ${files.length - free} not added.`;
    for (const file of files.slice(0, free)) {
      const { item, name } = form.dataset;
      const photo = { id: newId(), action: new URL(form.action).pathname, item, name, file };
      // As it is first: whoever goes on to the next area loses none.
      await put(keyOf(photo.id), photo);
      await draw(keyOf(photo.id), photo);
      const small = await shrunk(file);
      await change(keyOf(photo.id), (kept) => kept && { ...kept, file: small });
    }
    flush().then(show);
  };
  for (const form of document.querySelectorAll(".photo-form")) {
    keepsFiles.then((can) => (form.querySelector("button").hidden = can));
    form.onchange = () => {
      const files = [...form.elements.photo.files];
      adding = adding.then(() => add(form, files));
    };
    form.onsubmit = (event) => {
      event.preventDefault();
      form.onchange();
    };
  }
  all(keyOf("")).then((waiting) => waiting.forEach((photo) => draw(keyOf(photo.id), photo)));
  return {
    /** Once all that was picked is on this device. */
    added: () => adding,
    /** The server has it: from here on the page shows the server's. */
    taken({ id, item, name }) {
      const place = placeOf(item);
      if (!place) return;
      place.querySelector(`[data-waits-photo="${id}"]`)?.remove();
      const form = document.querySelector(`.photo-form[data-item="${item}"]`);
      if (form) form.dataset.left = Math.max(0, Number(form.dataset.left) - 1);
      const link = document.createElement("a");
      link.href = `${entry}/photos/${id}`;
      const img = document.createElement("img");
      Object.assign(img, { src: link.href, alt: `Photo of ${name}`, width: 120, height: 90 });
      link.append(img);
      place.append(link);
    },
  };
}
