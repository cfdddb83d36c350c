// The verdict from the pack: compare the shelf price with the limits, subtract, say why. The same figures as
// sourcing/limits.py, verdict.py and check.py give: the same doubles, in the same order, rounded in the same places.
import { gettext, ngettext, percentage, written } from "../language.js";
import { Unusable } from "./codes.js";
import { Discount, Till, floorCents, plain, readDiscount, readPrice, toCents } from "./money.js";
import { day } from "./words.js";

export { readDiscount, readPrice };

const STEPS = 4, WITHIN = [14, 30, 60, 90];
const RULES = ["least_profit", "least_return", "wanted_chance", "most_loss_chance"];

/**
 * Judge one item.
 * @param {import("./pack.js").Pack} pack
 * @param {object} asked code, title, price (text as typed, or whole cents), discount, condition, category, brand, size, flags
 */
export function judge(pack, asked) {
  const answer = blank(pack, asked);
  try {
    const shelf = typeof asked.price === "number" ? asked.price : readPrice(pack, asked.price ?? "");
    const discount = (asked.discount ?? "").trim() ? readDiscount(asked.discount) : null;
    return judged(pack, asked, answer, shelf, discount);
  } catch (error) {
    if (!(error instanceof Unusable)) throw error;
    const { field, wrong, accepted, way_on } = error;
    return { ...answer, reason: wrong, problem: { field, wrong, accepted, way_on } };
  }
}

function judged(pack, asked, answer, shelf, discount) {
  const found = understood(pack, asked), { record, item } = found, flags = marked(pack, asked.flags ?? []);
  const group = pack.groupOf(record), slot = pack.slot(record, item.condition), deal = pack.said.deals[group.deal];
  const of = (name) => pack.figure(name, record, slot);
  const terms = deal.channels[of("channel")], left = flagged(terms, flags);
  const till = new Till(terms.tax, discount ?? new Discount(terms.discount));
  const sold = of("sold"), unsold = of("unsold"), newest = of("newest") ? isoDay(of("newest")) : null;
  const match = matching(item, sold), likeNothing = !(item.known || item.brand || item.category || item.title);
  Object.assign(answer, {
    item: { ...item, flags: flags.map((flag) => flag.name) },
    query: { ...answer.query, shelf_price: plain(shelf) },
    shelf_price: plain(shelf),
    landed_cost: shelf === null ? null : plain(till.landed(shelf)),
    landed_cents: shelf === null ? null : till.landed(shelf),
    sale_price: likeNothing ? null : spread([of("sale_10"), of("sale_50"), of("sale_90")]),
    comps_sold: sold,
    comps_unsold: unsold,
    newest_comp: newest,
    match,
    rests_on: resting(sold, unsold, newest, match),
    prep_minutes: left.minutes,
    left_out: leftOut(asked, found, flags, group.category),
    unsure: unpriced(flags, group.category).join(" "),
  });
  if (likeNothing) return { ...answer, ...saidOfNothing(item) };
  const evidence = of("evidence") / 100;
  if (deal.least_comps !== null && evidence < Number(deal.least_comps)) return { ...answer, ...tooLittle(deal, evidence, answer.item) };
  const nets = [of("net_10"), of("net_50"), of("net_90")].map((cents) => (cents - left.supplies) / 100);
  const seen = {
    net: (of("net") - left.supplies) / 100, low: (of("net_loss") - left.supplies) / 100, tied: of("tied") / 10,
    chance: group.speed_basis ? of("by_target") / 10000 : null, labour: left.labour / 100, rate: Number(terms.capital_rate),
  };
  const limits = bounds(deal, seen, till, shelf, pack.write), { decision, rule, most } = decide(limits, shelf);
  Object.assign(answer, {
    decision,
    binding_rule: rule,
    most_worth_paying: plain(most),
    most_cents: most,
    limits: limits.map((limit) => ({ ...limit, most: plain(limit.most) })),
    reason: reason(decision, limits.find((limit) => limit.rule === rule)?.meaning ?? "", most, shelf, pack.write),
    asking_price: plain(of("ask")),
    expected_proceeds: plain(toCents(seen.net)),
    proceeds: spread(nets.map(toCents)),
    channel: terms.channel,
    objective: deal.objective,
    speed_basis: group.speed_basis || gettext("your own assumption of {days} days: no listing dates", { days: terms.assumed_days }),
    ...speed(group, of),
    at_others: atOthers(deal, of, seen, left, till, shelf, pack.write),
  });
  return shelf === null ? answer : { ...answer, ...profits(answer.landed_cents, seen, nets, left.minutes, deal) };
}

