// Which of the labels that went by is taken: whatever was read twice alike in pictures close to each other.
const WITHIN = 3000; // milliseconds for which a reading counts
const AGAIN = 2500; // before the same label is taken once more: it is still in sight

export class Labels {
  #reads = [];
  #taken = { text: "", at: -Infinity };

  /**
   * Count the readings of one picture.
   * @param {{text: string, offCentre: number}[]} found
   * @param {number} now milliseconds of any clock
   * @returns {{says: "accept", code: {typed: string, kind: string}} | null} null to go on looking
   */
  add(found, now) {
    this.#reads = this.#reads.filter((one) => now - one.at < WITHIN);
    const [best] = found.filter((one) => one.text.trim()).sort((one, other) => one.offCentre - other.offCentre);
    if (!best) return null;
    const text = best.text.trim();
    const before = this.#reads.some((one) => one.text === text);
    this.#reads.push({ text, at: now });
    const { text: last, at } = this.#taken;
    if (text === last && now - at < AGAIN) {
      this.#taken.at = now;
      return null;
    }
    if (!before) return null;
    this.#taken = { text, at: now };
    return { says: "accept", code: { typed: text, kind: "label" } };
  }
}
