// Reads the bars in camera pictures and in photos, in a worker so that the page stays smooth. A picture of the camera
// comes as it is, a photo as { photo }. Only this script, with what it imports, may run WebAssembly.
import { fetchSecond, first } from "./readers.js";
import { readPhoto } from "./still.js";

const SIDE = 960; // longest side in pixels: larger pictures cost more and are noisier
// One pass a picture, in turn: the whole, the middle enlarged, the whole turned (bars are read along and across).
const PASSES = [{}, { part: 0.6 }, {}, { turn: 45 }].map((pass) => ({ ...pass, side: SIDE }));
const SURE = ["EAN13", "EAN8", "UPCA"]; // UPC-E are not asked of the second: half of any torn code can be one to it
const PATIENCE = 15; // pictures without any code before the second reader is fetched: it is twice as large
let count = 0;
let blank = 0;
let second = null; // once it is there: the first reads on meanwhile

async function read(picture) {
  const found = await first(picture, PASSES[count++ % PASSES.length]);
  if (second) found.push(...(await second(picture, PASSES[0], SURE)));
  blank = found.length ? 0 : blank + 1;
  if (blank === PATIENCE) help();
  picture.close();
  return found;
}

/** Get the second reader; where it cannot be had the first goes on alone. */
async function help() {
  try {
    second = await fetchSecond();
  } catch (error) {
    console.info("No second reader:", String(error));
  }
}

self.addEventListener("message", async ({ data }) => {
  try {
    self.postMessage(data.photo ? await readPhoto(data.photo) : { found: await read(data) });
  } catch (error) {
    self.postMessage({ broken: String(error) });
  }
});
