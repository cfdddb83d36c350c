// Small words and parts that the aisle's pages share.
import { gettext, ngettext, percentage } from "../language.js";

/** Make an element: `made("p", { class: "small" }, "text", other)`; texts stay texts. */
export function made(name, marks = {}, ...inside) {
  const element = document.createElement(name);
  for (const [mark, value] of Object.entries(marks)) if (value !== undefined && value !== false) element.setAttribute(mark, value);
  element.append(...inside.filter((one) => one !== null && one !== undefined && one !== false));
  return element;
}

/** Return the parts of a message with one of its {names} filled in, in bold. */
export const inBold = (message, name, text) => message.split(`{${name}}`).flatMap((part, at) => (at ? [made("strong", {}, text), part] : [part]));

/** Copy the shape of a decision. */
export const shape = (kind) => document.querySelector(`template[data-shape="${kind}"]`).content.cloneNode(true);

const DECISIONS = { buy: gettext("buy"), pass: gettext("pass"), "too little to go on": gettext("too little to go on") };

/** Return a decision as a person is told it. */
export const said = (decision) => DECISIONS[decision] ?? decision;

export const kindOf = (decision) => ({ buy: "buy", pass: "pass" })[decision] ?? "little";

export const days = (count) => (count === null ? gettext("not reached") : ngettext("{count}\u00a0day", "{count}\u00a0days", count));

export function share(part) {
  if (part === null || part === undefined) return "–";
  const percent = 100 * part;
  if (percent > 0 && percent < 1) return gettext("under 1\u00a0%");
  return percent > 99 && percent < 100 ? gettext("over 99\u00a0%") : percentage(Math.round(percent));
}

/** Return an amount of the answer ("12.34" or null) as the server's locale writes it. */
export const money = (pack, text) => (text === null || text === undefined ? "–" : pack.write(cents(text)));

/** Return integer cents of "12.34", exactly. */
export function cents(text) {
  const [, sign, whole, part = ""] = /^(-?)(\d+)(?:\.(\d+))?$/.exec(String(text));
  const found = Number(whole) * 100 + Number(part.padEnd(2, "0").slice(0, 2));
  return sign ? -found : found;
}

const MONTHS = [
  gettext("Jan"), gettext("Feb"), gettext("Mar"), gettext("Apr"), gettext("May"), gettext("Jun"),
  gettext("Jul"), gettext("Aug"), gettext("Sep"), gettext("Oct"), gettext("Nov"), gettext("Dec"),
];

export function day(moment) {
  const at = new Date(moment);
  return gettext("{day}\u00a0{month} {year}", { day: at.getDate(), month: MONTHS[at.getMonth()], year: at.getFullYear() });
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
  const dearer = until && new Date(now).toISOString().slice(0, 10) >= until;
  const fees = dearer && gettext("Other fees hold since {day}.", { day: day(`${until}T12:00`) });
  if (gone < -0.02) {
    const early = gettext("Its pack is of {moment}, which is still to come by this phone's clock: set the clock right.", { moment: clock(built) });
    return { words: [early, fees].filter(Boolean).join(" "), old: true };
  }
  const old = gone > OLD || Boolean(fees);
  const words = [
    since(gone, clock(built)), gone > OLD && gettext("That is old: prices may have moved."), fees,
    old && gettext("Reach your server once to fetch a new one."),
  ];
  return { words: words.filter(Boolean).join(" "), old };
}

function since(gone, moment) {
  if (gone < 1 / 24) return gettext("Pack of {moment}, under an hour old.", { moment });
  if (gone < 2) return ngettext("Pack of {moment}, {count} hour old.", "Pack of {moment}, {count} hours old.", Math.max(1, Math.floor(gone * 24)), { moment });
  return ngettext("Pack of {moment}, {count} day old.", "Pack of {moment}, {count} days old.", Math.floor(gone), { moment });
}
