// Whether the server answers, which one it is, and how far this phone's clock is off.
import * as kept from "./kept.js";

const FRESH = 20_000; // milliseconds for which an answer, or none, is believed
let last = { at: -Infinity, answers: false, shut: false };
let asking = null;

/** Fetch within a time; null when the server does not answer. */
export async function reach(path, { patience = 8000, ...wanted } = {}) {
  const stop = new AbortController();
  const clock = setTimeout(() => stop.abort(), patience);
  try {
    const answer = await fetch(path, { cache: "no-store", redirect: "error", signal: stop.signal, ...wanted });
    const body = await answer.arrayBuffer(); // within the time too: a line may die in the middle
    return { status: answer.status, headers: answer.headers, bytes: body, json: () => JSON.parse(new TextDecoder().decode(body)) };
  } catch {
    return null;
  } finally {
    clearTimeout(clock);
  }
}

/** Ask who answers; null when nobody does, or the door is shut to this phone. */
export function ask(patience) {
  asking ??= asked(patience).finally(() => (asking = null));
  return asking;
}

async function asked(patience) {
  const began = Date.now();
  const answer = await reach("/aisle/state", { patience });
  let state = null;
  try {
    state = answer?.status === 200 ? answer.json() : null;
  } catch {
    // a page of somebody else's network, which answers for every address
  }
  if (!state?.server) state = null;
  last = { at: performance.now(), answers: Boolean(state), shut: answer?.status === 403 };
  if (state) {
    const now = (began + Date.now()) / 2;
    const { token: _once, ...lasting } = state; // a token is for this moment, and is not kept
    await kept.put("about", "server", { ...lasting, off: Date.parse(state.now) - now, asked: now });
  }
  return state;
}

/** Whether the server answers: what was found lately, or what is found within `patience` milliseconds. */
export async function answers(patience) {
  if (navigator.onLine === false) return false;
  if (performance.now() - last.at < FRESH) return last.answers;
  const state = await Promise.race([ask(), new Promise((done) => setTimeout(done, patience, null))]);
  return Boolean(state);
}

/** Whether the server answered that this phone has no key. */
export const shut = () => last.shut;

/** Return what was last known of the server; undefined before the first answer ever. */
export const known = () => kept.get("about", "server");

/** Return this moment by the server's clock, as far as it is known, in milliseconds. */
export const now = (about) => Date.now() + (about?.off ?? 0);
