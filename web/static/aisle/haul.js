// The haul on this phone: what the server's open haul held when it last answered, and what was taken since.
import { gettext, ngettext, written } from "../language.js";
import * as kept from "./kept.js";
import * as packs from "./packs.js";
import * as queue from "./queue.js";
import { known } from "./server.js";
import { sync } from "./start.js";
import { clock, kindOf, made, shape } from "./words.js";

const part = (id) => document.getElementById(id);

/** Return the haul's lines, the newest first: { id, other, label, decision, count, landed, profit, minutes, ... }. */
async function lines(about, items) {
  const mine = new Map(items.filter((item) => item.what.kind === "take").map((item) => [item.id, item]));
  const undone = new Set(items.filter((item) => item.what.kind === "undo" && item.state !== "refused").map((item) => item.what.of));
  const found = [];
  const listed = new Set();
  for (const line of about?.haul.lines ?? []) {
    const own = mine.get(line.client_id);
    listed.add(line.client_id);
    const gone = line.undone || undone.has(line.client_id) || own?.state === "undoing" || own?.state === "undone";
    found.push({ ...line, key: own?.id ?? line.client_id, own, gone, state: gone ? gettext("put back") : "" });
  }
  for (const item of mine.values()) {
    if (listed.has(item.id)) continue;
    // Sent after the server last told of its haul: it is in there by now. Told of after: its haul was closed since.
    if (item.state === "sent" && Date.parse(item.sent_at) < about.asked) continue;
    if (item.state === "undone" && item.tries) continue;
    const gone = item.state === "undone" || item.state === "undoing" || item.state === "refused";
    const words = { waiting: gettext("waits to be sent"), refused: gettext("refused"), undone: gettext("put back"), undoing: gettext("put back") }[item.state] ?? "";
    const { shown } = item;
    found.unshift({ ...shown, profit: shown.profit === null ? null : shown.profit * shown.count, key: item.id, own: item, gone, state: words, order: item.order });
  }
  return found.sort((one, two) => (two.order ?? 0) - (one.order ?? 0));
}

function summed(live) {
  const sum = (each) => live.reduce((total, line) => total + each(line), 0);
  return {
    pieces: sum((line) => line.count),
    outlay: sum((line) => line.count * (line.landed ?? 0)),
    profit: sum((line) => line.profit ?? 0),
    minutes: sum((line) => line.count * line.minutes),
    blind: sum((line) => (line.landed === null || line.profit === null ? line.count : 0)),
  };
}

/** Say which limits of a haul are passed, or nearly nothing where none is set. */
function limits(pack, sums, live) {
  const { cash, prep_hours: hours, most_of_style: style, most_in_category: category } = pack.haul;
  const said = [];
  const most = (name, limit, words) => {
    if (limit === null || limit === undefined) return;
    const counts = new Map();
    for (const line of live) if (line[name]) counts.set(line[name], (counts.get(line[name]) ?? 0) + line.count);
    for (const [what, count] of counts) if (count > limit) said.push([words({ name: what, count, most: limit }), true]);
  };
  if (cash !== null) {
    const left = Math.round(Number(cash) * 100) - sums.outlay;
    const words = left < 0 ? gettext("{amount} over your cash of {cash}.", { amount: pack.write(-left), cash: pack.write(Math.round(Number(cash) * 100)) })
      : gettext("{amount} left of your cash.", { amount: pack.write(left) });
    said.push([words, left < 0]);
  }
  if (hours !== null) {
    const left = Number(hours) * 60 - sums.minutes;
    const words = left < 0 ? gettext("{minutes} min of prep over your {hours} h.", { minutes: Math.ceil(-left), hours: written(hours) })
      : gettext("{minutes} min of prep left.", { minutes: Math.floor(left) });
    said.push([words, left < 0]);
  }
  most("style", style, (values) => gettext("Of style {name}: {count} pieces, more than your {most}.", values));
  most("category", category, (values) => gettext("In {name}: {count} pieces, more than your {most}.", values));
  if (sums.blind) said.push([ngettext("{count} piece without a forecast or a price: counted as pieces, in the prep and, where its price is known, in the outlay; left out of profit.",
    "{count} pieces without a forecast or a price: counted as pieces, in the prep and, where their prices are known, in the outlay; left out of profit.", sums.blind), false]);
  return said;
}

async function draw() {
  const about = await known(), held = await packs.current();
  const items = (await queue.all()).filter((item) => item.server === about?.server);
  const all = await lines(about, items), live = all.filter((line) => !line.gone), sums = summed(live);
  const write = (cents) => held?.pack.write(cents) ?? `${(cents / 100).toFixed(2)} ${about?.haul.currency ?? ""}`;
  part("where").replaceChildren(...headed(about?.haul.store));
  const texts = { pieces: sums.pieces, outlay: write(sums.outlay), profit: write(sums.profit), minutes: gettext("{count} min", { count: Math.round(sums.minutes) }) };
  for (const place of part("sums").querySelectorAll("[data-sum]")) place.textContent = texts[place.dataset.sum];
  part("over").replaceChildren(...(held ? limits(held.pack, sums, live) : []).map(([words, over]) => made("li", { class: over && "over" }, words)));
  part("base").textContent = about
    ? gettext("With what your server's haul held on {moment}. Pieces taken since are reckoned each as if it were alone; the server reckons further ones of the same later and lower.", { moment: clock(about.asked) })
    : "";
  part("none").hidden = all.length > 0;
  part("lines").replaceChildren(...all.map((line) => row(line, write)));
}

/** Return the heading, the store's name kept apart from the words around it. */
function headed(store) {
  if (!store) return [gettext("Haul")];
  const [before, after] = gettext("Haul at {store}").split("{store}");
  return [before, made("bdi", {}, store), after];
}

function row(line, write) {
  const landed = line.landed === null ? gettext("no price") : gettext("{cost} landed", { cost: write(line.landed) });
  const profit = line.profit === null ? gettext("no forecast")
    : line.count > 1 ? gettext("profit {profit} together", { profit: write(line.profit) }) : gettext("profit {profit}", { profit: write(line.profit) });
  const again = line.own && (line.own.state === "undone" || line.own.state === "refused");
  const can = again || (line.key && !line.gone);
  const words = again ? gettext("Take again") : gettext("Undo");
  return made("li", { class: `row ${kindOf(line.decision)}${line.gone ? " gone" : ""}` }, shape(kindOf(line.decision)),
    made("span", { class: "grow" }, made("bdi", {}, line.label), made("span", { class: "small" }, `${line.count} × ${landed} · ${profit}${line.state && ` · ${line.state}`}`)),
    can && made("button", { type: "button", class: "plain", "data-key": line.key, "data-label": line.label, "aria-label": `${words}: ${line.label}` }, words));
}

part("lines").addEventListener("click", async ({ target }) => {
  const button = target.closest("[data-key]");
  if (!button) return;
  const { key, label } = button.dataset, own = await queue.get(key);
  if (!own) await queue.undoOther(key, label);
  else if (own.state === "undone" || own.state === "refused") await queue.again(key);
  else await queue.undo(key);
  await draw();
  part("lines").querySelector(`[data-key="${CSS.escape(key)}"]`)?.focus();
  sync().then(draw);
});

kept.watch("items", draw);
kept.watch("about", draw);
draw();