/** Return { decision, most_worth_paying } at the price others get where a dearer one is advised, else null; see sourcing/whatif.py. */
function atOthers(deal, of, seen, left, till, shelf, write) {
  if (!of("others")) return null;
  const there = {
    ...seen, net: (of("others_net") - left.supplies) / 100, low: (of("others_loss") - left.supplies) / 100, tied: of("others_tied") / 10,
    chance: seen.chance === null ? null : of("others_by_target") / 10000,
  };
  const { decision, most } = decide(bounds(deal, there, till, shelf, write), shelf);
  return { decision, most_worth_paying: plain(most) };
}

function resting(sold, unsold, newest, match) {
  if (!(sold + unsold)) return gettext("No comps of its own ({match}).", { match });
  return newest ? gettext("{sold} sold and {unsold} unsold comps, newest {day}; {match}.", { sold, unsold, day: day(`${newest}T12:00`), match })
    : gettext("{sold} sold and {unsold} unsold comps, undated; {match}.", { sold, unsold, match });
}

/** Say which item was meant: its record, or the one that stands in for an unknown item. */
function understood(pack, asked) {
  const text = (asked.code ?? "").trim(), title = (asked.title ?? "").trim();
  const at = text ? pack.find(text, asked.symbology) : null;
  if (at?.state === "refused") throw new Unusable("code", at.wrong, at.accepted, at.way_on);
  if (!text && !title && !(asked.brand ?? "").trim() && !(asked.category ?? "").trim()) {
    throw new Unusable("code", gettext("Nothing says which item this is."), gettext("A code (typed or photographed), or a title."),
      gettext("Type the digits under the bars, or the style code."));
  }
  const record = at?.record ?? (title ? pack.findTitle(title) : null), known = record !== null;
  const own = known ? pack.item(record) : null;
  const brand = own?.brand || (asked.brand ?? "").trim(), category = own?.category ?? (asked.category ?? "").trim();
  const style = own?.style_code || at?.style_key || "";
  return {
    record: known ? record : pack.standIn(category, brand),
    known,
    item: {
      label: title || own?.label || [brand, style].filter(Boolean).join(" ") || text || category, known, gtin: at?.gtin ?? "",
      style_code: style, brand, category, title: title || own?.title || "", size: (asked.size ?? "").trim(),
      condition: (asked.condition ?? "").trim(), code_note: at?.note ?? "",
      suggestions: known || !text ? [] : pack.near(text).map((one) => one.code), flags: [],
    },
  };
}

function marked(pack, names) {
  return names.filter(Boolean).map((name) => {
    const flag = pack.said.flags.find((one) => one.name === name);
    if (!flag) throw new Unusable("flags", gettext("There is no flag “{name}”.", { name }), gettext("One of the flags shown."), gettext("Leave it out."));
    return flag;
  });
}

/** Return labour in cents, minutes as text and supplies in cents, with what the piece's flags add. */
function flagged(terms, flags) {
  const all = Array.from({ length: STEPS }, (_, step) => sum([terms.minutes[step], ...flags.map((flag) => flag.minutes[step])]));
  const value = sum([terms.hourly_value]), labour = all.map((minutes) => {
    const top = 100n * minutes.top * value.top, under = 60n * minutes.under * value.under;
    return Number((2n * top + under) / (2n * under));
  });
  const supplies = sum(["0", ...flags.map((flag) => flag.supplies)]), minutes = sum(all.map(({ top, under }) => decimal(top, under)));
  return { labour: labour.reduce((a, b) => a + b), supplies: Number((supplies.top * 100n) / supplies.under), minutes: decimal(minutes.top, minutes.under) };
}

/** Add decimal texts up, exactly. */
function sum(texts) {
  const places = Math.max(...texts.map((text) => (text.split(".")[1] ?? "").length));
  const top = texts.reduce((all, text) => {
    const [whole, part = ""] = text.split(".");
    return all + BigInt(whole + part.padEnd(places, "0"));
  }, 0n);
  return { top, under: 10n ** BigInt(places) };
}

