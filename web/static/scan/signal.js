// A short sound and a short shake when a code is taken; which of them is wanted is kept in this browser.
const still = window.matchMedia("(prefers-reduced-motion: reduce)");
const DEFAULTS = { sound: () => false, shake: () => !still.matches };
let out = null;

/** Tell whether "sound" or "shake" is wanted; a browser that keeps nothing has the defaults. */
export function wanted(name) {
  try {
    const kept = localStorage.getItem(`scan-${name}`);
    return kept === null ? DEFAULTS[name]() : kept === "yes";
  } catch {
    return DEFAULTS[name]();
  }
}

export function want(name, yes) {
  try {
    localStorage.setItem(`scan-${name}`, yes ? "yes" : "no");
  } catch {
    // A private window may keep nothing: it holds until the page is left, by its box.
  }
}

/** Get ready to sound, during a tap: browsers give no sound to a page that was not touched. */
export function ready() {
  out ??= window.AudioContext ? new AudioContext() : null;
  out?.resume();
}

/** Let it be heard and felt. */
export function signal({ sound, shake }) {
  if (shake) navigator.vibrate?.(60);
  if (!sound || !out) return;
  const tone = new OscillatorNode(out, { frequency: 880 });
  tone.connect(new GainNode(out, { gain: 0.2 })).connect(out.destination);
  tone.start();
  tone.stop(out.currentTime + 0.12);
}
