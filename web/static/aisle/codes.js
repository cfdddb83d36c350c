// What was typed or scanned: a barcode's number, an ISBN, or else a style code. The same answers as sourcing/codes gives,
// which a test holds both to; the sources and the choices behind them stand there.
import { gettext } from "../language.js";
import { checkDigit, classify, expandUpce, isGtin } from "../scan/codes.js";

const LENGTHS = [8, 12, 13, 14], LONGEST = 80, FRACTION = "\u2044";
const LABEL = /^(?:(UPC[ -]?[AE]?|EAN[ -]?(?:8|13)?|GTIN(?:-(?:8|12|13|14))?|ISBN(?:-1[03])?)(?::\s*|\s+)(?=[0-9X\s-]+$)|(STYLE)(?:\s+CODE)?(?::\s*|\s+)(?=\S))/i;
const NOTES = {
  "store tag": gettext("This is an in-store tag: it identifies nothing outside that store. Type the maker's style code."),
  coupon: gettext("This is a coupon, not a product."),
  refund: gettext("This is a refund receipt, not a product."),
  "not a product": gettext("This number is from a reserved range and names no product."),
  demo: gettext("This number is from the range kept for demonstrations (prefix 952): no real goods carry it."),
  unknown: gettext("This number's prefix is not assigned in the table we know: check the digits."),
};

/** What a user typed cannot be used: what was wrong, what is accepted, what to do next, and which field it was. */
export class Unusable extends Error {
  constructor(field, wrong, accepted = "", wayOn = "") {
    super(wrong);
    Object.assign(this, { field, wrong, accepted, way_on: wayOn });
  }
}

/** Return the text in NFKC, without format characters. */
const plainText = (text) => (/^[\x00-\x7f]*$/.test(text) ? text : text.replace(/\p{Cf}/gu, "").normalize("NFKC"));

/** Digits of other scripts by their value: each script's ten stand together. */
function digit(char) {
  if (!/^\p{Nd}$/u.test(char)) return char;
  let steps = 0;
  while (/^\p{Nd}$/u.test(String.fromCodePoint(char.codePointAt(0) - steps - 1))) steps++;
  return String(steps % 10);
}

function folded(text) {
  const upper = plainText(plainText(text).toUpperCase());
  return [...upper].filter((char) => /^[\p{L}\p{N}\u2044]$/u.test(char)).map(digit).join("");
}

/** Return the canonical style code: upper case, letters and digits only. */
export function styleKey(text) {
  let key = folded(text);
  for (let again = folded(key); again !== key; again = folded(key)) key = again;
  return key;
}

/** Fold a title, brand, category or condition so that case and spacing do not matter. */
export const foldName = (text) => caseFold(text).split(/\s+/u).filter(Boolean).join(" ");
export const foldTitle = (text) => foldName(caseFold(text.normalize("NFKC")).normalize("NFKC"));
const caseFold = (text) => text.toLowerCase().replace(/ß/g, "ss").replace(/ς/g, "σ");

function isIsbn10(key) {
  if (!/^[0-9]{9}[0-9X]$/.test(key)) return false;
  const sum = [...key].reduce((all, char, at) => all + (char === "X" ? 10 : Number(char)) * (10 - at), 0);
  return sum % 11 === 0;
}

function book(key) {
  const body = `978${key.slice(0, 9)}`;
  return `0${body}${checkDigit(body)}`;
}

/**
 * Understand a typed or scanned code.
 * @param {string} text as typed
 * @param {string} symbology EAN8 or UPCE when a reader told which
 * @returns {{kind: string, gtin: string, styleKey: string, note: string, offers: string[]}}
 * @throws {Unusable}
 */
export function parseCode(text, symbology = "") {
  const typed = text.trim();
  if ([...typed].length > LONGEST) {
    throw new Unusable("code", gettext("The code has {number} characters, beginning “{start}”.", { number: [...typed].length.toLocaleString("en"), start: typed.slice(0, 20) }),
      gettext("Up to {most}.", { most: LONGEST }), gettext("Type only the digits under the bars, or the style code."));
  }
  let body = plainText(typed).trim(), label = "";
  const found = LABEL.exec(body);
  if (found) [body, label] = [body.slice(found[0].length), (found[1] || found[2]).toUpperCase()];
  let key = styleKey(body);
  if (!key) {
    throw new Unusable("code", typed ? gettext("“{typed}” holds no letter or digit.", { typed }) : gettext("No code was given."),
      gettext("A barcode number or a style code."), gettext("Type the digits under the bars, or the style code on the tongue or box label."));
  }
  if (key.includes(FRACTION)) {
    throw new Unusable("code", gettext("“{typed}” holds a fraction, which no code does.", { typed }), gettext("Letters, digits and dashes."),
      gettext("Type the code alone; a half size goes into the size field, as 8.5."));
  }
  if (label === "STYLE") return style(key);
  if (/^[0-9]+(?:[.,][0-9]+[eE][+]?|[eE][+])[0-9]{1,3}$/.test(body)) {
    throw new Unusable("code", gettext("“{typed}” is a number that a spreadsheet has shortened: digits of the code are lost.", { typed }),
      gettext("All the digits under the bars."), gettext("Format that column as text and enter the code anew."));
  }
  const whole = /^([0-9]{7,14})[.,]0+$/.exec(body);
  if (whole) key = whole[1];
  if (isIsbn10(key) && (key.endsWith("X") || label.startsWith("ISBN") || (body.match(/[\p{L}\p{N}_][-\s]+(?=[\p{L}\p{N}_])/gu) ?? []).length === 3)) {
    return classified(book(key));
  }
  if (LENGTHS.includes(key.length) && /^[0-9]+$/.test(key)) return number(typed, key, (label || symbology).toUpperCase().replace(/[ _-]/g, ""));
  return styleLike(typed, body, key);
}

