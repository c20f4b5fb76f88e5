/* A photo from the phone's camera: made small here, so that it passes a slow line; what the camera noted in it is left out. */

const SIDE_PX = 1600, QUALITY = 0.85; // as the job keeps it

async function small(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const share = Math.min(1, SIDE_PX / Math.max(picture.width, picture.height));
  const canvas = new OffscreenCanvas(Math.round(picture.width * share), Math.round(picture.height * share));
  canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
  return canvas.convertToBlob({ type: "image/jpeg", quality: QUALITY });
}

/* Lets a person take or choose one; the form to send, or null where none was chosen. */
export function chosenPhoto(caption) {
  const input = document.createElement("input");
  Object.assign(input, { type: "file", accept: "image/*" });
  input.setAttribute("capture", "environment");
  return new Promise((done, failed) => {
    input.addEventListener("cancel", () => done(null));
    input.addEventListener("change", async () => {
      try {
        const form = new FormData();
        form.append("photo", await small(input.files[0]), "photo.jpg");
        form.append("caption", caption);
        done(form);
      } catch (_) { failed(new Error("That file is no photo that this browser can read.")); }
    });
    input.click();
  });
}
