// The pack of this server: kept as one record, read into memory once, fetched anew when there is another.
import * as kept from "./kept.js";
import { PackError, openPack } from "./pack.js";
import { known, reach } from "./server.js";

let held = null; // { server, pack, at }
let opening = null; // while it is: everybody who asks waits for the same
export let coming = false; // the server is making another one
let ahead = null; // the stamp of a pack of another version: only this page, loaded anew, can come to read it
export let wrong = null; // why the kept pack cannot be used: { wrong, wayOn }

/** Return { pack, at } of the server last known, or null. */
export async function current() {
  const about = await known();
  if (!about) return null;
  if (held?.server === about.server) return held;
  if (opening?.server !== about.server) {
    const own = { server: about.server, done: opened(about).finally(() => opening === own && (opening = null)) };
    opening = own;
  }
  return opening.done;
}

async function opened(about) {
  const record = await kept.get("packs", about.server);
  if (!record) {
    wrong = (await kept.get("about", "spoilt")) ?? null;
    return null;
  }
  try {
    held = { server: about.server, pack: await openPack(await bytesOf(record)), at: record.at };
    wrong = null;
    return held;
  } catch (error) {
    if (!(error instanceof PackError)) throw error;
    wrong = { wrong: error.message, wayOn: error.wayOn };
    await kept.put("about", "spoilt", wrong); // until there is another
    await kept.remove("packs", about.server); // so that the next answer of the server brings a whole one
    return null;
  }
}

/** Return a kept pack's bytes. They are kept as a blob: to read that takes a browser a third of the time of a buffer. */
async function bytesOf({ bytes }) {
  if (!(bytes instanceof Blob)) return bytes;
  return bytes.arrayBuffer().catch(() => new ArrayBuffer(0)); // its file is gone: no pack, and another is fetched
}

/** Fetch the pack if there is another than the kept one; `state` is the server's answer. True when it was changed. */
export async function update(state) {
  if (!state.learnt) return false; // nothing that a pack could be made of
  const told = await reach("/aisle/pack/state");
  if (told?.status !== 200) return false;
  const { stamp, building } = told.json();
  const record = await kept.get("packs", state.server);
  coming = building;
  if (stamp && (stamp === record?.stamp || stamp === ahead)) return false;
  const answer = await reach("/aisle/pack", { patience: 120_000 }); // the first time this has one made
  coming ||= answer?.status === 202;
  const still = answer?.status === 200 && (await reach("/aisle/state"));
  if (!still || still.status !== 200 || still.json().server !== state.server) return false; // another took its place
  const pack = await openPack(answer.bytes).catch((error) => {
    ahead = error.state === "other version" ? stamp : null;
    return null; // cut off on the way, or not for this page: the old one stays
  });
  if (!pack) return false;
  const at = new Date().toISOString();
  await kept.put("packs", state.server, { bytes: new Blob([answer.bytes]), stamp: pack.about.stamp, built: pack.about.built, at });
  await kept.remove("about", "spoilt");
  held = { server: state.server, pack, at };
  wrong = null;
  return true;
}
