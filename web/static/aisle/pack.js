// The take-along pack: an item looked up by what was typed or scanned, and its figures. Written by sourcing/pack.
import { Unusable, foldName, foldTitle, parseCode, styleKey } from "./codes.js";
import { closest } from "./closest.js";
import { Figures } from "./columns.js";
import { read } from "./file.js";
import { writer } from "./money.js";
import { Names } from "./names.js";

export { FORMAT, PackError } from "./file.js";
const ELSE = "\u2605"; // stands for every category nothing is known of

/**
 * Open a pack.
 * @param {ArrayBuffer | Uint8Array} bytes the pack itself, or compressed
 * @returns {Promise<Pack>} it keeps a view of the bytes
 * @throws {PackError}
 */
export async function openPack(bytes) {
  return new Pack(await read(bytes));
}

/** Everything needed to judge without the server. */
export class Pack {
  constructor({ raw, said, from }) {
    this.said = said;
    this.about = { ...said.about, items: said.items };
    this.money = said.money;
    this.haul = said.haul;
    this.write = writer(said.money);
    this.flags = said.flags.map((flag) => ({ name: flag.name, label: flag.label, minutes: String(flag.minutes.map(Number).reduce((a, b) => a + b)),
      supplies: flag.supplies, price_effect: flag.price_effect.length > 0 }));
    let first = 0, others = 0;
    this.groups = said.groups.map((group) => {
      const count = group.known || group.brands.length, laid = { ...group, first, count, others };
      first += count;
      others += count * (group.slots - 1);
      return laid;
    });
    this.standIns = new Map(this.groups.filter((group) => !group.known).map((group) => [group.category, group]));
    const places = new Map();
    let at = from;
    for (const [name, size, ...widths] of said.columns) {
      places.set(name, { at, size, widths });
      at += size;
    }
    this.names = new Names(raw, places, said, this.groups);
    this.figures = new Figures(raw, places, said, this.groups);
  }

  /** Return the group a record is in. */
  groupOf(record) {
    let low = 0, high = this.groups.length;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (this.groups[middle].first <= record) low = middle;
      else high = middle;
    }
    while (!this.groups[low].count) low--; // a category without records begins where the next does
    return this.groups[low];
  }

  /** Return what an item is called. */
  item(record) {
    const group = this.groupOf(record);
    if (!group.known) return { label: "", brand: "", category: group.category, style_code: "", title: "", conditions: [], base_condition: "" };
    const title = this.names.titleOf(record), brand = this.names.brandOf(record), style = this.names.styleOf(record);
    return { label: title || [brand, style].filter(Boolean).join(" "), brand, category: group.category, style_code: style, title,
      conditions: Object.keys(group.conditions), base_condition: group.base_condition };
  }

  /**
   * Find the item of a code typed or scanned.
   * @param {string} text as typed
   * @param {string} symbology EAN8 or UPCE when a reader told which
   */
  find(text, symbology = "") {
    let code;
    try {
      code = parseCode(text, symbology);
    } catch (error) {
      if (!(error instanceof Unusable)) throw error;
      const { wrong, accepted, way_on } = error;
      return { state: "refused", record: null, kind: "", gtin: "", style_key: "", note: "", wrong, accepted, way_on, offers: [] };
    }
    const gtin = ["product", "demo", "unknown"].includes(code.kind) ? code.gtin : "";
    const record = (gtin ? this.names.byGtin(gtin) : null) ?? this.names.byStyle(code.styleKey) ?? this.names.byStyle(styleKey(text));
    return { state: record === null ? "unknown" : "known", record, kind: code.kind, gtin, style_key: code.styleKey, note: code.note, offers: code.offers };
  }

  /** Find the item that is known by its title alone. */
  findTitle(title) {
    return this.names.byTitle(title);
  }

  /** Return the record that stands in for an unknown item: its category's, or its brand's there. */
  standIn(category, brand) {
    const group = this.standIns.get(foldName(category)) ?? this.standIns.get(ELSE);
    return group.first + Math.max(group.brands.indexOf(foldName(brand)), 0);
  }

  /** Return the slot of a condition in a record's category. */
  slot(record, condition) {
    const group = this.groupOf(record), name = foldName(condition);
    return name ? group.conditions[name] ?? group.other : 0;
  }

  /** Return a figure of a record in a condition, as the whole number that is kept. */
  figure(name, record, slot) {
    return this.figures.of(name, record, slot, this.groupOf(record));
  }

  /** Return the known codes most like a text, the likest first, then items whose titles hold its words. */
  near(text, limit = 5) {
    const found = closest(this.names, styleKey(text), limit), words = foldTitle(text).split(" ").filter((word) => word.length > 1);
    if (words.length && /\p{L}{2}/u.test(text)) {
      found.push(...this.names.withWords(words, limit - found.length).map((record) => ({ record })));
    }
    const seen = new Set();
    return found.filter(({ record }) => !seen.has(record) && seen.add(record)).map(({ record, code }) => ({
      code: code || this.names.styleOf(record) || this.names.gtinOf(record), label: this.item(record).label }));
  }
}
