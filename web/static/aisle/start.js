// On every page of the aisle: register the worker, say what works without the server, send what waits, fetch the pack.
import { gettext, ngettext } from "../language.js";
import * as kept from "./kept.js";
import * as packs from "./packs.js";
import * as queue from "./queue.js";
import { answers, known, now } from "./server.js";
import { age } from "./words.js";

const SOON = 1500; // milliseconds after which the pack is looked for: the page itself comes first
const OFTEN = 20_000; // at most between two tries to send what waits; the first come sooner
const SELDOM = 120_000; // between two looks for another pack
const TROUBLES = {
  refused: gettext("This browser keeps nothing here: it is set not to, or is in a private window. What you do is kept while this page stays open; reach your server before you close it."),
  full: gettext("This phone has no room left. What you do is kept while this page stays open: free some room, or reach your server before you close it."),
};
let looked = -Infinity;
let rest = SOON;

if (window.isSecureContext) navigator.serviceWorker?.register("/sw.js").catch(() => {}); // the page works as ever

/** Say on the page's line what there is to say. */
export async function say() {
  const line = document.getElementById("aisle-line"), trouble = document.getElementById("aisle-trouble");
  if (!line) return;
  const about = await known();
  const held = await packs.current();
  const open = (await queue.all()).filter(queue.open);
  const others = open.filter((item) => item.server !== about?.server).length;
  const texts = [];
  if (packs.wrong) texts.push(`${packs.wrong.wrong} ${packs.wrong.wayOn}`);
  if (held) texts.push(`${gettext("Answers without your server, too.")} ${age(held.pack, now(about)).words}`);
  else if (!(await answers(3000))) {
    texts.push(gettext("Your server does not answer, and this phone has no pack to judge by: none was fetched yet, or the browser cleared it. Reach your server once; what you typed can wait here."));
  }
  if (others) texts.push(ngettext("{count} thing kept for another server, and only sent there.", "{count} things kept for another server, and only sent there.", others));
  if (queue.hindered) texts.push(queue.hindered);
  line.querySelector("span").textContent = texts.join(" ");
  line.querySelector("a").textContent = open.length ? ngettext("{count} waiting to be sent", "{count} waiting to be sent", open.length) : "";
  line.hidden = !texts.length && !open.length;
  trouble.textContent = TROUBLES[kept.trouble] ?? "";
  trouble.hidden = !kept.trouble;
}

/** Send what waits, and look for another pack now and then. */
export async function sync() {
  const state = await queue.send();
  if (state && (packs.coming || !(await packs.current()) || performance.now() - looked > SELDOM)) {
    looked = performance.now();
    await packs.update(state);
  }
  await say();
  return state;
}

async function keepUp() {
  const wanting = packs.coming || (await queue.all()).some(queue.open) || !(await packs.current());
  if (!document.hidden && (wanting || performance.now() - looked > SELDOM)) await sync().catch(() => {});
  rest = packs.coming ? SOON : Math.min(OFTEN, wanting ? 2 * rest : OFTEN);
  setTimeout(keepUp, rest);
}

kept.watch("items", say);
kept.watch("packs", say);
window.addEventListener("online", sync);
document.addEventListener("visibilitychange", () => !document.hidden && sync());
say();
setTimeout(keepUp, SOON);
