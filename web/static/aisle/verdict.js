// The phone's own verdict in the markup of the server's: templates/check/verdict.html and web/glance.py.
import { gettext, ngettext } from "../language.js";
import { cents, days, inBold, kindOf, made, money, said, shape, share } from "./words.js";

const capital = (text) => text[0].toUpperCase() + text.slice(1);
// Nouns of other languages have capitals, which stay inside of a sentence.
const inside = (text) => (document.documentElement.lang === "en" ? text[0].toLowerCase() + text.slice(1) : text);

/** Return { doing, why } of the reason. */
function reason(pack, answer) {
  const { decision, most_worth_paying: most, shelf_price: shelf } = answer;
  if (kindOf(decision) === "little") return { doing: "", why: answer.reason };
  const limit = answer.limits.find((one) => one.rule === answer.binding_rule);
  const meaning = limit && inside(limit.meaning.replace(/\.$/, ""));
  const rule = (words) => (meaning ? words(meaning) : answer.reason);
  const apart = (one, two) => pack.write(cents(one) - cents(two));
  if (decision === "buy") {
    // Flags whose price effect the pack does not hold: the server may well say pass at this price.
    if (answer.unsure && most !== null) return { doing: gettext("Sure only well below {price}.", { price: money(pack, most) }), why: answer.unsure };
    if (most === null) return { doing: gettext("Take it."), why: answer.reason };
    if (shelf === null) return { doing: gettext("Take it at {price} or less.", { price: money(pack, most) }), why: rule((text) => gettext("The rule that decides: {rule}.", { rule: text })) };
    return { doing: gettext("Take it."), why: rule((text) => gettext("{amount} to spare by the rule that decides: {rule}.", { amount: apart(most, shelf), rule: text })) };
  }
  if (most !== null && cents(most) > 0) {
    const why = shelf === null ? answer.reason : rule((text) => gettext("{amount} too much for the rule that decides: {rule}.", { amount: apart(shelf, most), rule: text }));
    return { doing: gettext("Leave it, or ask for {price}.", { price: money(pack, most) }), why };
  }
  return { doing: gettext("Leave it."), why: rule((text) => gettext("No price meets this rule: {rule}.", { rule: text })) };
}

/** Say beside a limit that rests on a dearer asking price the one at the price others get; null where none is shown. */
function usual(pack, { at_others: there, decision, sale_price: others }) {
  if (!there) return null;
  const price = money(pack, others.mid), most = there.most_worth_paying;
  const words = most === null ? [gettext("Asked at {price}, what others get, no rule limits it.", { price })]
    : inBold(gettext("Asked at {price}, what others get, it is worth at most {most}.", { price }), "most", money(pack, most));
  const word = there.decision !== decision && gettext("Then the word is: {word}.", { word: said(there.decision) });
  return made("p", { class: "rests usual" }, ...words, word && " ", word && made("strong", {}, word));
}

/** Return the verdict's article and the lines of what it rests on; `about` is the age of the pack: { words }. */
export function verdict(pack, answer, about) {
  const kind = kindOf(answer.decision), item = answer.item;
  const most = answer.most_worth_paying;
  const label = made("bdi", {}, item.label);
  const { doing, why } = reason(pack, answer);
  const settles = [
    !item.known && item.code_note,
    answer.would_settle && [made("strong", {}, gettext("What would settle it:")), ` ${answer.would_settle}`],
    kind === "little" && gettext("Taken all the same, it counts as a piece without a forecast."),
  ].filter(Boolean);
  const article = made("article", { class: `verdict ${kind}`, "data-decision": answer.decision },
    made("h1", { class: "word" }, shape(kind), made("span", {}, capital(said(answer.decision)), made("small", {}, label, item.size ? gettext(", size {size}", { size: item.size }) : ""))),
    made("p", { class: "most" },
      made("span", { class: "name" }, gettext("Most worth paying")), " ",
      most === null ? made("strong", { class: "none" }, kind === "little" ? gettext("not known") : gettext("no limit")) : made("strong", {}, money(pack, most)), " ",
      made("span", { class: "against" }, gettext("shelf price"), " ", made("b", {}, money(pack, answer.shelf_price)))),
    made("p", { class: "reason" }, doing && made("strong", { class: "do" }, doing), doing && " ", made("span", { class: "why" }, why)),
    ...settles.map((line) => made("p", { class: "settle" }, ...[line].flat())),
    made("p", { class: "settle age" }, about.words, ...answer.left_out.filter((sentence) => !why.includes(sentence)).map((sentence) => ` ${sentence}`)),
    answer.sale_price === null && !Object.keys(answer.sold_within ?? {}).length ? null : figures(pack, answer));
  const asked = answer.asking_price !== null && gettext("If you ask {price}: days with that price held, profit with your price cuts.", { price: money(pack, answer.asking_price) });
  return [article, usual(pack, answer), made("p", { class: "rests" }, asked && made("strong", {}, asked), asked && " ", [answer.rests_on, ...(answer.warnings ?? []), item.known && item.code_note].filter(Boolean).join(" "))].filter(Boolean);
}

function figures(pack, answer) {
  const cell = (name, text, small) => made("div", {}, made("dt", {}, name), made("dd", {}, text, small && made("small", {}, small)));
  const between = (spread) => spread && gettext("{low} to {high}", { low: money(pack, spread.low), high: money(pack, spread.high) });
  const sold = Object.keys(answer.sold_within ?? {}).length;
  return made("dl", { class: "three" },
    cell(gettext("Others get"), answer.sale_price ? money(pack, answer.sale_price.mid) : gettext("not known"), between(answer.sale_price)),
    cell(gettext("Half sold in"), sold ? days(answer.days_50) : gettext("not known"), sold > 0 && mostSold(answer.days_80)),
    cell(gettext("Profit"), money(pack, answer.profit_after_labour), between(answer.profit)));
}

const mostSold = (count) => (count === null ? gettext("80\u00a0% not reached") : gettext("80\u00a0% in {days}", { days: days(count) }));

/** Fill the folded figures and limits. */
export function details(pack, answer, list, limits) {
  const loss = answer.loss_between;
  const rows = [
    [gettext("Landed cost"), money(pack, answer.landed_cost)],
    [gettext("Asking price"), money(pack, answer.asking_price)],
    [gettext("Net proceeds"), money(pack, answer.expected_proceeds)],
    [gettext("Profit before labour"), money(pack, answer.profit_before_labour)],
    [gettext("Profit per hour of prep"), money(pack, answer.profit_per_hour)],
    [gettext("Chance of a loss"), loss ? gettext("{low} to {high}", { low: share(loss[0]), high: share(loss[1]) }) : "–"],
    ...Object.entries(answer.sold_within ?? {}).map(([by, part]) => [ngettext("Sold within {count} day", "Sold within {count} days", Number(by)), share(part)]),
    [gettext("Comps"), gettext("{sold} sold, {unsold} unsold", { sold: answer.comps_sold ?? 0, unsold: answer.comps_unsold ?? 0 })],
  ];
  list.replaceChildren(...rows.flatMap(([name, text]) => [made("dt", {}, name), made("dd", {}, text)]));
  limits.replaceChildren(...(answer.limits ?? []).map((one) => made("li", { class: one.rule === answer.binding_rule && "binds" },
    made("span", { class: "grow" }, one.meaning, one.rule === answer.binding_rule && made("em", {}, ` ${gettext("This one decides.")}`)),
    made("strong", {}, one.most === null ? gettext("no limit") : money(pack, one.most), made("small", {}, one.holds ? gettext("holds") : gettext("fails"))))));
}
