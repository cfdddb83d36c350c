// What was done without the server: checks, prices seen, pieces taken. Each has an id that no other phone gives, and is
// sent until the server has said what became of it; the server stores an id once.
//   waiting -> sent | refused;   waiting -> undone (never tried to send);   waiting or sent -> undoing -> undone
import { gettext } from "../language.js";
import * as kept from "./kept.js";
import { ask, known, now, reach, shut } from "./server.js";

const SOME = 40; // things of one sending
const KEPT = 30 * 86_400_000; // milliseconds for which what is done is still shown
let sending = null;
let more = false;
export let hindered = ""; // why the last sending did not get through, in words

const letters = (count) => [...crypto.getRandomValues(new Uint8Array(count))].map((one) => (one % 36).toString(36)).join("");

/** Return this phone's own name, random and kept. */
async function device() {
  return (await kept.change("about", "device", (name) => (name ? undefined : letters(10))));
}

/**
 * Keep one thing to be sent; `what` is { kind, ... } as /aisle/send takes it, `shown` what the page showed of it. The id
 * is this phone's own, but where the server's page gave one.
 */
export async function add(what, shown, given = "") {
  const about = await known();
  const id = given || `${await device()}-${Date.now().toString(36)}-${letters(8)}`;
  const item = {
    id, server: about.server, state: "waiting", tries: 0, shown, what,
    at: new Date().toISOString(), seen_at: new Date(now(about)).toISOString(), order: await next(),
  };
  await kept.put("items", id, item);
  navigator.storage?.persist?.().catch(() => {});
  return item;
}

const next = () => kept.change("about", "count", (last) => (last ?? 0) + 1);

export const get = (id) => kept.get("items", id);

/** Return what is kept, the newest first. */
export async function all() {
  return (await kept.all("items")).sort((one, two) => two.order - one.order);
}

/** Whether something still has to reach its server. */
export const open = (item) => item.state === "waiting" || item.state === "undoing";

/** Take one thing back. What may have reached the server is undone there too, when it answers. */
export function undo(id) {
  return kept.change("items", id, (item) => {
    if (item.state === "waiting" && !item.tries) return { ...item, state: "undone", why: null };
    if (item.state === "waiting" || item.state === "sent") return { ...item, state: "undoing", why: null };
  });
}

/** Keep once more what was undone or refused; what may be known to the server goes as a new thing. */
export async function again(id) {
  const item = await kept.get("items", id);
  if (!item || open(item) || item.state === "sent") return item;
  if (!item.tries || item.state === "refused") {
    return kept.change("items", id, (same) => ({ ...same, state: "waiting", why: null }));
  }
  const fresh = await add(item.what, item.shown);
  await kept.remove("items", id);
  return fresh;
}

/** Undo a line of the haul that this phone did not take. */
export const undoOther = (of, label) => add({ kind: "undo", of }, { label });

/** Send what waits for the server that answers. Returns its answer to "who are you", or null. */
export function send() {
  more = true;
  sending ??= whileMore().finally(() => (sending = null));
  return sending;
}

/** Look again after each round: something may have been kept meanwhile. */
async function whileMore() {
  let state = null;
  while (more) {
    more = false;
    state = await sendAll();
  }
  return state;
}

async function sendAll() {
  const state = await ask();
  if (!state) {
    hindered = shut() ? gettext("The server answers, but this phone has no key any more. Scan the QR code on the home computer again.") : "";
    return null;
  }
  hindered = "";
  let sent = false;
  for (let rest = 50; rest; rest--) {
    const due = (await all()).filter((item) => open(item) && item.server === state.server && !item.later).reverse();
    if (!due.length) break;
    if (!(await sendSome(state, due.slice(0, SOME)))) break;
    sent = true;
  }
  const items = await all(), late = items.filter((item) => item.later);
  if (late.length) await kept.changeAll("items", late.map(({ id }) => id), ({ later: _over, ...same }) => same);
  for (const item of items) if (!open(item) && Date.now() - Date.parse(item.at) > KEPT) await kept.remove("items", item.id);
  return sent ? ((await ask()) ?? state) : state;
}

async function sendSome(state, due) {
  // Noted before they go: from here on nobody knows whether the server has them, until it says so.
  const going = new Map();
  await kept.changeAll("items", due.map(({ id }) => id), (item) => {
    if (!open(item)) return; // undone just now
    const tried = { ...item, tries: item.tries + 1 };
    going.set(item.id, tried);
    return tried;
  });
  const items = [...going.values()].sort((one, two) => one.order - two.order);
  const body = JSON.stringify({ server: state.server, sent_at: new Date().toISOString(), items: items.map(spelt) });
  const headers = { "Content-Type": "application/json", "X-CSRFToken": state.token };
  const answer = await reach("/aisle/send", { method: "POST", headers, body, patience: 60_000 });
  if (!answer) return false;
  let results = null;
  try {
    ({ results } = answer.json());
  } catch {
    // not an answer of ours
  }
  if (answer.status !== 200 || results?.length !== items.length) {
    hindered = gettext("The server did not take it ({status}). Load this page anew; nothing is lost.", { status: answer.status });
    return false;
  }
  const said = new Map(items.map((item, at) => [item.id, [item, results[at]]]));
  await kept.changeAll("items", [...said.keys()], (item) => settled(item, ...said.get(item.id)));
  return true;
}

function spelt({ id, at, state, what, shown }) {
  return state === "undoing" ? { kind: "undo", id: `${id}-undo`, of: id, at: new Date().toISOString() } : { ...what, id, at, shown };
}

/** Return a thing after the server's word about it; it may have been undone on this page meanwhile. */
function settled(item, before, { state, target, wrong, accepted, next_step: wayOn }) {
  if (state === "later") return { ...item, later: true, why: { wrong, accepted, wayOn } };
  if (before.state === "undoing") {
    if (state === "refused") return { ...item, state: "sent", why: { wrong, accepted, wayOn } };
    return { ...item, state: "undone", why: null };
  }
  if (state === "refused") return { ...item, state: item.state === "undoing" ? "undone" : "refused", why: { wrong, accepted, wayOn } };
  if (state === "undone" && item.what.kind !== "undo") return { ...item, state: "undone", why: null };
  return { ...item, state: item.state === "undoing" ? "undoing" : "sent", target, sent_at: new Date().toISOString(), why: null };
}
