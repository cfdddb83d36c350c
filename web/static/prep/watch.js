/* Let the times of running watches go on where they are shown; the server keeps the true ones. */

const shown = [...document.querySelectorAll("[data-runs]")].map((place) => ({ place, from: Number(place.dataset.runs) }));
const opened = Date.now();

/** Write seconds as 0:07, 12:30 or 1:02:30. */
function written(seconds) {
  const whole = Math.floor(seconds), two = (number) => String(number).padStart(2, "0");
  const hours = Math.floor(whole / 3600), minutes = Math.floor(whole / 60) % 60;
  return hours ? `${hours}:${two(minutes)}:${two(whole % 60)}` : `${minutes}:${two(whole % 60)}`;
}

function tick() {
  for (const one of shown) one.place.textContent = written(one.from + Math.max(0, (Date.now() - opened) / 1000));
}

if (shown.length) {
  tick();
  setInterval(tick, 1000);
  // A page that slept may show an old time: what the server says is asked for again.
  addEventListener("pageshow", (event) => { if (event.persisted) location.reload(); });
}
