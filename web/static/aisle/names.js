// What the items of a pack are called: titles, style codes and barcodes' numbers, and which item one of them names.
// All of it stays as it lies in the pack until it is asked for; what then is laid out is kept.
import { foldTitle } from "./codes.js";
import { Planes, unzigzag } from "./columns.js";

export class Names {
  #kept = {};

  constructor(raw, places, said, groups) {
    Object.assign(this, { raw, places, said, groups: groups.filter((group) => group.known) });
  }

  #once(name, make) {
    return (this.#kept[name] ??= make());
  }

  #planes(name, count = this.said.items) {
    const { at, widths: [width] } = this.places.get(name);
    return new Planes(this.raw, at, count, width);
  }

  get #titles() {
    return this.#once("titles", () => this.#planes("title_length").begins(this.places.get("title").at));
  }

  /** How many bytes of each style code are those of the one before; how many more it has, and where those begin. */
  get #codes() {
    return this.#once("codes", () => {
      const more = this.#planes("style_more");
      return { same: this.#planes("style_same").all, more: more.all, begins: more.begins(this.places.get("style").at) };
    });
  }

  /** Return the brand of an item, as spelt. */
  brandOf(record) {
    return this.said.brands[this.#planes("brand").get(record)];
  }

  titleOf(record) {
    return new TextDecoder().decode(this.raw.subarray(this.#titles[record], this.#titles[record + 1]));
  }

  /** Return the whole style code of an item, "" where it has none. */
  styleOf(record) {
    const { same, more, begins } = this.#codes, found = new Uint8Array(same[record] + more[record]);
    // What it shares with the one before stands there, or with the one before that.
    for (let at = record, wanted = found.length; wanted; at--) {
      if (same[at] >= wanted) continue;
      found.set(this.raw.subarray(begins[at], begins[at] + wanted - same[at]), same[at]);
      wanted = same[at];
    }
    return new TextDecoder().decode(found);
  }

  /** Return the item of a style code, or null. */
  byStyle(key) {
    if (!key) return null;
    const wanted = new TextEncoder().encode(key);
    for (const group of this.groups) {
      const at = this.#inGroup(group, wanted);
      if (at >= 0) return at;
    }
    return this.said.also[`s:${key}`] ?? null;
  }

  /**
   * Go along a group's codes, which ascend, up to where the wanted one is or would be: only a code that shares with the
   * one before just what that shares with the wanted one has to be looked into. Those without a code stand last.
   */
  #inGroup({ first, known }, wanted) {
    const { same, more, begins } = this.#codes, { raw } = this;
    for (let at = first, alike = 0; at < first + known; at++) {
      if (same[at] > alike) continue;
      if (same[at] < alike || same[at] + more[at] === 0) return -1;
      const from = begins[at], to = from + more[at];
      let place = from;
      while (place < to && raw[place] === wanted[alike]) (place++, alike++);
      if (alike === wanted.length) return place === to ? at : -1;
      if (place < to && raw[place] > wanted[alike]) return -1;
    }
    return -1;
  }

  /** All style codes written out whole, one after another: where each begins, and the bytes. */
  get styles() {
    return this.#once("styles", () => {
      const { same, more, begins: from } = this.#codes, { raw, said: { items } } = this;
      const begins = new Uint32Array(items + 1);
      for (let at = 0; at < items; at++) begins[at + 1] = begins[at] + same[at] + more[at];
      const bytes = new Uint8Array(begins[items]);
      for (let at = 0; at < items; at++) {
        const to = begins[at], before = begins[at - 1], shared = same[at];
        for (let k = 0; k < shared; k++) bytes[to + k] = bytes[before + k];
        for (let k = 0; k < more[at]; k++) bytes[to + shared + k] = raw[from[at] + k];
      }
      return { begins, bytes };
    });
  }

  /** The barcodes' numbers without their check digit, ascending, and the item each leads to. */
  get barcodes() {
    return this.#once("barcodes", () => {
      const { size, widths: [width] } = this.places.get("gtin_step"), count = width ? size / width : 0;
      const numbers = new Float64Array(this.#planes("gtin_step", count).all);
      const records = new Uint32Array(this.#planes("gtin_record", count).all);
      for (let at = 0, number = 0, record = 0; at < numbers.length; at++) {
        numbers[at] = number += numbers[at];
        records[at] = record += unzigzag(records[at]);
      }
      return { numbers, records };
    });
  }

  /** Return the item of a GTIN-14, or null. */
  byGtin(gtin) {
    const wanted = Number(gtin.slice(0, -1)), { numbers, records } = this.barcodes;
    let low = 0, high = numbers.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (numbers[middle] < wanted) low = middle + 1;
      else high = middle;
    }
    return numbers[low] === wanted ? records[low] : null;
  }

  /** Return the first barcode's number of an item; "" where it has none. */
  gtinOf(record) {
    const at = this.barcodes.records.indexOf(record);
    return at < 0 ? "" : this.gtinAt(at);
  }

  gtinAt(place) {
    const body = String(this.barcodes.numbers[place]).padStart(13, "0");
    let sum = 0;
    for (let at = 0; at < 13; at++) sum += Number(body[at]) * (at % 2 ? 1 : 3);
    return body + ((10 - (sum % 10)) % 10);
  }

  /** Return the item that is known by its title alone, or null. */
  byTitle(title) {
    const folded = foldTitle(title);
    const titled = this.#once("titled", () => new Map(this.said.titled.map((record) => [foldTitle(this.titleOf(record)), record])));
    return titled.get(folded) ?? this.said.also[`t:${folded}`] ?? null;
  }

  /** Return up to `limit` items whose titles hold all of these folded words. */
  withWords(words, limit) {
    const titles = this.#once("folded", () => foldTitle(new TextDecoder().decode(this.#lines())).split("\n")), found = [];
    for (let at = 0; at < titles.length && found.length < limit; at++) {
      if (words.every((word) => titles[at].includes(word))) found.push(at);
    }
    return found;
  }

  /** All titles, a line each. */
  #lines() {
    const starts = this.#titles, { items } = this.said, lines = new Uint8Array(starts[items] - starts[0] + items);
    for (let record = 0; record < items; record++) {
      lines.set(this.raw.subarray(starts[record], starts[record + 1]), starts[record] - starts[0] + record);
      lines[starts[record + 1] - starts[0] + record] = 10;
    }
    return lines.subarray(0, Math.max(lines.length - 1, 0));
  }
}
