// The take-along pack: opened from its bytes, looked up by code. Format: docs/pack_format.md; written by sourcing/pack.
import { Unusable, foldName, foldTitle, parseCode, styleKey } from "./codes.js";
import { closest } from "./closest.js";
import { writer } from "./money.js";

export const FORMAT = 1;
const MAGIC = "TAKEALNG", START = 28;
const AGAIN = "Fetch it again when the server is in reach.";

/** Why bytes cannot be used as a pack. */
export class PackError extends Error {
  constructor(state, words, wayOn = AGAIN) {
    super(words);
    Object.assign(this, { state, wayOn });
  }
}

/**
 * Open a pack.
 * @param {ArrayBuffer | Uint8Array} bytes the pack itself, or compressed
 * @returns {Promise<Pack>} it keeps a view of the bytes
 * @throws {PackError}
 */
export async function openPack(bytes) {
  let raw = bytes instanceof Uint8Array ? bytes : new Uint8Array(bytes);
  if (raw[0] === 0x1f && raw[1] === 0x8b) {
    try {
      const stream = new Blob([raw]).stream().pipeThrough(new DecompressionStream("gzip"));
      raw = new Uint8Array(await new Response(stream).arrayBuffer());
    } catch {
      throw new PackError("damaged", "The take-along pack is damaged.");
    }
  }
  const said = header(raw);
  return new Pack(raw, said, START + new DataView(raw.buffer, raw.byteOffset).getUint32(12, true));
}

function header(raw) {
  const view = new DataView(raw.buffer, raw.byteOffset, raw.byteLength);
  if (raw.length < 10 || String.fromCharCode(...raw.subarray(0, 8)) !== MAGIC) {
    throw new PackError("not a pack", "This is not a take-along pack.");
  }
  const version = view.getUint16(8, true);
  if (version !== FORMAT) {
    throw new PackError("other version", `The take-along pack is of version ${version}, and this page reads version ${FORMAT}.`,
      "Open the page once with the server in reach, so that both are renewed.");
  }
  const whole = raw.length >= START && view.getUint32(16, true) === raw.length && raw.length % 4 === 0;
  if (!whole || sums(raw, START).some((sum, at) => sum !== view.getUint32(20 + 4 * at, true))) {
    throw new PackError("damaged", "The take-along pack is damaged or cut short.");
  }
  return JSON.parse(new TextDecoder().decode(raw.subarray(START, START + view.getUint32(12, true))));
}

/**
 * Add all words up, and all those sums: every changed bit and every change of order shows (Fletcher 1982). A tenth of the
 * time a CRC takes, and the pack is gone through whenever it is opened.
 */
function sums(raw, from) {
  const words = (raw.length - from) >> 2, whole = (raw.byteOffset + from) % 4 === 0;
  const read = new Uint32Array(whole ? raw.buffer : raw.slice(from, from + 4 * words).buffer, whole ? raw.byteOffset + from : 0, words);
  let first = 0, second = 0;
  for (let at = 0; at < words; at++) {
    first = (first + read[at]) | 0;
    second = (second + first) | 0;
  }
  return [first >>> 0, second >>> 0];
}

const BY = {
  sale_50: ["ask"], sale_90: ["sale_50"], net: ["ask", "sale_50"], net_10: ["sale_50", "net"], net_50: ["ask", "net"], net_90: ["ask"],
  net_loss: ["net_10", "net_50"], by_target: ["tied"], sold_14: ["by_target", "tied"], sold_30: ["by_target", "sold_14"],
  sold_60: ["by_target", "sold_30"], sold_90: ["sold_60", "sold_30"],
};
const unzigzag = (value) => (value % 2 ? -(value + 1) / 2 : value / 2);

/** Numbers in planes: the low bytes of all, then the next bytes of all. */
class Planes {
  constructor(raw, at, count, width) {
    Object.assign(this, { raw, at, count, width });
  }

  get(place) {
    let value = 0;
    for (let plane = this.width - 1; plane >= 0; plane--) value = value * 256 + this.raw[this.at + plane * this.count + place];
    return value;
  }
}

/** Everything needed to judge without the server. */
export class Pack {
  constructor(raw, said, from) {
    this.raw = raw;
    this.said = said;
    this.about = { ...said.about, items: said.items };
    this.money = said.money;
    this.haul = said.haul;
    this.write = writer(said.money);
    this.flags = said.flags.map((flag) => ({ name: flag.name, label: flag.label, minutes: String(flag.minutes.map(Number).reduce((a, b) => a + b)),
      supplies: flag.supplies, price_effect: flag.price_effect.length > 0 }));
    this.places = new Map();
    let at = from;
    for (const [name, size, ...widths] of said.columns) {
      this.places.set(name, { at, size, widths });
      at += size;
    }
    this.#lay();
    this.#readStyles();
  }

