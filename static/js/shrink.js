// A photo made smaller on the device: upright, and no larger than the server keeps it. A phone's own file is ten times as heavy.

const LONG_SIDE = 1600;
const QUALITY = 0.8;

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
