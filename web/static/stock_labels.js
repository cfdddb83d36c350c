// The labels that a pattern would give, shown while it is typed; the server makes them.
const field = document.getElementById("pattern");
const place = document.getElementById("examples");
let last = 0;

async function shown() {
  const mine = ++last;
  const answer = await fetch(`${place.dataset.from}?pattern=${encodeURIComponent(field.value)}`).catch(() => null);
  if (!answer?.ok) return;
  const { labels, wrong } = await answer.json();
  if (mine !== last) return; // more was typed meanwhile
  place.replaceChildren(...labels.map((text) => Object.assign(document.createElement("span"), { className: "bin-label", textContent: text })));
  if (wrong) place.textContent = wrong;
}

let waiting;
field.addEventListener("input", () => {
  clearTimeout(waiting);
  waiting = setTimeout(shown, 200);
});