function decimal(top, under) {
  const places = String(under).length - 1, text = String(top).padStart(places + 1, "0");
  return places ? `${text.slice(0, -places)}.${text.slice(-places)}` : text;
}

/** Return one limit for every rule that is on, in the order in which the first of the lowest binds. */
function bounds(deal, seen, till, shelf, write) {
  const hold = 1.0 + (seen.rate * seen.tied) / 365.0, over = seen.net - seen.labour, found = [];
  const add = (rule, meaning, landed) => {
    const most = landed === Infinity ? null : highest(landed, till);
    found.push({ rule, meaning, most, holds: shelf === null || most === null || (most > 0 && shelf <= most) });
  };
  const { least_profit: profit, least_return: share, wanted_chance: wanted, most_loss_chance: loss, said } = deal;
  if (profit !== null) {
    add(RULES[0], gettext("Expected profit of at least {amount}", { amount: write(toCents(Number(profit))) }), (over - Number(profit)) / hold);
  }
  if (share !== null) add(RULES[1], gettext("Expected profit of at least {share} of the landed cost", { share: inPercent(said.least_return) }), over / (hold + Number(share)));
  if (wanted !== null && seen.chance !== null) {
    add(RULES[2], gettext("Sold within {days} days with a chance of {wanted}: it is {chance}", { days: deal.target_days, wanted: inPercent(said.wanted_chance), chance: percent(seen.chance) }),
      seen.chance < Number(wanted) ? -1.0 : Infinity);
  }
  if (loss !== null) add(RULES[3], gettext("A chance of loss of at most {chance}", { chance: inPercent(said.most_loss_chance) }), (seen.low - seen.labour) / hold);
  return found;
}

function highest(landed, till) {
  const cents = floorCents(landed);
  return cents === null ? 0 : till.shelf(cents);
}

function decide(limits, shelf) {
  const bound = limits.filter((limit) => limit.most !== null);
  if (!bound.length) return { decision: "buy", rule: "", most: null };
  const lowest = bound.reduce((least, limit) => (limit.most < least.most ? limit : least));
  const buy = lowest.most > 0 && (shelf === null || shelf <= lowest.most);
  return { decision: buy ? "buy" : "pass", rule: lowest.rule, most: lowest.most };
}

function profits(landed, seen, nets, minutes, deal) {
  const hold = (landed / 100) * (1.0 + (seen.rate * seen.tied) / 365.0), spent = hold + seen.labour, hours = Number(minutes) / 60.0;
  return {
    profit_before_labour: plain(toCents(seen.net - hold)),
    profit_after_labour: plain(toCents(seen.net - spent)),
    profit: spread(nets.map((net) => toCents(net - spent))),
    profit_per_hour: hours > 0 ? plain(toCents((seen.net - hold) / hours)) : null,
    loss_between: lossBetween(spent, nets, seen.low, Number(deal.most_loss_chance ?? 0.5)),
  };
}

/** Say between which shares the chance of loss lies: what was spent, among the quantiles of what is left of a sale. */
function lossBetween(spent, nets, low, share) {
  const marks = [[nets[0], 0.1], [nets[1], 0.5], [nets[2], 0.9], [low, share]];
  const above = marks.filter(([net]) => net >= spent).map(([, part]) => part), below = marks.filter(([net]) => net < spent).map(([, part]) => part);
  return [Math.max(0, ...below), Math.min(1, ...above)];
}

function speed(group, of) {
  if (!group.speed_basis) return { warnings: [gettext("The comps carry no listing dates, so the time to sell is not known.")] };
  return {
    days_50: of("days_50") || null,
    days_80: of("days_80") || null,
    sold_within: Object.fromEntries(WITHIN.map((day) => [day, of(`sold_${day}`) / 10000])),
    warnings: of("dearer") ? [gettext("The asking price lies above what sellers ask for such items: how demand goes on there is an estimate " +
      "nobody has tested. A lower one of the table is the safer choice.")] : [],
  };
}

/** Say of an item that is not known and was not described why nothing can be said, and what would help. */
function saidOfNothing(item) {
  return item.gtin || item.style_code ? {
    reason: gettext("Too little to go on: it is not among your comps, and nothing says what it is like."),
    would_settle: gettext("Its brand, category and title; or recent sales of this very item."),
  } : {
    reason: gettext("Too little to go on: this number names no item."),
    would_settle: gettext("The maker's barcode or the style code; or brand, category and title."),
  };
}

