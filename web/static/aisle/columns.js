// Columns of whole numbers in a pack, read where they stand: nothing is laid out before it is asked for.
// The same forecasts as sourcing/pack/columns.py makes: the same doubles, in the same order.
const BY = {
  sale_50: ["ask"], sale_90: ["sale_50"], net: ["ask", "sale_50"], net_10: ["sale_50", "net"], net_50: ["ask", "net"], net_90: ["ask"],
  net_loss: ["net_10", "net_50"], by_target: ["tied"], sold_14: ["by_target", "tied"], sold_30: ["by_target", "sold_14"],
  sold_60: ["by_target", "sold_30"], sold_90: ["sold_60", "sold_30"],
  others_net: ["net", "sale_50"], others_loss: ["others_net", "net_loss"], others_tied: ["tied", "by_target"], others_by_target: ["by_target"],
};
export const unzigzag = (value) => (value % 2 ? -(value + 1) / 2 : value / 2);

/** Numbers in planes: the low bytes of all, then the next bytes of all. */
export class Planes {
  constructor(raw, at, count, width) {
    Object.assign(this, { raw, at, count, width });
  }

  get(place) {
    let value = 0;
    for (let plane = this.width - 1; plane >= 0; plane--) value = value * 256 + this.raw[this.at + plane * this.count + place];
    return value;
  }

  /** Return all of them: a view where each is one byte, else a copy. */
  get all() {
    if (this.width === 1) return this.raw.subarray(this.at, this.at + this.count);
    const found = new (this.width < 5 ? Uint32Array : Float64Array)(this.count);
    for (let plane = 0, worth = 1; plane < this.width; plane++, worth *= 256) {
      const bytes = this.raw.subarray(this.at + plane * this.count, this.at + (plane + 1) * this.count);
      for (let place = 0; place < bytes.length; place++) found[place] += bytes[place] * worth;
    }
    return found;
  }

  /** Return where each begins, as lengths of things that lie one after another; and at last where all end. */
  begins(from = 0) {
    const found = new Uint32Array(this.count + 1), { all } = this;
    found[0] = from;
    for (let place = 0, sum = from; place < all.length; place++) found[place + 1] = sum += all[place];
    return found;
  }
}

/** The figures of every record in every condition. */
export class Figures {
  constructor(raw, places, said, groups) {
    const records = groups.reduce((sum, group) => sum + group.count, 0);
    const beyond = groups.reduce((sum, group) => sum + group.count * (group.slots - 1), 0);
    this.last = { record: -1, figures: new Map() };
    this.columns = new Map(said.figures.map(([name, , scales]) => {
      const { at, widths: [usual, others] } = places.get(name);
      return [name, { name, scales, usual: new Planes(raw, at, records, usual), others: new Planes(raw, at + records * usual, beyond, others) }];
    }));
  }

  /** Return a figure of a record in a condition's slot, as the whole number that is kept. */
  of(name, record, slot, group) {
    const column = this.columns.get(name), usual = this.#usual(column, record, group);
    if (!slot) return usual;
    const more = unzigzag(column.others.get(group.others + (slot - 1) * group.count + record - group.first));
    if (!column.scales) return usual + more;
    return Math.floor(usual * group.ratio[slot - 1] + 0.5) + (group.beyond[name]?.[slot - 1] ?? 0) + more;
  }

  /** A record's figures rest on one another, so that those of the last one are kept. */
  #usual(column, record, group) {
    if (this.last.record !== record) this.last = { record, figures: new Map() };
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
}
