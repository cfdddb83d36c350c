// The known codes most like one that is not known: twice the letters in common, in order, over the letters of both
// (the likeness by longest common subsequence that sourcing.codes.closest takes). Bit-parallel: Hyyrö 2004.
const LEAST = 0.7, MOST_LETTERS = 31;

/**
 * Return the records whose codes are most like a key, the likest first.
 * @returns {{record: number, code: string}[]}
 */
export function closest(names, key, limit) {
  if (!key || key.length > MOST_LETTERS || !/^[\x21-\x7e]+$/.test(key)) return [];
  const masks = new Int32Array(128), wanted = key.length, best = [];
  for (let at = 0; at < wanted; at++) masks[key.charCodeAt(at)] |= 1 << at;
  const full = (1 << wanted) - 1;
  const offer = (like, record, code) => {
    if (like < LEAST || (best.length === limit && like <= best[limit - 1].like)) return;
    const at = best.findIndex((one) => one.like < like);
    best.splice(at < 0 ? best.length : at, 0, { like, record, code });
    best.length = Math.min(best.length, limit);
  };
  const { begins, bytes } = names.styles;
  for (let record = 0; record + 1 < begins.length; record++) {
    const from = begins[record], to = begins[record + 1], size = to - from;
    if (!size || (2 * Math.min(size, wanted)) / (size + wanted) < LEAST) continue;
    let row = -1;
    for (let at = from; at < to; at++) {
      const both = row & masks[bytes[at] & 127];
      row = (row + both) | (row - both);
    }
    offer((2 * ones(~row & full)) / (size + wanted), record, "");
  }
  if (/^[0-9]{7,14}$/.test(key)) barcodes(names, key, masks, full, offer);
  return best;
}

/** The same over barcodes' numbers, their digits taken off one by one. */
function barcodes(names, key, masks, full, offer) {
  const digits = new Uint8Array(14), { numbers, records } = names.barcodes;
  for (let place = 0; place < numbers.length; place++) {
    let rest = numbers[place], sum = 0;
    for (let at = 12; at >= 0; at--) {
      const next = Math.floor(rest / 10), digit = rest - next * 10;
      digits[at] = digit;
      sum += at % 2 ? digit : 3 * digit;
      rest = next;
    }
    digits[13] = (10 - (sum % 10)) % 10;
    let from = 0;
    while (from < 6 && !digits[from]) from++; // zeros in front are not typed
    let row = -1;
    for (let at = from; at < 14; at++) {
      const both = row & masks[48 + digits[at]];
      row = (row + both) | (row - both);
    }
    const like = (2 * ones(~row & full)) / (14 - from + key.length);
    if (like >= 0.7) offer(like, records[place], names.gtinAt(place));
  }
}

function ones(bits) {
  let left = bits, count = 0;
  for (; left; left &= left - 1) count++;
  return count;
}
