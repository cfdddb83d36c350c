// What is said to a person, in the language of the page: the words of /static/languages/<language>.json, the code's own
// English where they cannot be had. `python -m web.languages` writes them from the catalogs of sourcing/languages.
const PATIENCE = 5000; // milliseconds to wait for the words: English now is better than nothing
const language = globalThis.document?.documentElement.lang || "en";
const words = language === "en" ? {} : await fetched();

async function fetched() {
  try {
    const answer = await fetch(`/static/languages/${language}.json`, { signal: AbortSignal.timeout(PATIENCE) });
    return answer.ok ? await answer.json() : {};
  } catch {
    return {};
  }
}

const filled = (text, values) => text.replace(/\{(\w+)\}/g, (whole, name) => (name in values ? values[name] : whole));

/** Return a message with its {names} filled in: `gettext("Taken: {count}.", { count: 3 })`. */
export function gettext(message, values) {
  const said = words.messages?.[message] ?? message;
  return values ? filled(said, values) : said;
}

/** Return a message that depends on a whole number, which fills in {count}. */
export function ngettext(one, many, count, values = {}) {
  const forms = words.plurals?.[one] ?? [one, many], size = Math.abs(count);
  // Which form a number takes is written out for 0 to 99, and for those and all that end alike from 100 on.
  const form = words.forms ? Number(words.forms[size < 100 ? size : 100 + (size % 100)]) : Number(size !== 1);
  return filled(forms[form] ?? many, { count, ...values });
}

/** Return a number of the code's, "12.5", with the language's mark before its decimals. */
export const written = (number) => String(number).replace(".", words.decimal ?? ".");

/** Return a number as the percentage it is, with the language's sign: the server writes it so too. */
export const percentage = (number) => `${written(number)}${words.percent ?? "\u00a0%"}`;
