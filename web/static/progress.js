// Ask how far the work is and change only the words that changed, so that a screen reader says those alone.
// Without this file the page reloads itself; either way the reader can stop it (WCAG 2.2, 2.2.2).
import { gettext } from "./language.js";

const EVERY = 2000;
const stop = document.getElementById("stop");
const looking = document.getElementById("looking");
let timer = setTimeout(look, EVERY);

async function look() {
  const shown = document.getElementById("progress");
  try {
    const answer = await fetch(`${location.pathname}?look=1`, { headers: { Accept: "text/html" } });
    if (!answer.ok) throw new Error(answer.status);
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const found = page.getElementById("progress");
    if (timer === null) return; // stopped meanwhile
    if (found.textContent !== shown.textContent) shown.replaceChildren(...found.childNodes);
    if (!("running" in found.dataset)) return end(found.dataset.next);
    looking.textContent = gettext("This page looks again by itself.");
  } catch {
    looking.textContent = gettext("The computer does not answer just now. This page asks again by itself.");
  }
  if (timer !== null) timer = setTimeout(look, EVERY);
}

function end(next) {
  if (next) return location.replace(next);
  delete document.getElementById("progress").dataset.running;
  looking.remove();
  stop.remove();
}

stop.addEventListener("click", (event) => {
  event.preventDefault();
  clearTimeout(timer);
  timer = null;
  looking.textContent = gettext("This page stays as it is until you look again.");
  looking.tabIndex = -1;
  looking.focus(); // the link that had the focus goes away
  stop.remove();
});