function tooLittle(deal, evidence, item) {
  const sales = Math.max(Math.ceil(Number(deal.least_comps) - evidence), 1), told = item.brand && item.category && item.title;
  return {
    reason: gettext("Too little to go on: what is known beyond its category is worth {evidence} sales of this item, your " +
      "rule asks for {wanted}.", { evidence: written(evidence.toFixed(2)), wanted: written(deal.least_comps) }),
    would_settle: told
      ? ngettext("One recent sale of this very item would settle it.", "About {count} recent sales of this very item would settle it.", sales)
      : ngettext("One recent sale of this very item would settle it; so may its brand, category and title.",
        "About {count} recent sales of this very item would settle it; its brand, category and title help too.", sales),
  };
}

function reason(decision, meaning, most, shelf, write) {
  if (most === null) return gettext("No rule limits the price.");
  const why = meaning.replace(/\.+$/, "");
  if (shelf === null && most > 0) return gettext("No shelf price was given: worth up to {most}. The rule that decides: {rule}.", { most: write(most), rule: why });
  if (decision === "buy") return gettext("Buy: {room} of room below the most worth paying, {most}. The rule that decides: {rule}.", { room: write(most - shelf), most: write(most), rule: why });
  if (most <= 0) return gettext("Pass at any price. The rule that fails: {rule}.", { rule: why });
  return gettext("Pass: it becomes a buy at {most} or less. The rule that decides: {rule}.", { most: write(most), rule: why });
}

function matching({ brand, category }, sold) {
  if (sold) return gettext("{sold} of the same style", { sold });
  if (brand) return gettext("no sale of its own: {brand} and its category stand in", { brand });
  return category ? gettext("no sale of its own: its category stands in") : gettext("no sale of its own");
}

/** Say what the server would count and the pack does not hold. */
function leftOut(asked, found, flags, category) {
  const out = [];
  if ((asked.size ?? "").trim()) out.push(gettext("The size is not counted here: all sizes of the style are taken together."));
  if (!found.known && (asked.title ?? "").trim()) out.push(gettext("What the title's words say of the price is not counted here."));
  out.push(...unpriced(flags, category));
  if (flags.length) out.push(gettext("The asking price is the one without flags."));
  return out;
}

/** Say which flags change the price in a way that the pack does not hold. */
function unpriced(flags, category) {
  return flags.filter((one) => one.price_effect.includes(category))
    .map((one) => gettext("What “{flag}” does to the price is not counted here, only its minutes and supplies: the limit may be lower.", { flag: one.label }));
}

/** Write a share as whole percents, half to even. */
function percent(share) {
  const hundredfold = share * 100, floor = Math.floor(hundredfold), part = hundredfold - floor;
  return percentage(part > 0.5 || (part === 0.5 && floor % 2) ? floor + 1 : floor);
}

/** Write a share the pack has in words, "25%", as the language writes it. */
const inPercent = (said) => percentage(said.slice(0, -1));

const spread = ([low, mid, high]) => ({ low: plain(low), mid: plain(mid), high: plain(high) });
const isoDay = (day) => new Date(day * 86400000).toISOString().slice(0, 10);

function blank(pack, asked) {
  return {
    query: { code: asked.code ?? "", shelf_price: null, brand: asked.brand ?? "", category: asked.category ?? "", title: asked.title ?? "",
      size: asked.size ?? "", condition: asked.condition ?? "", discount: asked.discount || null, flags: asked.flags ?? [] },
    item: null, currency: pack.about.currency, decision: "too little to go on", reason: "", would_settle: "", binding_rule: "",
    most_worth_paying: null, most_cents: null, shelf_price: null, landed_cost: null, landed_cents: null, asking_price: null, sale_price: null,
    speed_basis: "", days_50: null, days_80: null, sold_within: {}, expected_proceeds: null, proceeds: null, profit_before_labour: null,
    profit_after_labour: null, profit: null, profit_per_hour: null, chance_of_loss: null, loss_between: null, comps_sold: 0, comps_unsold: 0,
    newest_comp: null, match: gettext("no comps"), rests_on: gettext("There are no comps of this item."), objective: "", channel: "", limits: [], warnings: [],
    at_others: null, left_out: [], unsure: "", prep_minutes: null, problem: null, fit_made_at: pack.about.learnt, from_pack: true, pack_built: pack.about.built,
  };
}
