// The stock page: the Scan button, and ticking all without loading the page anew.
import { hindrance } from "./scan/camera.js";

const button = document.getElementById("scan-open");
const all = document.getElementById("tick-all");

async function offer() {
  button.hidden = Boolean(await hindrance());
}

button.addEventListener("click", async () => {
  const { open } = await import("./scan/panel.js");
  open();
});
navigator.mediaDevices?.addEventListener?.("devicechange", offer);
offer();

all?.addEventListener("click", (event) => {
  event.preventDefault();
  const boxes = [...document.querySelectorAll('input[name="items"]')];
  const every = boxes.every((box) => box.checked);
  for (const box of boxes) box.checked = !every;
});