const style = (key, note = "", offers = []) => ({ kind: "style code", gtin: "", styleKey: key, note, offers });

function classified(gtin, note = "", offers = []) {
  const kind = classify(gtin);
  let said = NOTES[kind] ?? "";
  if (/^[1-8]/.test(gtin) && ["product", "demo", "unknown"].includes(kind)) {
    said = `${said} ${gettext("It is a carton's number (its first digit is {digit}): scan a single item.", { digit: gtin[0] })}`.trim();
  }
  return { kind, gtin, styleKey: "", note: `${note} ${said}`.trim(), offers };
}

function number(typed, digits, symbology) {
  if (digits.length !== 8) {
    if (!isGtin(digits)) throw wrongCheckDigit(typed, digits);
    return classified(digits.padStart(14, "0"));
  }
  const short = isGtin(digits) && symbology !== "UPCE" ? digits.padStart(14, "0") : "";
  const full = digits[0] === "0" && symbology !== "EAN8" ? expandUpce(digits) : "";
  const long = full && full.padStart(14, "0");
  if (short && long) {
    return classified(long, gettext("These eight digits can be two numbers: taken as a UPC-E, {code}. If it is an EAN-8, type " +
      "“EAN-8 {digits}”.", { code: long.slice(2), digits }), [short]);
  }
  if (!short && !long) throw wrongCheckDigit(typed, digits);
  return classified(long || short);
}

function wrongCheckDigit(typed, digits) {
  const right = { typed, digits: digits.slice(0, -1), last: checkDigit(digits.slice(0, -1)) };
  let wrong = gettext("“{typed}” has a wrong check digit: {digits} would end in {last}.", right);
  if (digits.length === 8 && digits[0] === "0") {
    const other = [..."0123456789"].find((last) => expandUpce(digits.slice(0, 7) + last));
    wrong = gettext("“{typed}” has a wrong check digit: {digits} would end in {last} (as a UPC-E in {other}).", { ...right, other });
  }
  return new Unusable("code", wrong, gettext("All the digits under the bars, the small ones at both ends too."),
    gettext("Type or scan it again; if it is a style code, type “style {digits}”.", { digits }));
}

function styleLike(typed, body, key) {
  const digits = (key.match(/[0-9]/g) ?? []).length;
  if (key.length === 11 && digits === 11 && isGtin(`0${key}`)) {
    return style(key, gettext("Eleven digits, taken as a style code. With the zero that spreadsheets drop it is barcode {code}.", { code: `0${key}` }), [key.padStart(14, "0")]);
  }
  if (isIsbn10(key)) return style(key, gettext("Taken as a style code. If it is a book's number, type “ISBN {code}”.", { code: key }), [book(key)]);
  if (/^[0-9]+e[0-9]{1,3}$/i.test(body)) {
    return style(key, gettext("Taken as a style code. If a spreadsheet made it of a barcode's number, digits are lost: type them all."));
  }
  if (LENGTHS.includes(key.length) && key.length - 2 <= digits && digits < key.length) {
    const letters = [...new Set(key.replace(/[0-9]/g, ""))].join("");
    const guess = key.replace(/O/g, "0").replace(/[IL]/g, "1");
    if (key.length > 8 && isGtin(guess)) {
      throw new Unusable("code", gettext("“{typed}” holds “{letters}” where a barcode number has digits: {guess} would be one.", { typed, letters, guess }),
        gettext("Digits only."), gettext("Type {guess} if that stands under the bars; if it is a style code, type “style {typed}”.", { guess, typed }));
    }
    if (key.length > 8) return style(key, gettext("Taken as a style code, for it holds “{letters}”; a barcode number has digits only.", { letters }));
  }
  return style(key);
}
