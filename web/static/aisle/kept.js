// What this phone keeps: IndexedDB, and memory where the browser refuses it. Three places: "packs" and "about" by name,
// "items" by their id. `trouble` says what is wrong with the storage: "", "refused" or "full".
const NAME = "sourcing-aisle";
const PLACES = ["packs", "about", "items"];
const loose = Object.fromEntries(PLACES.map((place) => [place, new Map()])); // what could not be stored
const other = "BroadcastChannel" in window ? new BroadcastChannel(NAME) : null; // pages of other tabs
const here = new EventTarget();
const telling = new Set(); // places whose changes are still to be told of
const AT_ONCE = 40; // milliseconds within which changes are told of together
let opening = null;
export let trouble = "";

function open() {
  opening ??= new Promise((done, failed) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => PLACES.forEach((place) => asked.result.createObjectStore(place));
    asked.onerror = () => failed(asked.error);
    asked.onblocked = () => failed(new Error("blocked"));
    asked.onsuccess = () => {
      const database = asked.result;
      database.onversionchange = () => (database.close(), (opening = null));
      database.onclose = () => (opening = null); // the browser cleared it: the next use opens it anew
      done(database);
    };
  }).catch((error) => ((opening = null), Promise.reject(error)));
  return opening;
}

/** Run `work` on one place in one transaction and return what it made of it, once it is on the disk. */
async function within(place, mode, work, again = true) {
  try {
    const database = await open();
    return await new Promise((done, failed) => {
      const transaction = database.transaction(place, mode, { durability: "strict" });
      let found;
      transaction.oncomplete = () => done(found);
      transaction.onabort = transaction.onerror = () => failed(transaction.error);
      work(transaction.objectStore(place), (value) => (found = value));
    });
  } catch (error) {
    if (again && error?.name === "InvalidStateError") return (opening = null), within(place, mode, work, false);
    throw error;
  }
}

function reading(place, work) {
  return within(place, "readonly", work).catch((error) => (note(error), undefined));
}

function note(error) {
  trouble = error?.name === "QuotaExceededError" ? "full" : "refused";
}

export async function get(place, key) {
  if (loose[place].has(key)) return loose[place].get(key);
  return reading(place, (store, found) => (store.get(key).onsuccess = ({ target }) => found(target.result)));
}

export async function all(place) {
  const stored = (await reading(place, (store, found) => {
    const keys = store.getAllKeys();
    store.getAll().onsuccess = ({ target }) => found(target.result.map((value, at) => [keys.result[at], value]));
  })) ?? [];
  return [...new Map([...stored, ...loose[place]]).values()];
}

/**
 * Change one value in one transaction: `how` gets what is there and returns what is to be there, or undefined to leave
 * it. Returns what is there afterwards. What cannot be stored is kept in memory, and `trouble` says so.
 */
export async function change(place, key, how) {
  let after;
  if (!loose[place].has(key)) {
    try {
      after = await within(place, "readwrite", (store, found) => {
        store.get(key).onsuccess = ({ target }) => {
          const fresh = how(target.result);
          found(fresh ?? target.result);
          if (fresh !== undefined) store.put(fresh, key);
        };
      });
      trouble = loosened() ? trouble : "";
      return tell(place), after;
    } catch (error) {
      note(error);
    }
  }
  const before = await get(place, key);
  after = how(before) ?? before;
  if (after === undefined) return after;
  loose[place].set(key, after);
  await settle(place, key);
  return tell(place), after;
}

/** Change several values that are there in one transaction, each as `change` does. */
export async function changeAll(place, keys, how) {
  const alone = [];
  try {
    await within(place, "readwrite", (store) => {
      for (const key of keys) {
        store.get(key).onsuccess = ({ target: { result } }) => {
          if (loose[place].has(key) || result === undefined) return alone.push(key);
          const fresh = how(result);
          if (fresh !== undefined) store.put(fresh, key);
        };
      }
    });
    tell(place);
  } catch {
    alone.splice(0, Infinity, ...keys); // one by one, what fits is stored
  }
  for (const key of alone) await change(place, key, (value) => (value === undefined ? undefined : how(value)));
}

export const put = (place, key, value) => change(place, key, () => value);

export async function remove(place, key) {
  loose[place].delete(key);
  await within(place, "readwrite", (store) => store.delete(key)).catch(note);
  tell(place);
}

/** Try once more to store what is in memory alone. */
export async function settle(place, key) {
  try {
    await within(place, "readwrite", (store) => store.put(loose[place].get(key), key));
    loose[place].delete(key);
    if (!loosened()) trouble = "";
  } catch (error) {
    note(error);
  }
}

/** Return how many things are in memory alone, and so end with this page. */
export const loosened = () => loose.items.size;

/** Tell of changes, many that come together once: a list of hundreds is drawn anew each time. */
function tell(place) {
  if (telling.has(place)) return;
  telling.add(place);
  setTimeout(() => {
    telling.delete(place);
    here.dispatchEvent(new Event(place));
    other?.postMessage(place);
  }, AT_ONCE);
}
other?.addEventListener("message", ({ data }) => here.dispatchEvent(new Event(data)));

/** Call `what` whenever something of a place changed, in this tab or another. */
export const watch = (place, what) => here.addEventListener(place, what);

window.addEventListener("beforeunload", (event) => loosened() && event.preventDefault());
