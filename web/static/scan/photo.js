// A photo read on the phone, when the server does not answer; what is said of it is what sourcing/photo/reading.py says.
import { Unusable } from "../aisle/codes.js";
import { gettext } from "../language.js";

const PATIENCE = 20_000; // milliseconds, the loading of both readers among them
const REST = {
  "store tag": gettext("an in-store tag"),
  coupon: gettext("a coupon"),
  refund: gettext("a refund receipt"),
  "not a product": gettext("a reserved number"),
};
const again = () => gettext("Scan the bars, or type the digits under them.");

/**
 * Read the product code in a photo.
 * @param {File} file
 * @returns {Promise<{typed: string, note: string, sure: boolean}>} what goes into the code field, and a sentence about it
 * @throws {Unusable} nothing in it can be used, or nothing can read it here
 */
export async function readPhoto(file) {
  if (!window.OffscreenCanvas || !window.WebAssembly || !window.createImageBitmap) {
    throw new Unusable("photo", gettext("This browser cannot read photos by itself, and your server does not answer."), "", again());
  }
  const picture = await createImageBitmap(file).catch(() => null);
  if (!picture) {
    throw new Unusable("photo", gettext("This browser cannot open that file as a photo, and your server does not answer."),
      gettext("A JPEG, PNG or WebP photo."), again());
  }
  const found = await asked(picture), code = found.chosen ?? found.maybe, note = inWords(found);
  if (!code) {
    throw new Unusable("code", note, "", gettext("Type the digits under the bars, or the style code on the tongue or box label."));
  }
  return { typed: code.typed, note, sure: Boolean(found.chosen) };
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
    throw new Unusable("photo", gettext("The reader could not be started here, and your server does not answer."), "", again());
  } finally {
    worker.terminate();
  }
}

/** Say what a photo showed, as `readPhoto` of still.js found it. */
export function inWords({ chosen, maybe, others, rest: besides }) {
  const code = (chosen ?? maybe)?.typed, rest = besides.map(({ kind, typed }) => `${REST[kind]} (${typed})`).join(gettext(" and "));
  const also = (note) => (rest ? [note, gettext("There was {rest} too.", { rest })].join(" ") : note);
  if (maybe) return also(gettext("Saw perhaps {code}, not clearly: is this the number under the bars?", { code }));
  if (chosen?.kind === "style code") {
    return also(gettext("Saw “{code}” on a label and no product number: taken as the style code.", { code }));
  }
  if (chosen && others.length) {
    return gettext("Saw the maker's code {code}, nearest to the middle, and also {others}: photograph one label if that is not the one.",
      { code, others: others.map(({ typed }) => typed).join(", ") });
  }
  if (chosen && rest) return gettext("Saw the maker's code {code} and {rest}; took the maker's code.", { code, rest });
  if (chosen) return gettext("Saw the maker's code {code}.", { code });
  if (!rest) return gettext("No code could be read. Go closer and hold still, or type it.");
  if (besides.some(({ kind }) => kind === "store tag")) {
    return gettext("Saw only {rest}: it identifies nothing outside that store. Type the maker's style code.", { rest });
  }
  return gettext("Saw only {rest}: it names no product. Type the maker's style code.", { rest });
}
