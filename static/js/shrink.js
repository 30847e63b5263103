// A photo made smaller on the device: upright, and no larger than the server keeps it. A phone's own file is ten times as heavy.

const LONG_SIDE = 1600;
const QUALITY = 0.8;

/** A small picture of it, drawn: a page of ours fetches pictures from the server only. */
export async function drawn(file, alt = "Photo") {
  const canvas = Object.assign(document.createElement("canvas"), { width: 120, height: 90 });
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", alt);
  try {
    const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    // The middle of it, without stretching.
    const scale = Math.max(120 / picture.width, 90 / picture.height);
    const [width, height] = [picture.width * scale, picture.height * scale];
    canvas.getContext("2d").drawImage(picture, (120 - width) / 2, (90 - height) / 2, width, height);
    picture.close();
  } catch {
    // What cannot be opened here has a frame.
  }
  return canvas;
}

/** Upright and smaller. A file that this browser cannot open is sent as it is: the server knows what to say of it. */
export async function shrunk(file) {
  try {
    const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    const scale = Math.min(1, LONG_SIDE / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(picture.width * scale);
    canvas.height = Math.round(picture.height * scale);
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    picture.close();
    return await new Promise((resolve) => canvas.toBlob((blob) => resolve(blob ?? file), "image/jpeg", QUALITY));
  } catch {
    return file;
  }
}
