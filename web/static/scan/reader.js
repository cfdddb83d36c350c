// Reads the bars in camera pictures, in a worker so that the page stays smooth. Only this script may run WebAssembly.
import { ZBarConfigType, ZBarScanner, ZBarSymbolType, scanImageData } from "../vendor/zbar-wasm/index.mjs";

const SIDE = 960; // longest side in pixels: larger pictures cost more and are noisier
// One pass a picture, in turn: the whole, the middle enlarged, the whole turned (bars are read along and across).
const PASSES = [{}, { part: 0.6 }, {}, { turn: 45 }];
const NAMES = {
  [ZBarSymbolType.ZBAR_EAN13]: "EAN13",
  [ZBarSymbolType.ZBAR_EAN8]: "EAN8",
  [ZBarSymbolType.ZBAR_UPCA]: "UPCA",
  [ZBarSymbolType.ZBAR_UPCE]: "UPCE",
  [ZBarSymbolType.ZBAR_CODE128]: "CODE128",
};
const canvas = new OffscreenCanvas(1, 1);
const pen = canvas.getContext("2d", { willReadFrequently: true });
const ready = makeScanner();
let count = 0;

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

async function read(picture, pass) {
  const { data, scale } = drawn(picture, pass);
  const half = (scale * Math.hypot(picture.width, picture.height)) / 2;
  picture.close();
  return (await scanImageData(data, await ready)).map((symbol) => {
    const mean = (axis) => symbol.points.reduce((sum, point) => sum + point[axis], 0) / symbol.points.length;
    const offCentre = Math.hypot(mean("x") - data.width / 2, mean("y") - data.height / 2) / half;
    return { text: symbol.decode(), symbology: NAMES[symbol.type], quality: symbol.quality, offCentre };
  });
}

self.addEventListener("message", async ({ data: picture }) => {
  try {
    self.postMessage({ found: await read(picture, PASSES[count++ % PASSES.length]) });
  } catch (error) {
    self.postMessage({ broken: String(error) });
  }
});
