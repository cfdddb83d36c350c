// Money in whole cents: what a till takes off and adds, the same way back, and rounding as the server rounds. Shares are
// kept as whole numbers over a power of ten, so that nothing is lost; see sourcing/purchase.py and sourcing/money.py.
import { gettext } from "../language.js";
import { Unusable } from "./codes.js";

const DEAREST = 100_000_000, MOST_STEPS = 5, MOST_PIECES = 999;

/** Read a decimal text as a whole number over a power of ten. */
function exact(text) {
  const [whole, part = ""] = text.split(".");
  return { top: BigInt(whole + part), under: 10n ** BigInt(part.length) };
}

/** Return p * top / under, rounded half up to a whole number; for amounts of 0 and more. */
const times = (price, { top, under }) => Number((2n * BigInt(price) * top + under) / (2n * under));

/** Return the highest whole price whose product rounds half up to at most `left`. */
const highest = (left, { top, under }) => Number(((2n * BigInt(left) + 1n) * under + 2n * top - 1n) / (2n * top) - 1n);

/** Store discounts in the order the till takes them; the steps have an amount's cents, or a share as text. */
export class Discount {
  constructor(steps) {
    this.steps = steps.filter(({ value }) => Number(value) !== 0).map(({ value, share }) => {
      const read = exact(value);
      return share ? { left: { top: read.under - read.top, under: read.under } } : { off: times(100, read) };
    });
  }

  off(price) {
    return this.steps.reduce((now, step) => (step.left ? times(now, step.left) : Math.max(now - step.off, 0)), price);
  }

  before(left) {
    return this.steps.reduceRight((now, step) => (step.left ? highest(now, step.left) : now + step.off), left);
  }
}

const wrongDiscount = (text) => new Unusable("discount", gettext("“{text}” is not a discount.", { text: text.trim().slice(0, 60) }),
  gettext("A percentage from 0 to under 100, such as 20, or several in the till's order, such as 30% then 5.00."), gettext("Type what the store takes off."));

/**
 * Read “20”, “20%”, “30% then 5.00” or “5.00 off”.
 * @throws {Unusable}
 */
export function readDiscount(text) {
  const parts = text.trim().split(/\s+then\s+|\s*\+\s*/i), alone = parts.length === 1;
  const steps = parts.map((part) => {
    const named = /off$/i.test(part.trim()), bare = named ? part.trim().slice(0, -3).trim() : part.trim();
    const share = bare.endsWith("%") || (alone && !named), number = bare.replace(/%$/, "").trim();
    if (!/^[0-9]{1,9}(?:[.,][0-9]{1,6})?$/.test(number)) throw wrongDiscount(text);
    const read = exact(number.replace(",", "."));
    if (share ? read.top >= 100n * read.under : (read.top * 100n) % read.under) throw wrongDiscount(text);
    return share ? { value: overHundred(number.replace(",", ".")), share } : { value: number.replace(",", "."), share };
  });
  if (steps.length > MOST_STEPS) throw new Unusable("discount", gettext("{number} discounts.", { number: steps.length }), gettext("Up to {most}, one after another.", { most: MOST_STEPS }));
  return new Discount(steps);
}

function overHundred(text) {
  const [whole, part = ""] = text.split("."), long = whole.padStart(3, "0");
  return `${long.slice(0, -2)}.${long.slice(-2)}${part}`;
}

/** What a purchase costs: tax in force and the way back to a shelf price. */
export class Till {
  constructor(tax, discount) {
    const read = exact(tax);
    this.factor = { top: read.under + read.top, under: read.under };
    this.discount = discount;
  }

  landed(shelf) {
    return times(this.discount.off(shelf), this.factor);
  }

  /** Return the highest shelf price whose landed cost is at most `landed` cents. */
  shelf(landed) {
    return this.discount.before(highest(landed, this.factor));
  }
}

