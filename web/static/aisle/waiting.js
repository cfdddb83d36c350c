// The list of what this phone keeps for its server, with the state of each and a way back.
import * as kept from "./kept.js";
import * as packs from "./packs.js";
import * as queue from "./queue.js";
import { known, now } from "./server.js";
import { sync } from "./start.js";
import { age, clock, kindOf, made, plural, shape, wholeWords } from "./words.js";

const MOST = 200; // lines of the list: what is done and older is not shown
const part = (id) => document.getElementById(id);
const STATES = { waiting: "Waiting", sent: "Sent", refused: "Refused", undoing: "Undo waits", undone: "Undone" };
const WHATS = {
  check: ({ shown }) => `Check: ${shown.decision}`,
  take: ({ shown }) => `Taken: ${shown.count}`,
  comp: ({ shown }) => `Price seen: ${shown.sold ? "sold for" : "asked"} ${shown.seen}`,
  undo: () => "Put back a piece of the haul",
};

function row(item, about) {
  const { id, state, shown, what } = item;
  const foreign = item.server !== about?.server;
  const why = item.why && wholeWords(item.why);
  const acts = { waiting: [["undo", "Undo"]], sent: [["undo", "Undo"]], refused: [["again", "Send again"], ["drop", "Drop"]], undone: [["again", "Bring back"]] }[state] ?? [];
  const usable = what.kind === "undo" ? acts.filter(([act]) => act !== "undo") : acts;
  const page = state === "sent" && !foreign && { check: `/check/${item.target}`, take: "/haul", comp: `/comps/batch/${item.target}` }[what.kind];
  const name = made("bdi", {}, shown.label);
  return made("li", { class: `row ${kindOf(shown.decision ?? "")} ${state}${state === "undone" ? " gone" : ""}` },
    shown.decision ? shape(kindOf(shown.decision)) : null,
    made("span", { class: "grow" }, page ? made("a", { class: "tap", href: page }, name) : name,
      made("span", { class: "small" }, made("span", { class: "state" }, STATES[state]), ` · ${WHATS[what.kind](item)} · ${clock(item.seen_at)}`),
      foreign && made("span", { class: "small" }, "Kept for another server; it is sent only there."),
      why && made("span", { class: "small" }, why)),
    made("span", { class: "two" }, ...usable.map(([act, words]) => made("button", { type: "button", class: "plain", "data-act": act, "data-id": id, "aria-label": `${words}: ${shown.label}` }, words))));
}

async function draw() {
  const about = await known(), items = await queue.all(), held = await packs.current();
  part("items").replaceChildren(...items.filter((item, at) => at < MOST || queue.open(item)).map((item) => row(item, about)));
  part("none").hidden = items.length > 0;
  part("send").hidden = !items.some(queue.open);
  part("pack").hidden = !about;
  const [words, clocks] = part("pack").querySelectorAll("p");
  words.textContent = held ? `${plural(held.pack.about.items, "known item")}. ${age(held.pack, now(about)).words}` : "No pack. It is fetched by itself when your server answers and has learnt from your comps.";
  const off = Math.round((about?.off ?? 0) / 60_000);
  clocks.textContent = Math.abs(off) >= 2 ? `This phone's clock is ${plural(Math.abs(off), "minute")} ${off > 0 ? "behind" : "ahead of"} your server's. The server's counts; what this phone's showed is kept beside it.` : "";
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
  part("said").textContent = !state ? queue.hindered || "Your server does not answer. Everything stays here and is sent by itself later."
    : left ? `${plural(left, "thing")} could not be stored just now and stay here.` : "Everything was sent.";
  draw();
});

kept.watch("items", draw);
kept.watch("packs", draw);
kept.watch("about", draw);
draw();
