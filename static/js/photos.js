// Photos of an item: made smaller on the device, kept there, shown as waiting, and sent when there is signal.
import { all, keepsFiles, newId, put } from "./keep.js";
import { flush, show } from "./queue.js";
import { shrunk } from "./shrink.js";

const placeOf = (item) => document.querySelector(`[id="${item}"] .photos`);

/** Shows a photo that waits, drawn: a page of ours fetches pictures from the server only. */
async function draw({ id, item, file }) {
  const place = placeOf(item);
  if (!place || place.querySelector(`[data-waits-photo="${id}"]`)) return;
  const figure = document.createElement("figure");
  figure.dataset.waitsPhoto = id;
  const canvas = document.createElement("canvas");
  canvas.width = 120;
  canvas.height = 90;
  const words = document.createElement("figcaption");
  words.textContent = "waits";
  figure.append(canvas, words);
  place.append(figure);
  try {
    const picture = await createImageBitmap(file);
    canvas.getContext("2d").drawImage(picture, 0, 0, 120, 90);
    picture.close();
  } catch {
    // The words say that it waits.
  }
}

export function photos(entry) {
  const left = (form) => Number(form.dataset.left) - document.querySelectorAll(`[id="${form.dataset.item}"] [data-waits-photo]`).length;
  for (const form of document.querySelectorAll(".photo-form")) {
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      // Where no file can be kept the form goes as it is.
      if (!(await keepsFiles)) return form.submit();
      const files = [...form.elements.photo.files];
      const trouble = form.querySelector(".trouble");
      trouble.hidden = files.length <= left(form);
      trouble.textContent = `${left(form)} more can be added here.`;
      if (!trouble.hidden || !files.length) return;
      for (const file of files) {
        const { item, name } = form.dataset;
        const photo = { id: newId(), action: new URL(form.action).pathname, item, name, file: await shrunk(file) };
        await put(`photo ${entry} ${photo.id}`, photo);
        await draw(photo);
      }
      form.reset();
      await flush();
      await show();
    });
  }
  all(`photo ${entry} `).then((waiting) => waiting.forEach(draw));
  return {
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
