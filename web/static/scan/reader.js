// Reads the bars in camera pictures, in a worker so that the page stays smooth. Only this script may run WebAssembly.
import { ZBarConfigType, ZBarScanner, ZBarSymbolType, scanImageData } from "../vendor/zbar-wasm/index.mjs";

const SIDE = 960; // longest side in pixels: larger pictures cost more and are noisier
// One pass a picture, in turn: the whole, the middle enlarged, the whole turned (bars are read along and across).
const PASSES = [{}, { part: 0.6 }, {}, { turn: 45 }];
const ENOUGH = 8; // what a reading of the second reader counts, which tells no quality
const NAMES = {
  [ZBarSymbolType.ZBAR_EAN13]: "EAN13",
  [ZBarSymbolType.ZBAR_EAN8]: "EAN8",
  [ZBarSymbolType.ZBAR_UPCA]: "UPCA",
  [ZBarSymbolType.ZBAR_UPCE]: "UPCE",
  [ZBarSymbolType.ZBAR_CODE128]: "CODE128",
};
const PATIENCE = 15; // pictures without any code before the second reader is fetched: it is twice as large
const canvas = new OffscreenCanvas(1, 1);
const pen = canvas.getContext("2d", { willReadFrequently: true });
const ready = makeScanner();
let count = 0;
let blank = 0;
let second = null; // once it is there: the first reads on meanwhile
let fetching = false;

async function makeScanner() {
  const scanner = await ZBarScanner.create();
  // Asked for all it knows, it takes stripes for other kinds of codes.
  scanner.setConfig(ZBarSymbolType.ZBAR_NONE, ZBarConfigType.ZBAR_CFG_ENABLE, 0);
  for (const kind of Object.keys(NAMES)) scanner.setConfig(Number(kind), ZBarConfigType.ZBAR_CFG_ENABLE, 1);
  return scanner;
}

/** Draw the part of the picture that this pass looks at. */
function drawn(picture, { part = 1, turn = 0 }) {
  const wide = picture.width * part, high = picture.height * part;
  const scale = SIDE / Math.max(wide, high);
  canvas.width = Math.round(wide * scale);
  canvas.height = Math.round(high * scale);
  pen.fillStyle = "#808080";
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.translate(canvas.width / 2, canvas.height / 2);
  pen.rotate((turn * Math.PI) / 180);
  pen.scale(scale, scale);
  pen.drawImage(picture, -picture.width / 2, -picture.height / 2);
  return { data: pen.getImageData(0, 0, canvas.width, canvas.height), scale };
}

/** Return how far from the middle these corners lie: 0 there, 1 at the corners of the whole picture. */
function offCentre(corners, { data, scale }, picture) {
  const mean = (axis) => corners.reduce((sum, corner) => sum + corner[axis], 0) / corners.length;
  const away = Math.hypot(mean("x") - data.width / 2, mean("y") - data.height / 2);
  return (2 * away) / (scale * Math.hypot(picture.width, picture.height));
}

async function first(picture, pass) {
  const view = drawn(picture, pass);
  return (await scanImageData(view.data, await ready)).map((symbol) => ({
    text: symbol.decode(),
    symbology: NAMES[symbol.type],
    quality: symbol.quality,
    offCentre: offCentre(symbol.points, view, picture),
  }));
}

/** Fetch the second reader, which sees more in blurred pictures; where it cannot be had the first goes on alone. */
async function fetchSecond() {
  if (fetching) return;
  fetching = true;
  try {
    const { prepareZXingModule, readBarcodes } = await import("../vendor/zxing-wasm/reader/index.js");
    const place = new URL("../vendor/zxing-wasm/reader/zxing_reader.wasm", import.meta.url).href;
    await prepareZXingModule({ overrides: { locateFile: () => place }, fireImmediately: true });
    // Its UPC-E are not asked for: half of any torn code can be one to it.
    second = (data) => readBarcodes(data, { formats: ["EAN13", "EAN8", "UPCA"], maxNumberOfSymbols: 4 });
  } catch (error) {
    console.info("No second reader:", String(error));
  }
}

async function again(picture) {
  const view = drawn(picture, {});
  return (await second(view.data)).map(({ text, format, position }) => ({
    text,
    symbology: format.replace(/\W/g, ""),
    quality: ENOUGH,
    offCentre: offCentre([position.topLeft, position.bottomRight], view, picture),
  }));
}

async function read(picture) {
  const found = await first(picture, PASSES[count++ % PASSES.length]);
  if (second) found.push(...(await again(picture)));
  blank = found.length ? 0 : blank + 1;
  if (blank >= PATIENCE) fetchSecond();
  picture.close();
  return found;
}

self.addEventListener("message", async ({ data: picture }) => {
  try {
    self.postMessage({ found: await read(picture) });
  } catch (error) {
    self.postMessage({ broken: String(error) });
  }
});
