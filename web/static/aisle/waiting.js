// The list of what this phone keeps for its server, with the state of each and a way back.
import { gettext, ngettext } from "../language.js";
import * as kept from "./kept.js";
import * as packs from "./packs.js";
import * as queue from "./queue.js";
import { known, now } from "./server.js";
import { sync } from "./start.js";
import { age, clock, kindOf, made, said, shape, wholeWords } from "./words.js";

const MOST = 200; // lines of the list: what is done and older is not shown
const part = (id) => document.getElementById(id);
const STATES = { waiting: gettext("Waiting"), sent: gettext("Sent"), refused: gettext("Refused"), undoing: gettext("Undo waits"), undone: gettext("Undone") };
const WHATS = {
  check: ({ shown }) => gettext("Check: {decision}", { decision: said(shown.decision) }),
  take: ({ shown }) => gettext("Taken: {count}", { count: shown.count }),
  comp: ({ shown }) => (shown.sold ? gettext("Price seen: sold for {price}", { price: shown.seen }) : gettext("Price seen: asked {price}", { price: shown.seen })),
  undo: () => gettext("Put back a piece of the haul"),
};

function row(item, about) {
  const { id, state, shown, what } = item;
  const foreign = item.server !== about?.server;
  const why = item.why && wholeWords(item.why);
  const acts = { waiting: [["undo", gettext("Undo")]], sent: [["undo", gettext("Undo")]], refused: [["again", gettext("Send again")], ["drop", gettext("Drop")]], undone: [["again", gettext("Bring back")]] }[state] ?? [];
  const usable = what.kind === "undo" ? acts.filter(([act]) => act !== "undo") : acts;
  const page = state === "sent" && !foreign && { check: `/check/${item.target}`, take: "/haul", comp: `/comps/batch/${item.target}` }[what.kind];
  const name = made("bdi", {}, shown.label);
  return made("li", { class: `row ${kindOf(shown.decision ?? "")} ${state}${state === "undone" ? " gone" : ""}` },
    shown.decision ? shape(kindOf(shown.decision)) : null,
    made("span", { class: "grow" }, page ? made("a", { class: "tap", href: page }, name) : name,
      made("span", { class: "small" }, made("span", { class: "state" }, STATES[state]), ` · ${WHATS[what.kind](item)} · ${clock(item.seen_at)}`),
      foreign && made("span", { class: "small" }, gettext("Kept for another server; it is sent only there.")),
      why && made("span", { class: "small" }, why)),
    made("span", { class: "two" }, ...usable.map(([act, words]) => made("button", { type: "button", class: "plain", "data-act": act, "data-id": id, "aria-label": `${words}: ${shown.label}` }, words))));
}

function offBy(minutes) {
  const count = Math.abs(minutes);
  return minutes > 0 ? ngettext("This phone's clock is {count} minute behind your server's.", "This phone's clock is {count} minutes behind your server's.", count)
    : ngettext("This phone's clock is {count} minute ahead of your server's.", "This phone's clock is {count} minutes ahead of your server's.", count);
}

async function draw() {
  const about = await known(), items = await queue.all(), held = await packs.current();
  part("items").replaceChildren(...items.filter((item, at) => at < MOST || queue.open(item)).map((item) => row(item, about)));
  part("none").hidden = items.length > 0;
  part("send").hidden = !items.some(queue.open);
  part("pack").hidden = !about;
  const [words, clocks] = part("pack").querySelectorAll("p");
  words.textContent = held ? `${ngettext("{count} known item.", "{count} known items.", held.pack.about.items)} ${age(held.pack, now(about)).words}` : gettext("No pack. It is fetched by itself when your server answers and has learnt from your comps.");
  const off = Math.round((about?.off ?? 0) / 60_000);
  clocks.textContent = Math.abs(off) >= 2 ? `${offBy(off)} ${gettext("The server's counts; what this phone's showed is kept beside it.")}` : "";
  clocks.hidden = !clocks.textContent;
}

const ACTS = { undo: queue.undo, again: queue.again, drop: (id) => kept.remove("items", id) };

part("items").addEventListener("click", async ({ target }) => {
  const { act, id } = target.closest("[data-act]")?.dataset ?? {};
  if (!act) return;
  await ACTS[act](id);
  await draw();
  (part("items").querySelector(`[data-id="${CSS.escape(id)}"]`) ?? document.getElementById("main")).focus();
  sync().then(draw);
});

part("send").addEventListener("click", async () => {
  const state = await sync();
  const left = (await queue.all()).filter((item) => queue.open(item) && item.server === state?.server).length;
  part("said").hidden = false;
  part("said").textContent = !state ? queue.hindered || gettext("Your server does not answer. Everything stays here and is sent by itself later.")
    : left ? ngettext("{count} thing could not be stored just now and stay here.", "{count} things could not be stored just now and stay here.", left) : gettext("Everything was sent.");
  draw();
});

kept.watch("items", draw);
kept.watch("packs", draw);
kept.watch("about", draw);
draw();
