// The two readers of bars and what they look at: a picture drawn anew, smaller, turned, or a part of it.
// Imported by the worker alone: only its script may run WebAssembly.
import { ZBarConfigType, ZBarScanner, ZBarSymbolType, scanImageData } from "../vendor/zbar-wasm/index.mjs";

const ENOUGH = 8; // what a reading of the second reader counts, which tells no quality
const NAMES = {
  [ZBarSymbolType.ZBAR_EAN13]: "EAN13",
  [ZBarSymbolType.ZBAR_EAN8]: "EAN8",
  [ZBarSymbolType.ZBAR_UPCA]: "UPCA",
  [ZBarSymbolType.ZBAR_UPCE]: "UPCE",
  [ZBarSymbolType.ZBAR_CODE128]: "CODE128",
};
if (self.name === "labels") NAMES[ZBarSymbolType.ZBAR_QRCODE] = "QRCODE"; // labels of stock: no goods bear them
const canvas = new OffscreenCanvas(1, 1);
const pen = canvas.getContext("2d", { willReadFrequently: true });
const ready = makeScanner();

async function makeScanner() {
  const scanner = await ZBarScanner.create();
  // Asked for all it knows, it takes stripes for other kinds of codes.
  scanner.setConfig(ZBarSymbolType.ZBAR_NONE, ZBarConfigType.ZBAR_CFG_ENABLE, 0);
  for (const kind of Object.keys(NAMES)) scanner.setConfig(Number(kind), ZBarConfigType.ZBAR_CFG_ENABLE, 1);
  return scanner;
}

/**
 * Draw what a pass looks at.
 * @param {{part?: number, turn?: number, side: number, whole?: boolean}} pass part: of the picture, from its middle out;
 *   turn: degrees; side: the longest side in pixels, before turning; whole: nothing is cut off by turning
 */
export function drawn(picture, { part = 1, turn = 0, side, whole = false }) {
  const wide = picture.width * part, high = picture.height * part, angle = (turn * Math.PI) / 180;
  const scale = side / Math.max(wide, high), sine = whole ? Math.abs(Math.sin(angle)) : 0, cosine = whole ? Math.abs(Math.cos(angle)) : 1;
  canvas.width = Math.round(scale * (wide * cosine + high * sine));
  canvas.height = Math.round(scale * (wide * sine + high * cosine));
  pen.imageSmoothingQuality = whole ? "high" : "low"; // a photo is drawn much smaller, a camera's picture a little
  pen.fillStyle = "#808080";
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.translate(canvas.width / 2, canvas.height / 2);
  pen.rotate(angle);
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

/** Read with the first reader: { text, symbology, quality, offCentre } of each code. */
export async function first(picture, pass) {
  const view = drawn(picture, pass);
  return (await scanImageData(view.data, await ready)).map((symbol) => ({
    text: symbol.decode(),
    symbology: NAMES[symbol.type],
    quality: symbol.quality,
    offCentre: offCentre(symbol.points, view, picture),
  }));
}

let second = null;

/** Fetch the second reader, which sees more in blurred pictures, and return it; it is more than twice as large. */
export function fetchSecond() {
  second ??= fetched().catch((error) => ((second = null), Promise.reject(error)));
  return second;
}

async function fetched() {
  const { prepareZXingModule, readBarcodes } = await import("../vendor/zxing-wasm/reader/index.js");
  const place = new URL("../vendor/zxing-wasm/reader/zxing_reader.wasm", import.meta.url).href;
  await prepareZXingModule({ overrides: { locateFile: () => place }, fireImmediately: true });
  return async (picture, pass, formats) => {
    const view = drawn(picture, pass);
    return (await readBarcodes(view.data, { formats, maxNumberOfSymbols: 4 })).map(({ text, format, position }) => ({
      text,
      symbology: format.replace(/\W/g, "").toUpperCase(),
      quality: ENOUGH,
      offCentre: offCentre([position.topLeft, position.bottomRight], view, picture),
    }));
  };
}
