// Reads one code with the camera: by the browser's own reader where it has one, else by the one that lies in vendor/.

async function reader() {
  if ("BarcodeDetector" in window && (await BarcodeDetector.getSupportedFormats()).includes("qr_code")) {
    const detector = new BarcodeDetector({ formats: ["qr_code"] });
    return async (canvas) => (await detector.detect(canvas))[0]?.rawValue;
  }
  await new Promise((resolve, reject) => {
    const script = document.createElement("script");
    script.src = new URL("../vendor/jsqr/jsQR.js", import.meta.url);
    script.onload = resolve;
    script.onerror = () => reject(new Error("the reader of codes could not be loaded"));
    document.head.append(script);
  });
  return async (canvas, context) => {
    const picture = context.getImageData(0, 0, canvas.width, canvas.height);
    return window.jsQR(picture.data, picture.width, picture.height, { inversionAttempts: "dontInvert" })?.data;
  };
}

/** Shows the camera's picture until a code is read; gives its text, or null where the person closes it. */
export async function scanOnce() {
  const screen = document.getElementById("camera").content.cloneNode(true).firstElementChild;
  const video = screen.querySelector("video");
  const words = screen.querySelector("[data-words]");
  document.body.append(screen);
  let open = true;
  const closed = new Promise((resolve) => {
    screen.querySelector("button").addEventListener("click", () => {
      open = false;
      resolve(null);
    });
  });
  let stream = null;
  const read = async () => {
    try {
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
      video.srcObject = stream;
      await video.play();
      const decode = await reader();
      const canvas = document.createElement("canvas");
      const context = canvas.getContext("2d", { willReadFrequently: true });
      while (open) {
        // A third of a megapixel is enough for a code that fills a hand, and an old phone reads it in a moment.
        const scale = Math.min(1, 800 / Math.max(video.videoWidth, video.videoHeight, 1));
        canvas.width = Math.round(video.videoWidth * scale);
        canvas.height = Math.round(video.videoHeight * scale);
        if (canvas.width > 0) {
          context.drawImage(video, 0, 0, canvas.width, canvas.height);
          const text = await decode(canvas, context);
          if (text) return text;
        }
        await new Promise((resolve) => setTimeout(resolve, 120));
      }
      return null;
    } catch (error) {
      words.textContent = `No picture from the camera (${error.name}). Type the car's number.`;
      return closed;
    }
  };
  const text = await Promise.race([closed, read()]);
  open = false;
  stream?.getTracks().forEach((track) => track.stop());
  screen.remove();
  return text;
}
