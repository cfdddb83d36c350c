// Let every figure follow what is typed or slid. All figures come from the server: this file reckons nothing.
// Answers may come out of order; only the one to the last question is shown. Without this file the button asks.
import { gettext } from "./language.js";

const WAIT = 120; // ms without a change before asking
const QUIET = 900; // ms without a change before a screen reader is told
const form = document.getElementById("suppose");
const said = document.getElementById("said");
const parts = ["figures", "asks", "receipt"].map((name) => [name, document.getElementById(name)]);
const sliders = new Map();
let asked = 0;
let timer;
let telling;
let running;

for (const field of form.querySelectorAll("input[data-low]")) {
  const slider = document.createElement("input");
  slider.type = "range";
  slider.min = field.dataset.low;
  slider.max = field.dataset.high;
  slider.step = field.dataset.step;
  slider.value = field.dataset.value;
  slider.setAttribute("aria-label", gettext("{name}, slider", { name: field.labels[0].textContent }));
  slider.addEventListener("input", () => {
    field.value = field.dataset.step === "1" ? slider.value : Number(slider.value).toFixed(2);
    soon();
  });
  field.insertAdjacentElement("afterend", slider);
  sliders.set(field.name, slider);
}
document.getElementById("ask-now").remove(); // nothing is left for it to do
form.addEventListener("input", (event) => {
  if (event.target.type !== "range") soon();
});
form.addEventListener("submit", (event) => {
  event.preventDefault();
  ask();
});

function soon() {
  clearTimeout(timer);
  timer = setTimeout(ask, WAIT);
}

async function ask() {
  clearTimeout(timer);
  const number = ++asked;
  const query = new URLSearchParams([...new FormData(form)].filter(([, value]) => value !== ""));
  running?.abort();
  running = new AbortController();
  let answer;
  let found;
  try {
    answer = await fetch(`${form.dataset.twin}?${query}`, { signal: running.signal });
    found = await answer.json();
  } catch (error) {
    if (error.name !== "AbortError" && number === asked) wrong({ field: "", text: gettext("The computer does not answer just now.") });
    return;
  }
  if (number !== asked) return;
  if (!answer.ok) {
    wrong({ field: found.field ?? "", text: [found.wrong, found.accepted, found.next_step].filter(Boolean).join(" ") });
    return;
  }
  wrong(null);
  for (const [name, place] of parts) put(place, found.page[name]);
  history.replaceState(null, "", `${location.pathname}?${query}`);
  follow(found);
  clearTimeout(telling);
  telling = setTimeout(() => tell(found.verdict.reason), QUIET);
}

// Change what is shown in one go, and keep an opened table open.
function put(place, text) {
  if (place.dataset.text === text) return;
  place.dataset.text = text;
  const open = [...place.querySelectorAll("details[open]")].map((one) => one.id);
  place.replaceChildren(...new DOMParser().parseFromString(text, "text/html").body.childNodes);
  for (const id of open) document.getElementById(id)?.setAttribute("open", "");
}

// A field left empty is filled by the server: let its slider stand where that is.
function follow(found) {
  const shown = { price: found.verdict.shelf_price, ask: found.verdict.asking_price, days: found.days };
  for (const [name, slider] of sliders) {
    const value = Number(shown[name] ?? 0);
    if (value > Number(slider.max)) slider.max = Math.ceil(value);
    if (document.activeElement !== slider) slider.value = value;
  }
}

function tell(words) {
  if (said.textContent !== words) said.textContent = words;
}

function wrong(error) {
  for (const place of form.querySelectorAll(".wrong")) {
    const name = place.id.replace("-wrong", "");
    const mine = error !== null && (error.field === name || (error.field === "" && name === "price"));
    const words = mine ? `${error.text} ${gettext("The figures are those from before.")}` : "";
    if (place.textContent !== words) place.textContent = words;
    const field = form.elements[name];
    if (mine) field.setAttribute?.("aria-invalid", "true");
    else field.removeAttribute?.("aria-invalid"); // several boxes are no one field
    if (mine) tell(words);
  }
}
