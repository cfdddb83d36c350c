// What the number of a barcode is: the arithmetic and the classes of sourcing/codes, for numbers alone.
// A test holds both to the same answers over thousands of numbers. Sources: see gtin.py and kinds.py there.
const LENGTHS = [8, 12, 13, 14];

/** Return the mod-10 check digit of the digits before it. */
export function checkDigit(body) {
  let sum = 0;
  for (let at = 0; at < body.length; at++) sum += Number(body.at(-1 - at)) * (at % 2 ? 1 : 3);
  return String((10 - (sum % 10)) % 10);
}

/** Tell whether these are the digits of a GTIN, the last of them right. */
export function isGtin(digits) {
  return /^\d+$/.test(digits) && LENGTHS.includes(digits.length) && checkDigit(digits.slice(0, -1)) === digits.at(-1);
}

/** Expand eight digits of a UPC-E to the twelve of its UPC-A; "" for what is none. */
export function expandUpce(digits) {
  if (!/^0\d{7}$/.test(digits)) return "";
  const core = digits.slice(1, 7), last = core[5];
  let body = `0${core.slice(0, 5)}0000${last}`;
  if ("012".includes(last)) body = `0${core.slice(0, 2)}${last}0000${core.slice(2, 5)}`;
  else if (last === "3") body = `0${core.slice(0, 3)}00000${core.slice(3, 5)}`;
  else if (last === "4") body = `0${core.slice(0, 4)}00000${core[4]}`;
  const check = checkDigit(body);
  return check === digits[7] ? body + check : "";
}

/** Return the eight digits of a UPC-E of these fourteen, the first way that expands back to them; "" where there is none. */
function compressUpce(gtin) {
  const upca = gtin.slice(2), maker = upca.slice(1, 6), item = upca.slice(6, 11);
  const cores = [maker.slice(0, 2) + item.slice(2) + maker[2], `${maker.slice(0, 3) + item.slice(3)}3`, `${maker.slice(0, 4) + item[4]}4`, maker + item[4]];
  return cores.map((core) => `0${core}${upca[11]}`).find((short) => expandUpce(short) === upca) ?? "";
}

/** Return the class of a canonical GTIN-14 by its GS1 prefix. */
export function classify(gtin) {
  if (gtin.startsWith("0000000")) return "store tag"; // numbers a company gives out for itself
  if (gtin.startsWith("000000")) return gtin[6] === "2" ? "store tag" : "product";
  const prefix = Number(gtin.slice(1, 4));
  const within = (least, most) => least <= prefix && prefix <= most;
  if (within(20, 29) || within(40, 49) || within(200, 299)) return "store tag";
  if (within(50, 59)) return "not a product";
  if (prefix === 952) return "demo";
  if (prefix === 980) return "refund";
  if (within(981, 983) || within(990, 999)) return "coupon";
  if (within(140, 199) || prefix === 953 || prefix === 970 || within(984, 989)) return "unknown";
  return "product";
}

/** Return the one or two GTIN-14 that digits can mean, the likelier first. */
function meanings(digits, symbology) {
  if (!isGtin(digits) && digits.length !== 8) return [];
  if (digits.length !== 8) return [digits.padStart(14, "0")];
  const long = symbology === "EAN8" ? "" : expandUpce(digits);
  const short = symbology !== "UPCE" && isGtin(digits) ? digits : "";
  return [long, short].filter(Boolean).map((one) => one.padStart(14, "0"));
}

/** Spell a GTIN-14 as it stands under the bars, or longer where those digits could mean another number too. */
function spelt(gtin, text, symbology) {
  const shorter = [8, 12, 13].map((length) => gtin.slice(-length)).filter((one) => /^0*$/.test(gtin.slice(0, -one.length)));
  if (symbology === "UPCE") shorter.unshift(text.length === 8 ? text : compressUpce(gtin)); // the second reader tells it whole
  return shorter.find((one) => meanings(one, "").join() === gtin) ?? gtin;
}

/**
 * Understand what a reader saw.
 * @param {string} text the digits or words of the bars
 * @param {string} symbology EAN13, EAN8, UPCA, UPCE or CODE128
 * @returns {{kind: string, gtin: string, typed: string} | null} `typed` is what to put into the code field;
 *   null for a number whose check digit is wrong. What is no number is a style code, for the server to look into.
 */
export function understood(text, symbology) {
  const gtin = meanings(text, symbology)[0];
  if (gtin) return { kind: classify(gtin), gtin, typed: spelt(gtin, text, symbology) };
  if (symbology !== "CODE128" || !/^[\x20-\x7e]{3,80}$/.test(text)) return null;
  const wrong = /^\d+$/.test(text) && LENGTHS.includes(text.length); // a maker's own number of a GTIN's length
  return { kind: "style code", gtin: "", typed: wrong ? `style ${text}` : text };
}
