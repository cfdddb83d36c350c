// One photo, tried in many ways until a code is sure: the order and the votes of sourcing/photo/reading.py. What is said of
// it stands in photo.js: a worker knows no language.
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
const REST = ["store tag", "coupon", "refund", "not a product"];

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

  /** Return what was seen beside makers' and style codes. */
  get rest() {
    return [...this.codes.values()].filter(({ kind }) => REST.includes(kind));
  }
}

/**
 * Read the product code in a photo.
 * @param {ImageBitmap} photo
 * @returns {Promise<{chosen: object | null, maybe: object | null, others: object[], rest: object[]}>} the code to use, else
 *   one to confirm; makers' codes beside it, and other codes: all as `understood` gives them
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
  const others = [...tally.codes].filter(([other, { kind }]) => other !== key && MAKERS.includes(kind)).map(([, code]) => code);
  return { chosen: tally.codes.get(key), maybe: null, others, rest: tally.rest };
}

/** Offer what one vote, or only one reader, speaks for; else a style code, or what else was seen. */
function undecided(tally) {
  const unsure = [...tally.votes].sort(([one, two], [three, four]) => four - two || tally.place.get(one) - tally.place.get(three));
  const maybe = unsure.length ? tally.codes.get(unsure[0][0]) : [...tally.doubtful.values()][0];
  const styles = [...tally.codes].filter(([, { kind }]) => kind === "style code").map(([key]) => key);
  const style = !maybe && styles.length ? tally.codes.get(tally.central(styles)) : null;
  return { chosen: style, maybe: maybe ?? null, others: [], rest: tally.rest };
}
