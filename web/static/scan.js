// The Scan button of the Check page. Camera, reader and panel are fetched when it is tapped, not before.
import { hindrance } from "./scan/camera.js";

const button = document.getElementById("scan-open");

async function offer() {
  const why = await hindrance();
  button.hidden = Boolean(why);
  for (const line of document.querySelectorAll("[data-why]")) line.hidden = line.dataset.why !== why;
}

button.addEventListener("click", async () => {
  const { open } = await import("./scan/panel.js");
  open();
});
navigator.mediaDevices?.addEventListener?.("devicechange", offer);
offer();