  /** Where each group's records and figures begin. */
  #lay() {
    let first = 0, beyond = 0;
    this.groups = this.said.groups.map((group) => {
      const count = group.known || group.brands.length, laid = { ...group, constants: group.beyond, first, count, beyond };
      first += count;
      beyond += count * (group.slots - 1);
      return laid;
    });
    this.firsts = Float64Array.from(this.groups, (group) => group.first);
    this.standIns = new Map(this.groups.filter((group) => !group.known).map((group) => [group.category, group]));
    this.categories = [...this.standIns.values()].filter((group) => group.category && group.category !== "★").map((group) => ({
      name: group.category, conditions: Object.keys(group.conditions), base_condition: group.base_condition, brands: group.brands.slice(1) }));
    this.columns = new Map(this.said.figures.map(([name, decimals, scales]) => {
      const { at, widths: [usual, others] } = this.places.get(name);
      return [name, { name, decimals, scales, usual: new Planes(this.raw, at, first, usual), others: new Planes(this.raw, at + first * usual, beyond, others) }];
    }));
    const items = this.said.items, planes = (name) => new Planes(this.raw, this.places.get(name).at, items, this.places.get(name).widths[0]);
    this.brandOf = planes("brand");
    this.titleStart = starts(planes("title_length"), items);
    this.styleSame = planes("style_same");
    this.styleMore = planes("style_more");
  }

  /** Write the style codes out whole: each was kept less what it shares with the one before. */
  #readStyles() {
    const { said: { items }, raw } = this, from = this.places.get("style").at;
    const begins = new Uint32Array(items + 1);
    for (let at = 0; at < items; at++) begins[at + 1] = begins[at] + this.styleSame.get(at) + this.styleMore.get(at);
    const bytes = new Uint8Array(begins[items]);
    for (let at = 0, read = from; at < items; at++) {
      const same = this.styleSame.get(at), more = this.styleMore.get(at), to = begins[at];
      for (let k = 0; k < same; k++) bytes[to + k] = bytes[begins[at - 1] + k];
      for (let k = 0; k < more; k++) bytes[to + same + k] = raw[read + k];
      read += more;
    }
    this.styles = { begins, bytes };
  }

  /** Add up the steps between the barcodes' numbers, kept less their check digit; not before one is looked for. */
  get codes() {
    if (this.added) return this.added;
    const { at, size, widths: [width] } = this.places.get("gtin_step"), count = width ? size / width : 0;
    const steps = new Planes(this.raw, at, count, width), to = this.places.get("gtin_record");
    const places = new Planes(this.raw, to.at, count, to.widths[0]);
    this.added = { gtins: new Float64Array(count), records: new Uint32Array(count) };
    for (let k = 0, number = 0, record = 0; k < count; k++) {
      this.added.gtins[k] = number += steps.get(k);
      this.added.records[k] = record += unzigzag(places.get(k));
    }
    return this.added;
  }

  /** Return the whole style code of an item, "" where it has none. */
  styleOf(record) {
    const { begins, bytes } = this.styles;
    return new TextDecoder().decode(bytes.subarray(begins[record], begins[record + 1]));
  }

  titleOf(record) {
    const { at } = this.places.get("title");
    return new TextDecoder().decode(this.raw.subarray(at + this.titleStart[record], at + this.titleStart[record + 1]));
  }

  /** Return the group a record is in. */
  groupOf(record) {
    let low = 0, high = this.groups.length;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (this.firsts[middle] <= record) low = middle;
      else high = middle;
    }
    while (!this.groups[low].count) low--; // a category without records begins where the next does
    return this.groups[low];
  }

  /** Return what an item is called. */
  item(record) {
    const group = this.groupOf(record);
    if (!group.known) return { label: "", brand: "", category: group.category, style_code: "", title: "", conditions: [], base_condition: "" };
    const title = this.titleOf(record), brand = this.said.brands[this.brandOf.get(record)], style = this.styleOf(record);
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
    const record = (gtin && this.#byGtin(gtin)) || this.#byStyle(code.styleKey) || this.#byStyle(styleKey(text));
    return { state: record ? "known" : "unknown", record: record ? record.at : null, kind: code.kind, gtin, style_key: code.styleKey,
      note: code.note, offers: code.offers };
  }

  /** Find the item that is known by its title alone. */
  findTitle(title) {
    this.byTitle ??= new Map(this.said.titled.map((record) => [foldTitle(this.titleOf(record)), record]));
    return this.byTitle.get(foldTitle(title)) ?? this.said.also[`t:${foldTitle(title)}`] ?? null;
  }

  #byGtin(gtin) {
    const wanted = Number(gtin.slice(0, -1)), { gtins, records } = this.codes;
    let low = 0, high = gtins.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (gtins[middle] < wanted) low = middle + 1;
      else high = middle;
    }
    return gtins[low] === wanted ? { at: records[low] } : null;
  }

  #byStyle(key) {
    if (!key) return null;
    const wanted = new TextEncoder().encode(key), { begins, bytes } = this.styles;
    for (const group of this.groups) {
      let low = group.first, high = group.first + group.known;
      while (low < high) {
        const middle = (low + high) >> 1;
        // Items without a style code stand last.
        if (begins[middle] < begins[middle + 1] && compare(bytes, begins[middle], begins[middle + 1], wanted) < 0) low = middle + 1;
        else high = middle;
      }
      if (low < group.first + group.known && compare(bytes, begins[low], begins[low + 1], wanted) === 0) return { at: low };
    }
    const at = this.said.also[`s:${key}`];
    return at === undefined ? null : { at };
  }

  /** Return the record that stands in for an unknown item: its category's, or its brand's there. */
  standIn(category, brand) {
    const group = this.standIns.get(foldName(category)) ?? this.standIns.get("★");
    return group.first + Math.max(group.brands.indexOf(foldName(brand)), 0);
  }

  /** Return the slot of a condition in a record's category. */
  slot(record, condition) {
    const group = this.groupOf(record), name = foldName(condition);
    return name ? group.conditions[name] ?? group.other : 0;
  }

  /** Return a figure of a record in a condition, as the whole number that is kept. */
  figure(name, record, slot) {
    const group = this.groupOf(record), column = this.columns.get(name), usual = this.#usual(column, record, group);
    if (!slot) return usual;
    const more = unzigzag(column.others.get(group.beyond + (slot - 1) * group.count + record - group.first));
    if (!column.scales) return usual + more;
    return Math.floor(usual * group.ratio[slot - 1] + 0.5) + (group.constants[name]?.[slot - 1] ?? 0) + more;
  }

  /** A record's figures rest on one another, so that those of the last one are kept. */
  #usual(column, record, group) {
    if (this.last?.record !== record) this.last = { record, figures: new Map() };
    const { figures } = this.last;
    if (!figures.has(column.name)) figures.set(column.name, this.#foretold(column, record, group) + unzigzag(column.usual.get(record)));
    return figures.get(column.name);
  }

  #foretold({ name }, record, group) {
    const of = (other) => this.#usual(this.columns.get(other), record, group);
    if (name === "sale_10") {
      const middle = of("sale_50");
      return Math.floor((middle * middle) / Math.max(of("sale_90"), 1) + 0.5);
    }
    const line = group.usual[name];
    if (!line) return 0;
    let found = 0 + line[0];
    BY[name].forEach((other, at) => (found += line[at + 1] * of(other)));
    return Math.floor(found + 0.5);
  }

  /** Return the known codes most like a text, the likest first, then items whose titles hold its words. */
  near(text, limit = 5) {
    const found = closest(this, styleKey(text), limit), words = foldTitle(text).split(" ").filter((word) => word.length > 1);
    if (words.length && /\p{L}{2}/u.test(text)) {
      this.folded ??= foldTitle(new TextDecoder().decode(this.#titles())).split("\n");
      for (let at = 0; at < this.folded.length && found.length < limit; at++) {
        if (words.every((word) => this.folded[at].includes(word))) found.push({ record: at });
      }
    }
    const seen = new Set();
    return found.filter(({ record }) => !seen.has(record) && seen.add(record)).map(({ record, code }) => ({
      code: code || this.styleOf(record) || this.codeOf(record), label: this.item(record).label }));
  }

  /** Return the first barcode's number of an item; "" where it has none. */
  codeOf(record) {
    const at = this.codes.records.indexOf(record);
    return at < 0 ? "" : this.gtinAt(at);
  }

  gtinAt(place) {
    const body = String(this.codes.gtins[place]).padStart(13, "0");
    let sum = 0;
    for (let at = 0; at < 13; at++) sum += Number(body[at]) * (at % 2 ? 1 : 3);
    return body + ((10 - (sum % 10)) % 10);
  }

  /** All titles, a line each. */
  #titles() {
    const { at } = this.places.get("title"), items = this.said.items, lines = new Uint8Array(this.titleStart[items] + items);
    for (let record = 0; record < items; record++) {
      const from = this.titleStart[record], to = this.titleStart[record + 1];
      lines.set(this.raw.subarray(at + from, at + to), from + record);
      lines[to + record] = 10;
    }
    return lines.subarray(0, Math.max(lines.length - 1, 0));
  }
}

function starts(lengths, count) {
  const found = new Uint32Array(count + 1);
  for (let at = 0; at < count; at++) found[at + 1] = found[at] + lengths.get(at);
  return found;
}

/** Compare bytes of a list with a key, as their order in it. */
function compare(bytes, from, to, wanted) {
  const size = Math.min(to - from, wanted.length);
  for (let at = 0; at < size; at++) {
    if (bytes[from + at] !== wanted[at]) return bytes[from + at] - wanted[at];
  }
  return to - from - wanted.length;
}
