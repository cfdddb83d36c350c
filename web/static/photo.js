// Shrink a photo before it is sent: a shop's signal is thin, and bars are still read at 1600 pixels.
// Everything works without this file; the server takes the photo as it is.
const LONGEST = 1600;

async function shrink(input) {
  const file = input.files[0];
  if (!file || file.size < 600_000 || !window.createImageBitmap) return;
  try {
    const picture = await createImageBitmap(file);
    const scale = Math.min(1, LONGEST / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(picture.width * scale);
    canvas.height = Math.round(picture.height * scale);
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    const blob = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.9));
    if (!blob || blob.size >= file.size) return;
    const files = new DataTransfer();
    files.items.add(new File([blob], "photo.jpg", { type: "image/jpeg" }));
    input.files = files.files;
  } catch {
    // A format this browser cannot draw: the server may still read it.
  }
}

for (const input of document.querySelectorAll("input[data-shrink]")) {
  input.addEventListener("change", () => shrink(input));
}
