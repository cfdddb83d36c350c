// Small words and parts that the aisle's pages share.

/** Make an element: `made("p", { class: "small" }, "text", other)`; texts stay texts. */
export function made(name, marks = {}, ...inside) {
  const element = document.createElement(name);
  for (const [mark, value] of Object.entries(marks)) if (value !== undefined && value !== false) element.setAttribute(mark, value);
  element.append(...inside.filter((one) => one !== null && one !== undefined && one !== false));
  return element;
}

/** Copy the shape of a decision. */
export const shape = (kind) => document.querySelector(`template[data-shape="${kind}"]`).content.cloneNode(true);

export const kindOf = (decision) => ({ buy: "buy", pass: "pass" })[decision] ?? "little";

export const plural = (count, one, many = `${one}s`) => `${count} ${count === 1 ? one : many}`;

export const days = (count) => (count === null ? "not reached" : `${count}\u00a0${count === 1 ? "day" : "days"}`);

export function share(part) {
  if (part === null || part === undefined) return "–";
  const percent = 100 * part;
  if (percent > 0 && percent < 1) return "under 1\u00a0%";
  return percent > 99 && percent < 100 ? "over 99\u00a0%" : `${Math.round(percent)}\u00a0%`;
}

/** Return an amount of the answer ("12.34" or null) as the server's locale writes it. */
export const money = (pack, text) => (text === null || text === undefined ? "–" : pack.write(cents(text)));

/** Return integer cents of "12.34", exactly. */
export function cents(text) {
  const [, sign, whole, part = ""] = /^(-?)(\d+)(?:\.(\d+))?$/.exec(String(text));
  const found = Number(whole) * 100 + Number(part.padEnd(2, "0").slice(0, 2));
  return sign ? -found : found;
}

export function day(moment) {
  const at = new Date(moment);
  return `${at.getDate()}\u00a0${at.toLocaleString("en", { month: "short" })} ${at.getFullYear()}`;
}

export function clock(moment) {
  const at = new Date(moment);
  return `${day(at)}, ${String(at.getHours()).padStart(2, "0")}:${String(at.getMinutes()).padStart(2, "0")}`;
}

/** Say what was wrong, what is accepted and what to do. */
export const wholeWords = ({ wrong = "", accepted = "", wayOn = "", way_on = "" }) => [wrong, accepted, wayOn || way_on].filter(Boolean).join(" ");

const OLD = 7; // days after which a pack is called old

/** Say how old the pack is by the server's clock: { words, old }. */
export function age(pack, now) {
  const { built, fees_until: until } = pack.about;
  const gone = (now - Date.parse(built)) / 86_400_000;
  const fees = until && new Date(now).toISOString().slice(0, 10) >= until ? ` Other fees hold since ${day(`${until}T12:00`)}.` : "";
  if (gone < -0.02) {
    return { words: `Its pack is of ${clock(built)}, which is still to come by this phone's clock: set the clock right.${fees}`, old: true };
  }
  const ago = gone < 1 / 24 ? "under an hour old" : gone < 2 ? `${plural(Math.max(1, Math.floor(gone * 24)), "hour")} old` : `${Math.floor(gone)} days old`;
  const old = gone > OLD || Boolean(fees);
  return { words: `Pack of ${clock(built)}, ${ago}.${gone > OLD ? " That is old: prices may have moved." : ""}${fees}${old ? " Reach your server once to fetch a new one." : ""}`, old };
}
