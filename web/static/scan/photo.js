// A photo read on the phone, when the server does not answer.
import { Unusable } from "../aisle/codes.js";

const PATIENCE = 20_000; // milliseconds, the loading of both readers among them
const AGAIN = "Scan the bars, or type the digits under them.";

/**
 * Read the product code in a photo.
 * @param {File} file
 * @returns {Promise<{typed: string, note: string, sure: boolean}>} what goes into the code field, and a sentence about it
 * @throws {Unusable} nothing in it can be used, or nothing can read it here
 */
export async function readPhoto(file) {
  if (!window.OffscreenCanvas || !window.WebAssembly || !window.createImageBitmap) {
    throw new Unusable("photo", "This browser cannot read photos by itself, and your server does not answer.", "", AGAIN);
  }
  const picture = await createImageBitmap(file).catch(() => null);
  if (!picture) {
    throw new Unusable("photo", "This browser cannot open that file as a photo, and your server does not answer.", "A JPEG, PNG or WebP photo.", AGAIN);
  }
  const { chosen, maybe, note } = await asked(picture);
  const code = chosen ?? maybe;
  if (!code) throw new Unusable("code", note, "", "Type the digits under the bars, or the style code on the tongue or box label.");
  return { typed: code.typed, note, sure: Boolean(chosen) };
}

/** Let a worker read it: only there WebAssembly may run. */
async function asked(picture) {
  const worker = new Worker(new URL("./reader.js", import.meta.url), { type: "module" });
  try {
    const said = await new Promise((done, failed) => {
      setTimeout(failed, PATIENCE, new Error("late"));
      worker.addEventListener("error", failed);
      worker.addEventListener("message", ({ data }) => done(data));
      worker.postMessage({ photo: picture }, [picture]);
    });
    if (said.broken) throw new Error(said.broken);
    return said;
  } catch {
    throw new Unusable("photo", "The reader could not be started here, and your server does not answer.", "", AGAIN);
  } finally {
    worker.terminate();
  }
}
