// One photo, tried in many ways until a code is sure: the order, the votes and the words of sourcing/photo/reading.py.
import { understood } from "./codes.js";
import { fetchSecond, first } from "./readers.js";

const MOST = 6000; // milliseconds; a code that took longer is typed sooner
const SURE = 12; // agreeing lines of the first reader that are worth a second vote
const DOUBLED = 1280; // longest side of a photo that is worth enlarging
const MAKERS = ["product", "demo", "unknown"];
const KINDS = ["EAN13", "EAN8", "UPCA", "UPCE", "Code128"];
const BOTH = ["first", "second"];
const FAST = [["first", 1000], ["second", 1600], ...[45, 30, 60].flatMap((turn) => BOTH.map((reader) => [reader, 1000, turn]))];
const SLOW = [
  ["first", 640], ["second", 1000], ["first", 1600], ["first", "x2"], ["second", "x2"],
  ...[30, 60, 45, 22.5, 67.5].flatMap((turn) => BOTH.map((reader) => [reader, 1600, turn])),
];
const REST = {
  "store tag": "an in-store tag", coupon: "a coupon", refund: "a refund receipt", "not a product": "a reserved number",
};

/** What the passes saw so far, by number or style code. */
class Tally {
  codes = new Map();
  votes = new Map();
  place = new Map();
  doubtful = new Map();
  short = new Map(); // UPC-E by the readers that saw it

  /** Count one pass; return the keys of the makers' codes in it. */
  add(found, reader) {
    const makers = new Set();
    for (const { text, symbology, quality, offCentre } of found) {
      const code = understood(text, symbology);
      if (!code) continue;
      const key = code.gtin || code.typed;
      if (symbology === "UPCE" && !this.#seenByBoth(key, reader)) {
        if (!this.doubtful.has(key)) this.doubtful.set(key, code);
        continue;
      }
      if (!this.codes.has(key)) this.codes.set(key, code);
      this.place.set(key, Math.min(offCentre, this.place.get(key) ?? Infinity));
      if (!MAKERS.includes(code.kind) || makers.has(key)) continue;
      this.votes.set(key, (this.votes.get(key) ?? 0) + (reader === "first" && quality >= SURE ? 2 : 1));
      makers.add(key);
    }
    return [...makers];
  }

  /** Half of a torn EAN-13 can look like a whole UPC-E to one of them. */
  #seenByBoth(key, reader) {
    const by = this.short.get(key) ?? new Set();
    this.short.set(key, by.add(reader));
    return by.size === BOTH.length;
  }

  /** Return the one of these nearest to the middle of the picture. */
  central(keys) {
    return keys.reduce((one, other) => (this.place.get(other) < this.place.get(one) ? other : one));
  }

  /** Name what was seen beside makers' and style codes. */
  get rest() {
    return [...this.codes.values()].filter(({ kind }) => REST[kind]).map(({ kind, typed }) => `${REST[kind]} (${typed})`).join(" and ");
  }
}

/**
 * Read the product code in a photo.
 * @param {ImageBitmap} photo
 * @returns {Promise<{chosen: object | null, maybe: object | null, note: string}>} the code to use, else one to confirm,
 *   as `understood` gives them, and a sentence about it
 */
export async function readPhoto(photo) {
  const started = performance.now(), tally = new Tally();
  const own = Math.max(photo.width, photo.height), read = { first, second: null };
  for (const [at, [reader, side, turn = 0]] of [...FAST, ...SLOW].entries()) {
    if (side === "x2" && own > DOUBLED) continue;
    if (at && performance.now() - started > MOST) break;
    if (reader === "second") read.second ??= await helper();
    if (!read[reader]) continue;
    const pass = { side: side === "x2" ? 2 * own : Math.min(side, own), turn, whole: true };
    let makers = tally.add(await read[reader](photo, pass), reader);
    if (at >= FAST.length) makers = [...tally.votes.keys()].filter((key) => tally.votes.get(key) >= 2);
    if (makers.length) return chosen(tally, tally.central(makers));
  }
  return undecided(tally);
}

/** Return the second reader, asked for all kinds; where it cannot be had, nothing. */
async function helper() {
  try {
    const second = await fetchSecond();
    return (photo, pass) => second(photo, pass, KINDS);
  } catch {
    return false;
  }
}

function chosen(tally, key) {
  const code = tally.codes.get(key), { rest } = tally;
  const others = [...tally.codes].filter(([other, { kind }]) => other !== key && MAKERS.includes(kind)).map(([, { typed }]) => typed);
  let note = `Saw the maker's code ${code.typed}`;
  if (others.length) note += `, nearest to the middle, and also ${others.join(", ")}: photograph one label if that is not the one`;
  else if (rest) note += ` and ${rest}; took the maker's code`;
  return { chosen: code, maybe: null, note: `${note}.` };
}

/** Offer what one vote, or only one reader, speaks for; else say what was seen. */
function undecided(tally) {
  const { rest } = tally, also = rest && ` There was ${rest} too.`;
  const unsure = [...tally.votes].sort(([one, two], [three, four]) => four - two || tally.place.get(one) - tally.place.get(three));
  const maybe = unsure.length ? tally.codes.get(unsure[0][0]) : [...tally.doubtful.values()][0];
  if (maybe) return { chosen: null, maybe, note: `Saw perhaps ${maybe.typed}, not clearly: is this the number under the bars?${also}` };
  const styles = [...tally.codes].filter(([, { kind }]) => kind === "style code").map(([key]) => key);
  if (styles.length) {
    const code = tally.codes.get(tally.central(styles));
    return { chosen: code, maybe: null, note: `Saw “${code.typed}” on a label and no product number: taken as the style code.${also}` };
  }
  if (rest) {
    const why = rest.includes("in-store tag") ? "it identifies nothing outside that store" : "it names no product";
    return { chosen: null, maybe: null, note: `Saw only ${rest}: ${why}. Type the maker's style code.` };
  }
  return { chosen: null, maybe: null, note: "No code could be read. Go closer and hold still, or type it." };
}
