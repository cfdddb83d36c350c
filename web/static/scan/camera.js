// The camera: opened, lit, stopped, and its refusals told apart.
const WANTED = {
  audio: false,
  video: { facingMode: "environment", width: { ideal: 1280 }, height: { ideal: 720 } },
};
const REFUSALS = {
  NotAllowedError: "refused",
  SecurityError: "refused",
  NotFoundError: "none",
  OverconstrainedError: "none",
};

/** Return why this browser cannot scan live: "insecure", "old", "none", or "" when it can. */
export async function hindrance() {
  if (!window.isSecureContext) return "insecure";
  if (!navigator.mediaDevices?.getUserMedia || !window.OffscreenCanvas || !window.WebAssembly) return "old";
  const devices = await navigator.mediaDevices.enumerateDevices().catch(() => []);
  return devices.some((one) => one.kind === "videoinput") ? "" : "none";
}

export class Camera {
  #stream = null;

  /**
   * Open it; throws the name of a state: "refused", "none", or "busy" for all else.
   * `wanted` tells, once the browser has asked its user, whether it still is; `lost` is called if it ends by itself.
   */
  async open(video, wanted, lost) {
    let stream;
    try {
      stream = await navigator.mediaDevices.getUserMedia(WANTED);
    } catch (error) {
      throw REFUSALS[error.name] ?? "busy";
    }
    if (!wanted()) {
      for (const track of stream.getTracks()) track.stop();
      throw "late";
    }
    this.#stream = stream;
    this.#track.addEventListener("ended", lost, { once: true });
    if (this.#able.focusMode?.includes("continuous")) this.#ask({ focusMode: "continuous" });
    video.srcObject = stream;
    await video.play().catch(() => {}); // stopped again before it began
  }

  /** Whether it has a light that can be switched. */
  get lit() {
    return Boolean(this.#able.torch);
  }

  /** Switch the light; tells whether the camera did so. */
  light(on) {
    return this.#ask({ torch: on });
  }

  stop() {
    for (const track of this.#stream?.getTracks() ?? []) track.stop();
    this.#stream = null;
  }

  get #track() {
    return this.#stream?.getVideoTracks()[0];
  }

  get #able() {
    return this.#track?.getCapabilities?.() ?? {};
  }

  #ask(setting) {
    return this.#track?.applyConstraints({ advanced: [setting] }).then(() => true, () => false) ?? Promise.resolve(false);
  }
}
