// The phone's own verdict in the markup of the server's: templates/check/verdict.html and web/glance.py.
import { cents, days, kindOf, made, money, shape, share } from "./words.js";

const capital = (text) => text[0].toUpperCase() + text.slice(1);

/** Return { doing, why } of the reason. */
function reason(pack, answer) {
  const { decision, most_worth_paying: most, shelf_price: shelf } = answer;
  if (kindOf(decision) === "little") return { doing: "", why: answer.reason };
  const limit = answer.limits.find((one) => one.rule === answer.binding_rule);
  const meaning = limit && limit.meaning[0].toLowerCase() + limit.meaning.slice(1).replace(/\.$/, "");
  const rule = (words) => (meaning ? words(meaning) : answer.reason);
  const apart = (one, two) => pack.write(cents(one) - cents(two));
  if (decision === "buy") {
    if (most === null) return { doing: "Take it.", why: answer.reason };
    if (shelf === null) return { doing: `Take it at ${money(pack, most)} or less.`, why: rule((text) => `The rule that decides: ${text}.`) };
    return { doing: "Take it.", why: rule((text) => `${apart(most, shelf)} to spare by the rule that decides: ${text}.`) };
  }
  if (most !== null && cents(most) > 0) {
    const why = shelf === null ? answer.reason : rule((text) => `${apart(shelf, most)} too much for the rule that decides: ${text}.`);
    return { doing: `Leave it, or ask for ${money(pack, most)}.`, why };
  }
  return { doing: "Leave it.", why: rule((text) => `This rule holds at no price: ${text}.`) };
}

/** Return the verdict's article and the line of what it rests on; `about` is the age of the pack: { words }. */
export function verdict(pack, answer, about) {
  const kind = kindOf(answer.decision), item = answer.item;
  const most = answer.most_worth_paying;
  const label = made("bdi", {}, item.label);
  const { doing, why } = reason(pack, answer);
  const settles = [
    kind === "little" && "Taken all the same, it counts as a piece without a forecast.",
    answer.would_settle && [made("strong", {}, "What would settle it:"), ` ${answer.would_settle}`],
    !item.known && item.code_note,
  ].filter(Boolean);
  const article = made("article", { class: `verdict ${kind}`, "data-decision": answer.decision },
    made("h1", { class: "word" }, shape(kind), made("span", {}, capital(answer.decision), made("small", {}, label, item.size ? `, size ${item.size}` : ""))),
    made("p", { class: "most" },
      made("span", { class: "name" }, "Most worth paying"), " ",
      most === null ? made("strong", { class: "none" }, kind === "little" ? "not known" : "no limit") : made("strong", {}, money(pack, most)), " ",
      made("span", { class: "against" }, "shelf price ", made("b", {}, money(pack, answer.shelf_price)))),
    made("p", { class: "reason" }, doing && made("strong", { class: "do" }, doing), doing && " ", made("span", { class: "why" }, why)),
    ...settles.map((line) => made("p", { class: "settle" }, ...[line].flat())),
    made("p", { class: "settle age" }, about.words, ...(answer.left_out.length ? [` Left out here: ${answer.left_out.join(", ")}.`] : [])),
    answer.sale_price === null && !Object.keys(answer.sold_within ?? {}).length ? null : figures(pack, answer));
  return [article, made("p", { class: "rests" }, [answer.rests_on, ...(answer.warnings ?? [])].filter(Boolean).join(" "))];
}

function figures(pack, answer) {
  const cell = (name, text, small) => made("div", {}, made("dt", {}, name), made("dd", {}, text, small && made("small", {}, small)));
  const between = (spread) => spread && `${money(pack, spread.low)} to ${money(pack, spread.high)}`;
  const sold = Object.keys(answer.sold_within ?? {}).length;
  return made("dl", { class: "three" },
    cell("Sells for", answer.sale_price ? money(pack, answer.sale_price.mid) : "not known", between(answer.sale_price)),
    cell("Half sold in", sold ? days(answer.days_50) : "not known", sold > 0 && `80\u00a0% ${answer.days_80 === null ? "" : "in "}${days(answer.days_80)}`),
    cell("Profit", money(pack, answer.profit_after_labour), between(answer.profit)));
}

/** Fill the folded figures and limits. */
export function details(pack, answer, list, limits) {
  const loss = answer.loss_between;
  const rows = [
    ["Landed cost", money(pack, answer.landed_cost)],
    ["Asking price", money(pack, answer.asking_price)],
    ["Net proceeds", money(pack, answer.expected_proceeds)],
    ["Profit before labour", money(pack, answer.profit_before_labour)],
    ["Profit per hour of prep", money(pack, answer.profit_per_hour)],
    ["Chance of a loss", loss ? `${share(loss[0])} to ${share(loss[1])}` : "–"],
    ...Object.entries(answer.sold_within ?? {}).map(([by, part]) => [`Sold within ${by} days`, share(part)]),
    ["Comps", `${answer.comps_sold ?? 0} sold, ${answer.comps_unsold ?? 0} unsold`],
  ];
  list.replaceChildren(...rows.flatMap(([name, text]) => [made("dt", {}, name), made("dd", {}, text)]));
  limits.replaceChildren(...(answer.limits ?? []).map((one) => made("li", { class: one.rule === answer.binding_rule && "binds" },
    made("span", { class: "grow" }, one.meaning, one.rule === answer.binding_rule && made("em", {}, " This one decides.")),
    made("strong", {}, one.most === null ? "no limit" : money(pack, one.most), made("small", {}, one.holds ? "holds" : "fails")))));
}