const GROUPED = /^[1-9][0-9]{0,2}([., '’])[0-9]{3}(?:\1[0-9]{3})*(?!\1)[.,][0-9]{1,2}$/;

/** Say how a price for several pieces is written: “3 for 20”, and in the page's own language, “3 für 20”. */
function several(said) {
  const plain = said.replace(/[.*+?^$()|[\]\\]/g, "\\$&");
  return new RegExp(`^${plain.replace("{pieces}", "(?<pieces>[0-9]{1,3})").replace("{amount}", "(?<amount>.+)").replaceAll(" ", "\\s+")}$`, "iu");
}

const SEVERAL = ["{pieces} for {amount}", gettext("{pieces} for {amount}")].map(several);

/** Say whether an amount is whole thousands set apart as the locale does it: 1,299 in en_US, 1.299 in de_DE. */
function wholeGroups(text, group) {
  const parts = text.split(/^\s$/.test(group) ? /\s/ : group);
  return parts.length > 1 && /^[1-9][0-9]{0,2}$/.test(parts[0]) && parts.slice(1).every((part) => /^[0-9]{3}$/.test(part));
}

/**
 * Read a price as typed, in cents; point and comma are both decimal marks, but where the locale's own mark between groups
 * of three sets thousands apart: no currency of a pack has three decimals. “3 for 20” is the price of one of three.
 * @throws {Unusable}
 */
export function readPrice(pack, text) {
  const plain = text.split(/\s+/).filter(Boolean).join(" ");
  if (!plain) return null;
  const { digits, marks, group } = pack.money, found = SEVERAL.map((one) => one.exec(plain)).find(Boolean)?.groups;
  const pieces = found ? Number(found.pieces) : 1;
  if (pieces < 1 || pieces > MOST_PIECES) {
    throw new Unusable("price", gettext("“{text}” names no pieces.", { text: plain.slice(0, 40) }), gettext("From 1 to {most} pieces, such as 3 for 20.", { most: MOST_PIECES }), gettext("Type the price on the tag."));
  }
  let bare = found ? found.amount : plain;
  for (const mark of marks) {
    if (bare.startsWith(mark)) bare = bare.slice(mark.length);
    if (bare.endsWith(mark)) bare = bare.slice(0, -mark.length);
    bare = bare.trim();
  }
  if (wholeGroups(bare, group)) bare = bare.replace(/[^0-9]/g, "");
  // Thousands may be set apart where the decimals leave no doubt: 1,299.00 and 1.299,00; 1.299 could be either.
  if (GROUPED.test(bare)) bare = `${bare.slice(0, bare.search(/[.,][0-9]{1,2}$/)).replace(/[^0-9]/g, "")}.${/[0-9]{1,2}$/.exec(bare)[0]}`;
  const number = bare.replaceAll(",", "."), good = number.length <= 12 && /^(?:[0-9]+\.?[0-9]*|\.[0-9]+)$/.test(number);
  const read = good ? exact(number.startsWith(".") ? `0${number}` : number) : null;
  if (!read || (read.top * 10n ** BigInt(digits)) % read.under || read.top * 100n > BigInt(DEAREST) * read.under) {
    const example = digits ? gettext("such as 12.50 or 12,50") : gettext("such as 1250");
    throw new Unusable("price", gettext("“{text}” is not a shelf price.", { text: plain }),
      gettext("An amount in {currency} from 0 to 1,000,000 with at most {digits} decimals, {examples}, or several for one amount, such as 3 for 20.",
        { currency: pack.about.currency, digits, examples: example }),
      gettext("Type the price on the tag."));
  }
  const unit = 10n ** BigInt(digits), under = read.under * BigInt(pieces);
  return Number((2n * read.top * unit + under) / (2n * under)) * 10 ** (2 - digits);
}

/** Round a double to cents, half to even on its shortest decimal form. */
export function toCents(value) {
  const shortest = /^(-?)(\d+)(?:\.(\d+))?(?:e([+-]\d+))?$/.exec(String(value));
  const places = (shortest[3] ?? "").length - Number(shortest[4] ?? 0), top = BigInt(shortest[2] + (shortest[3] ?? ""));
  let cents;
  if (places <= 2) cents = top * 10n ** BigInt(2 - places);
  else {
    const under = 10n ** BigInt(places - 2), twice = 2n * (top % under);
    cents = top / under;
    if (twice > under || (twice === under && cents % 2n)) cents += 1n;
  }
  return shortest[1] ? 0 - Number(cents) : Number(cents);
}

/** Return the whole cents, 0 or more, of a landed cost that a rule bears, cut off after its millionths. */
export function floorCents(value) {
  const micro = value.toFixed(6);
  return micro.startsWith("-") ? (/^-0\.0{6}$/.test(micro) ? 0 : null) : Number(micro.slice(0, -7)) * 100 + Number(micro.slice(-6, -4));
}

/** Write cents as the JSON does: two decimals and a point. */
export function plain(cents) {
  if (cents === null) return null;
  const whole = String(Math.abs(cents)).padStart(3, "0");
  return `${cents < 0 ? "-" : ""}${whole.slice(0, -2)}.${whole.slice(-2)}`;
}

/** Return what writes cents as the server's locale does. */
export function writer({ prefix, suffix, decimal, group, grouping, decimals, digits }) {
  return (cents) => {
    const negative = cents < 0 ? 1 : 0, scale = 10 ** (2 - digits);
    const units = Math.floor((2 * Math.abs(cents) + scale) / (2 * scale)), text = String(units).padStart(digits + 1, "0");
    let whole = digits ? text.slice(0, -digits) : text, part = digits ? text.slice(-digits) : "", rest = "", size = grouping[0];
    while (part.length > decimals[0] && part.endsWith("0")) part = part.slice(0, -1);
    while (size && whole.length > size) {
      rest = group + whole.slice(-size) + rest;
      whole = whole.slice(0, -size);
      size = grouping[1];
    }
    return `${prefix[negative]}${whole}${rest}${part ? decimal + part : ""}${suffix[negative]}`;
  };
}
