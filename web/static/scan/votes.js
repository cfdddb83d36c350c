// Which of the codes that went by is taken: a product's number read twice alike; all else is explained or asked.
import { understood } from "./codes.js";

const WITHIN = 3000; // milliseconds for which a reading counts
const PATIENCE = 700; // before a question is asked, so that the maker's code beside it is seen first
const STRONG = 8; // agreeing lines of one picture; nearly all wrong readings had fewer
const SURE = ["EAN13", "EAN8", "UPCA"];
const MAKERS = ["product", "demo"];

/** Return what a reading is worth: "maker", "ask" or "tell". */
function standing(code, symbology) {
  if (MAKERS.includes(code.kind) && SURE.includes(symbology)) return "maker";
  // Half of a torn EAN-13 can look like a whole UPC-E, and no goods should carry an unassigned prefix.
  if (["product", "demo", "unknown", "style code"].includes(code.kind)) return "ask";
  return "tell";
}

export class Votes {
  #reads = [];
  #refused = new Set();

  /**
   * Count the readings of one picture.
   * @param {{text: string, symbology: string, quality: number, offCentre: number}[]} found
   * @param {number} now milliseconds of any clock
   * @returns {{says: "accept" | "ask" | "tell", code: object} | null} null to go on looking
   */
  add(found, now) {
    this.#reads = this.#reads.filter((one) => now - one.at < WITHIN);
    const seen = found
      .map((one) => ({ ...one, at: now, code: understood(one.text, one.symbology) }))
      .filter((one) => one.code)
      .map((one) => ({ ...one, key: one.code.gtin || one.code.typed, standing: standing(one.code, one.symbology) }))
      .sort((one, other) => one.offCentre - other.offCentre);
    // One vote a picture: the maker's code before any other, the one nearest to the middle before its neighbours.
    const best = ["maker", "ask", "tell"].map((rank) => seen.find((one) => one.standing === rank)).find(Boolean);
    if (!best) return null;
    best.quality = Math.max(...seen.filter((one) => one.key === best.key).map((one) => one.quality));
    this.#reads.push(best);
    if (best.standing === "maker") return this.#accepted(best);
    if (this.#reads.some((one) => one.standing === "maker") || this.#refused.has(best.key)) return null;
    const alike = this.#reads.filter((one) => one.key === best.key);
    if (alike.length < 2) return null;
    if (best.standing === "tell") return { says: "tell", code: best.code };
    return now - alike[0].at < PATIENCE ? null : { says: "ask", code: best.code };
  }

  /** Do not ask about this code again. */
  refuse(code) {
    this.#refused.add(code.gtin || code.typed);
    this.#reads = [];
  }

  #accepted(best) {
    // Two readings alike, in two pictures; weak ones count half, and another code in between has to be outvoted.
    const votes = {};
    for (const one of this.#reads) {
      if (one.standing === "maker") votes[one.key] = (votes[one.key] ?? 0) + (one.quality >= STRONG ? 1 : 0.5);
    }
    const { [best.key]: own, ...rest } = votes;
    return own >= 2 + Math.max(0, ...Object.values(rest)) ? { says: "accept", code: best.code } : null;
  }
}
