// The Check page: what is asked is kept, and sent; the server's answer is opened if it comes at once, else the phone's
// own verdict is shown. Without a pack the form goes to the server as it does without scripts.
import { gettext } from "../language.js";
import { Unusable } from "./codes.js";
import { judge, readPrice } from "./judge.js";
import * as kept from "./kept.js";
import * as packs from "./packs.js";
import * as queue from "./queue.js";
import { answers, ask, known, now } from "./server.js";
import { say, sync } from "./start.js";
import { details, verdict } from "./verdict.js";
import { age, kindOf, made, wholeWords } from "./words.js";

const PATIENCE = 250; // milliseconds to find out whether the server answers, where that is not known
const AT_ONCE = 900; // milliseconds its whole answer may take before the phone's own is shown
const FIELDS = ["code", "price", "size", "condition", "discount", "category", "brand", "title"];
const form = document.getElementById("ask");
const here = document.getElementById("here");
const main = document.getElementById("main");
const part = (id) => document.getElementById(id);
let busy = false;
let shown = null; // { item, answer, pack, taken, noted }
let taking = false;

const wait = (time) => new Promise((done) => setTimeout(done, time, null));

/** Send the form as it is. A page that came from the phone has no token of its own. */
async function native() {
  if (!form.elements.csrf_token) {
    const state = await ask();
    if (!state) return problem({ field: "code", wrong: gettext("Your server does not answer just now."), wayOn: gettext("Try again in a moment.") });
    form.append(made("input", { type: "hidden", name: "csrf_token", value: state.token }));
  }
  HTMLFormElement.prototype.submit.call(form);
}

function asked() {
  const found = Object.fromEntries(FIELDS.map((name) => [name, form.elements[name]?.value.trim() ?? ""]));
  return { ...found, flags: [...form.querySelectorAll('[name="flags"]:checked')].map((box) => box.value) };
}

