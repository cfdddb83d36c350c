// The panel that is open while scanning. One state at a time: what is shown in it is marked `data-in` in the page.
import { Camera } from "./camera.js";
import { ready, signal, want, wanted } from "./signal.js";
import { Votes } from "./votes.js";

const SLOW = 6000; // milliseconds without a code before advice is given
const REST = 60; // milliseconds from one picture to the next at least: more warms the phone and finds no more
const panel = document.getElementById("scan");
const video = panel.querySelector("video");
const { reads, field: into = "code", many } = panel.dataset; // `reads` labels of stock: into a field that is then sent
const { Labels } = reads === "labels" ? await import("./labels.js") : {};
const field = document.getElementById(into);
const price = document.getElementById("price");
const last = document.getElementById("scan-read"); // the label that was read last
const note = document.getElementById("scan-taken");
const boxes = Object.fromEntries([...panel.querySelectorAll("[data-signal]")].map((box) => [box.dataset.signal, box]));
const act = (name) => panel.querySelector(`[data-act="${name}"]`);

const camera = new Camera();
let worker = null;
let votes = counting();
let run = 0; // one opening of the camera: what an earlier one still brings is dropped
let since = 0;
let waiting = false; // for the reader's answer
let asked = null; // the code a question is open about
let shown;

function counting() {
  return reads === "labels" ? new Labels() : new Votes();
}

/** Show what belongs to a state; `code` is the one it speaks of. */
function show(state, code = null) {
  if (panel.dataset.state === state && code?.typed === shown) return; // said once is enough
  panel.dataset.state = state;
  shown = code?.typed;
  if (code) for (const place of panel.querySelectorAll("[data-code]")) place.textContent = code[place.dataset.code];
  for (const part of panel.querySelectorAll("[data-in]")) part.hidden = !part.dataset.in.split(" ").includes(state);
  for (const part of panel.querySelectorAll("[data-kind]")) part.hidden = part.dataset.kind !== code?.kind;
  act("light").hidden ||= !camera.lit;
  // A button that was tapped may be gone now: the focus stays in the panel.
  if (panel.open && !panel.querySelector(":focus:not([hidden])")) panel.querySelector("h2").focus();
}

function halt() {
  run++;
  if (waiting) drop(); // its answer would be taken for one about the next picture
  camera.stop();
  video.srcObject = null;
  act("light").setAttribute("aria-pressed", "false");
}

function stopFor(state) {
  halt();
  show(state);
}

async function start() {
  halt();
  const mine = run;
  votes = counting();
  show("starting");
  try {
    await camera.open(video, () => mine === run, () => mine === run && stopFor("lost"));
  } catch (state) {
    if (mine === run) stopFor(state);
    return;
  }
  if (mine !== run) return;
  worker ??= reader();
  since = performance.now();
  show("looking");
  next(mine);
}

function reader() {
  const made = new Worker(new URL("./reader.js", import.meta.url), { type: "module", name: reads ?? "" });
  made.addEventListener("error", unread);
  return made;
}

function unread() {
  drop();
  if (panel.open) stopFor("unread");
}

/** Do without this reader: the next opening makes another. */
function drop() {
  worker?.terminate();
  worker = null;
  waiting = false;
}

/** Take a picture of what is in sight: the view cuts the video's longer side. */
function taken() {
  const { videoWidth: wide, videoHeight: high, clientWidth, clientHeight } = video;
  const scale = Math.min(wide / clientWidth, high / clientHeight);
  const across = clientWidth * scale, down = clientHeight * scale;
  return createImageBitmap(video, (wide - across) / 2, (high - down) / 2, across, down);
}

/** Send one picture to the reader, and its answer on; then the next, as long as this run lasts. */
async function next(mine) {
  const started = performance.now();
  await new Promise((done) => {
    setTimeout(done, 1000); // a camera that stands still is told of as well
    video.requestVideoFrameCallback ? video.requestVideoFrameCallback(done) : requestAnimationFrame(done);
  });
  const picture = mine === run && worker && !asked && (await taken().catch(() => null));
  if (mine !== run || !worker) return;
  if (picture) {
    const answer = new Promise((done) => worker.addEventListener("message", ({ data }) => done(data), { once: true }));
    worker.postMessage(picture, [picture]);
    waiting = true;
    const { found, broken } = await answer;
    waiting = false;
    if (mine !== run) return;
    if (broken) return unread();
    judge(votes.add(found, performance.now()));
  }
  setTimeout(next, started + REST - performance.now(), mine);
}

function judge(verdict) {
  if (verdict) since = performance.now();
  if (verdict?.says === "accept") accept(verdict.code);
  else if (verdict?.says === "ask") show("asked", (asked = verdict.code));
  else if (verdict?.says === "tell") show("told", verdict.code);
  else if (panel.dataset.state === "looking" && performance.now() - since > SLOW) show("slow");
}

function accept(code) {
  signal({ sound: boxes.sound.checked, shake: boxes.shake.checked });
  if (reads === "labels") return label(code.typed);
  field.value = code.typed;
  field.dispatchEvent(new Event("input", { bubbles: true }));
  note.textContent = note.dataset.text.replace("…", code.typed);
  note.hidden = false;
  leave(price);
  price.select();
}

/** Take a label: of a boxful on a line of its own and go on, alone at once to where it leads. */
function label(text) {
  const lines = many === undefined ? [] : field.value.split("\n").filter((line) => line.trim());
  if (!lines.includes(text)) lines.push(text);
  field.value = lines.join("\n");
  last.textContent = many === undefined ? text : `${text} (${lines.length})`;
  if (many !== undefined) return show("looking");
  panel.close();
  field.form.requestSubmit();
}

/** Leave the panel: a boxful that was scanned is shown. */
function done() {
  leave(field);
  if (last?.textContent) field.form.requestSubmit();
}

function leave(onto) {
  panel.close();
  onto.focus();
}

const ACTS = {
  again: start,
  type: done,
  photo: () => (leave(document.getElementById("photo")), document.getElementById("photo").click()),
  yes: () => accept(asked),
  no: () => (votes.refuse(asked), (asked = null), (since = performance.now()), show("looking")),
  light: async () => {
    const on = act("light").getAttribute("aria-pressed") !== "true";
    if (await camera.light(on)) act("light").setAttribute("aria-pressed", String(on));
  },
};

panel.addEventListener("click", ({ target }) => ACTS[target.closest("[data-act]")?.dataset.act]?.());
panel.addEventListener("close", () => {
  asked = null;
  stopFor("closed");
});
document.addEventListener("visibilitychange", () => document.hidden && panel.open && (asked = null, stopFor("paused")));
window.addEventListener("pagehide", () => (halt(), panel.close()));
for (const [name, box] of Object.entries(boxes)) {
  box.addEventListener("change", () => {
    want(name, box.checked);
    if (name === "sound") ready();
    if (box.checked) signal({ [name]: true });
  });
}
boxes.shake.closest("label").hidden = !navigator.vibrate;

/** Open the panel and the camera. */
export function open() {
  for (const [name, box] of Object.entries(boxes)) box.checked = wanted(name);
  if (boxes.sound.checked) ready();
  if (note) note.hidden = true;
  if (last) last.textContent = "";
  panel.showModal();
  start();
}
