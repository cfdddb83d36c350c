// The server's own page of a verdict: a piece is kept on the phone first and then sent, so that it is taken once even when
// the server has gone meanwhile. Where nothing can be kept here, the form goes to the server as it does without scripts.
import { gettext } from "../language.js";
import * as kept from "./kept.js";
import * as queue from "./queue.js";
import { answers, known } from "./server.js";
import { sync } from "./start.js";
import { wholeWords } from "./words.js";

const AT_ONCE = 1200; // milliseconds the server's word is waited for before the page says that the piece waits
const form = document.getElementById("take-here") ?? document.getElementById("count-here");
const said = document.getElementById("taken");
let mine = null; // the piece as it is kept

const wait = (time) => new Promise((done) => setTimeout(done, time, null));

function say(words, back = false) {
  said.hidden = false;
  said.querySelector(".grow").textContent = words;
  said.querySelector("button").hidden = !back;
  said.scrollIntoView({ block: "nearest" });
}

/** Let the form go as it is, with the button that was tapped; not within its own event, where that does nothing. */
function native(button) {
  form.removeEventListener("submit", submitted);
  setTimeout(() => form.requestSubmit(button));
}

async function submitted(event) {
  event.preventDefault();
  if (form.id === "take-here") return take(event.submitter);
  if (await answers(3 * AT_ONCE)) return native(event.submitter);
  say(gettext("Your server does not answer: a count that stands in its haul can be changed when it does."));
}

async function take(button) {
  const text = form.elements.count.value.trim(), count = Number(text), shown = JSON.parse(form.dataset.shown);
  if (!/^\d{1,3}$/.test(text) || count < 1) return say(gettext("“{text}” is no number of pieces. From 1 to 999.", { text: text.slice(0, 20) }));
  const about = await known();
  if (about?.server !== form.dataset.server || kept.trouble) return native(button);
  button.disabled = true; // a second tap is the same piece
  const what = { kind: "take", check: Number(form.elements.check_id.value), count };
  const before = await queue.get(form.elements.client_id.value);
  mine = before ? await queue.again(before.id) : await queue.add(what, { ...shown, count }, form.elements.client_id.value);
  const now = await Promise.race([queue.send().then(() => queue.get(mine.id)), wait(AT_ONCE)]);
  button.disabled = false;
  if (now?.state === "sent") return location.assign("/haul");
  if (now?.state === "refused") {
    await kept.remove("items", mine.id);
    return say(wholeWords(now.why));
  }
  form.hidden = true;
  say(gettext("Taken: {count}. It stands in the haul on this phone.", { count }), true);
  sync();
}

said?.querySelector("button").addEventListener("click", async () => {
  await queue.undo(mine.id);
  form.hidden = false;
  say(gettext("Put back on the shelf."));
  sync();
});
form?.addEventListener("submit", submitted);