function problem(fault) {
  for (const old of form.querySelectorAll(".wrong")) old.remove();
  for (const field of form.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
  if (!fault) return;
  const field = part(fault.field) ?? part("code");
  const line = made("p", { class: "wrong", id: `${field.id}-wrong`, role: "alert" }, made("strong", {}, fault.wrong), " ", wholeWords({ ...fault, wrong: "" }));
  field.before(line);
  field.setAttribute("aria-invalid", "true");
  field.setAttribute("aria-describedby", line.id);
  for (let around = field.closest("details"); around; around = around.parentElement.closest("details")) around.open = true;
  field.focus();
}

async function submitted(event) {
  event.preventDefault();
  if (busy) return;
  busy = true;
  try {
    await judged();
  } finally {
    busy = false;
  }
}

async function judged() {
  problem(null);
  const question = asked();
  let seen = "";
  if (form.elements.photo.files.length && !question.code) {
    if (await answers(AT_ONCE)) return native();
    seen = await seenInPhoto(question);
    if (!seen) return;
  }
  const held = await packs.current();
  if (!held) {
    if (await answers(3 * AT_ONCE)) return native();
    const why = packs.wrong ? wholeWords(packs.wrong) : gettext("This phone has no pack to judge by, and your server does not answer.");
    return problem({ field: "code", wrong: why, wayOn: gettext("Reach your server once, at home or over a signal; the pack is then fetched by itself.") });
  }
  const answer = judge(held.pack, question);
  if (answer.problem) return (await answers(PATIENCE)) ? native() : problem(answer.problem);
  const item = await queue.add({ kind: "check", asked: question }, {
    label: answer.item.label, decision: answer.decision, most: answer.most_worth_paying,
    shelf: answer.shelf_price, pack: held.pack.about.stamp, built: answer.pack_built,
    figures: { others: answer.sale_price?.mid ?? null, days: answer.days_50, profit: answer.profit_after_labour },
  });
  const first = await Promise.race([firstWord(item.id), wait(AT_ONCE)]);
  if (first?.state === "sent") return location.assign(`/check/${first.target}`);
  if (first?.state === "refused") return (await kept.remove("items", item.id), native());
  await show(item, answer, held.pack, seen);
}

/** Read the photo here, as the server does; return the sentence about it, "" where there is no code to go on with. */
async function seenInPhoto(question) {
  const { readPhoto } = await import("../scan/photo.js");
  try {
    const { typed, note, sure } = await readPhoto(form.elements.photo.files[0]);
    form.elements.code.value = question.code = typed;
    if (sure) return note;
    problem({ field: "code", wrong: note, wayOn: gettext("It stands in the code field: compare the digits, mend them if need be, and check again.") });
  } catch (fault) {
    if (!(fault instanceof Unusable)) throw fault;
    problem(fault);
  }
  return "";
}

/** Return the thing with the server's word about it, or null where the server does not answer. */
async function firstWord(id) {
  if (!(await answers(PATIENCE))) return null;
  await queue.send();
  return queue.get(id);
}

async function show(item, answer, pack, seen, anew = true) {
  shown = { item, answer, pack };
  part("verdict").replaceChildren(...(seen ? [made("p", { class: "note" }, seen)] : []), ...verdict(pack, answer, age(pack, now(await known()))));
  details(pack, answer, part("more").querySelector("dl"), part("more").querySelector("ul"));
  const near = answer.item.known ? [] : answer.item.suggestions;
  part("near").hidden = answer.item.known || !near.length;
  part("near").querySelector(".chips").replaceChildren(...near.map((code) => made("button", { type: "button", class: "plain", "data-code": code }, code)));
  for (const id of ["taken", "noted", "fuller", "seen-wrong"]) part(id).hidden = true;
  for (const id of ["taken", "noted"]) part(id).querySelector(".grow").textContent = "";
  for (const id of ["more", "seen-here"]) part(id).open = false;
  const buy = kindOf(answer.decision) === "buy";
  part("take-count").value = "1";
  const take = part("take").querySelector("button");
  take.className = buy ? "main" : "plain";
  here.querySelector('[data-act="next"]').className = buy ? "plain" : "main";
  turn(true);
  if (anew) history.pushState({ aisle: item.id }, "");
  part("verdict").focus();
  scrollTo(0, 0);
  sync();
}

/** In place of the server's page of a check, which did not come: the phone's own verdict of the same. */
async function standIn() {
  const number = Number(/^\/check\/(\d+)$/.exec(location.pathname)?.[1]);
  if (!number) return;
  const items = await queue.all(), held = await packs.current();
  const item = items.find(({ what, target }) => what.kind === "check" && target === number);
  const answer = item && held && judge(held.pack, item.what.asked);
  if (!answer || answer.problem) {
    return problem(answer?.problem ?? { field: "code", wrong: gettext("Your server does not answer just now."), wayOn: gettext("Try again in a moment.") });
  }
  await show(item, answer, held.pack, "", false);
  const had = items.find(({ what, state }) => what.kind === "take" && [item.id, number].includes(what.check) && ["waiting", "sent"].includes(state));
  if (had) noteTaken(had);
  lookAgain();
}

function noteTaken(taking) {
  shown.taken = taking;
  note("taken", gettext("Taken: {count}. It stands in the haul on this phone.", { count: taking.what.count }));
}

/** Show the verdict, or the form again. */
function turn(on) {
  main.classList.toggle("answered", on);
  here.hidden = !on;
}

function next(first) {
  turn(false);
  if (location.pathname !== "/") history.replaceState(null, "", "/"); // it stood in for the page of a check
  form.elements.size.value = "";
  if (first === "code") {
    form.elements.code.value = form.elements.photo.value = "";
    for (const box of form.querySelectorAll('[name="flags"]')) box.checked = false;
    if (part("scan-taken")) part("scan-taken").hidden = true;
  } else {
    form.elements.code.value = shown.answer.item.style_code || form.elements.code.value; // a barcode names one size
    form.elements.size.closest("details").open = true;
  }
  form.elements[first].focus();
}

async function take(event) {
  event.preventDefault();
  const text = part("take-count").value.trim(), count = Number(text);
  if (!/^\d{1,3}$/.test(text) || count < 1) {
    return note("taken", gettext("“{text}” is no number of pieces. From 1 to 999.", { text: text.slice(0, 20) }), false);
  }
  if (taking) return; // the second tap of two
  if (shown.taken) return noteTaken(shown.taken); // once for each verdict; more of it are added on the Haul page
  taking = true;
  try {
    const { answer, item } = shown;
    const priced = answer.landed_cents !== null && answer.profit_after_labour !== null;
    noteTaken(await queue.add({ kind: "take", check: item.id, count }, {
      label: answer.item.label, decision: answer.decision, count, landed: answer.landed_cents,
      profit: priced ? Math.round(Number(answer.profit_after_labour) * 100) : null, minutes: Number(answer.prep_minutes),
      style: answer.item.style_code, category: answer.item.category, size: answer.item.size,
    }));
  } finally {
    taking = false;
  }
  sync();
}

async function noted(event) {
  event.preventDefault();
  const text = part("seen-price").value.trim(), wrong = part("seen-wrong");
  try {
    if (!readPrice(shown.pack, text)) throw { wrong: gettext("No price was typed."), accepted: gettext("What it sold for, or is asked for.") };
    wrong.hidden = true;
  } catch (fault) {
    wrong.textContent = wholeWords(fault);
    wrong.hidden = false;
    return part("seen-price").focus();
  }
  const sold = here.querySelector('[name="seen-kind"]:checked').value === "sold";
  shown.noted = await queue.add(
    { kind: "comp", asked: shown.item.what.asked, seen_price: text, sold, seen_condition: part("seen-condition-here").value.trim() },
    { label: shown.answer.item.label, seen: text, sold },
  );
  part("seen-price").value = "";
  note("noted", sold ? gettext("Noted: sold for {price}. It counts once your server has it.", { price: text })
    : gettext("Noted: asked {price}. It counts once your server has it.", { price: text }));
  sync();
}

function note(id, words, back = true) {
  part(id).hidden = false;
  part(id).querySelector(".grow").textContent = words;
  part(id).querySelector("button").hidden = !back;
}

async function takeBack(what, words) {
  await queue.undo(shown[what].id);
  shown[what] = null;
  note(what, words, false);
  sync();
}

/** Once the server has judged it too, offer its page. */
async function lookAgain() {
  const item = shown && (await queue.get(shown.item.id));
  if (item?.state !== "sent") return;
  part("fuller").hidden = false;
  part("fuller").querySelector("a").href = `/check/${item.target}`;
}

const ACTS = {
  next: () => next("code"),
  size: () => next("size"),
  "put-back": () => takeBack("taken", gettext("Put back on the shelf.")),
  "un-note": () => takeBack("noted", gettext("Taken back out.")),
};

/** Fill in what the address says, and the flags: a page that came from the phone knows neither. */
async function fill() {
  const said = new URLSearchParams(location.search);
  for (const name of FIELDS) if (said.has(name) && !form.elements[name].value) form.elements[name].value = said.get(name);
  const held = await packs.current(), marks = part("marks");
  if (!held || !marks) return;
  for (const flag of held.pack.flags) {
    const chip = part("flag-chip").content.cloneNode(true);
    chip.querySelector("input").value = flag.name;
    chip.querySelector("span").textContent = flag.label;
    marks.append(chip);
  }
  marks.hidden = !held.pack.flags.length;
}

form.addEventListener("submit", submitted);
part("take").addEventListener("submit", take);
part("seen-here").querySelector("form").addEventListener("submit", noted);
here.addEventListener("click", ({ target }) => {
  ACTS[target.closest("[data-act]")?.dataset.act]?.();
  const code = target.closest("[data-code]")?.dataset.code;
  if (code) {
    turn(false);
    form.elements.code.value = code;
    form.requestSubmit();
  }
});
window.addEventListener("popstate", () => turn(false));
kept.watch("items", lookAgain);
fill().then(standIn).catch(() => {});
answers(3000).then(say);
