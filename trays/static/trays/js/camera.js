/* Reads one code by camera. Loaded when the button is pressed; the reader too, from this site only. */

let reader = null;

function script(address) {
  return new Promise((done, failed) => {
    const element = document.createElement("script");
    element.src = address;
    element.onload = done;
    element.onerror = () => failed(new Error(`${address} did not load`));
    document.head.append(element);
  });
}

async function prepare({ reader: address, wasm }) {
  if (!globalThis.ZXingWASM) await script(address);
  const { prepareZXingModule, readBarcodes } = globalThis.ZXingWASM;
  const own = new URL(wasm, location.href).href;
  // Without this the reader would fetch its other half from a stranger's server.
  await prepareZXingModule({ overrides: { locateFile: () => own }, fireImmediately: true });
  return readBarcodes;
}

/** What labels of health care are printed in; HIBC in Code 39 too. */
const FORMATS = ["DataMatrix", "Code128", "QRCode", "DataBar", "DataBarExpanded", "DataBarLimited", "EAN13", "EAN8", "UPCA", "UPCE", "Code39"];
const LONGEST_SIDE = 1280;
const BETWEEN_FRAMES_MS = 60;

const KEPT = "camera";
const element = (name) => document.getElementById(`camera-${name}`);

class View {
  constructor(button, scanned) {
    this.button = button;
    this.scanned = scanned;
    this.dialog = element("view");
    this.video = element("picture");
    this.stream = null;
    this.canvas = document.createElement("canvas");
    this.leave = new AbortController();
  }

  async open() {
    const { signal } = this.leave;
    this.say("starting");
    this.dialog.showModal();
    this.dialog.addEventListener("close", () => this.stop(), { signal });
    element("stop").addEventListener("click", () => this.dialog.close(), { signal });
    element("light").addEventListener("click", () => this.light(), { signal });
    element("which").addEventListener("change", (event) => this.change(event.target.value), { signal });
    document.addEventListener("visibilitychange", () => document.hidden && this.outOfSight(), { signal });
    addEventListener("pagehide", () => this.outOfSight(), { signal });
    if (!(await this.start(localStorage.getItem(KEPT)))) return;
    try {
      reader ??= await prepare(this.button.dataset);
    } catch (fault) {
      this.say("broken", fault);
      this.end();
      return;
    }
    await this.look();
  }

  say(what, fault) {
    const place = element("says");
    place.textContent = place.dataset[what];
    if (fault) console.warn(fault.message);
  }

  /** The camera's picture; false where there is none, which the page then says. */
  async start(which) {
    const size = { width: { ideal: LONGEST_SIDE }, height: { ideal: 720 } };
    const video = which ? { ...size, deviceId: { ideal: which } } : { ...size, facingMode: { ideal: "environment" } };
    try {
      const stream = await navigator.mediaDevices.getUserMedia({ video, audio: false });
      // Closed while the browser was asking.
      if (this.leave.signal.aborted) {
        for (const track of stream.getTracks()) track.stop();
        return false;
      }
      this.stream = stream;
    } catch (fault) {
      this.say(fault.name === "NotAllowedError" ? "refused" : "missing", fault);
      return false;
    }
    this.video.srcObject = this.stream;
    await this.video.play();
    await this.offerChoices();
    this.say("looking");
    return true;
  }

  async offerChoices() {
    const [track] = this.stream.getVideoTracks();
    element("light").hidden = !track.getCapabilities?.().torch;
    element("light").setAttribute("aria-pressed", "false");
    const cameras = (await navigator.mediaDevices.enumerateDevices()).filter(({ kind }) => kind === "videoinput");
    element("choose").hidden = cameras.length < 2;
    const used = track.getSettings().deviceId;
    element("which").replaceChildren(...cameras.map(({ deviceId, label }, number) => new Option(label || `${number + 1}`, deviceId, false, deviceId === used)));
  }

  async change(which) {
    localStorage.setItem(KEPT, which);
    this.end();
    await this.start(which);
  }

  async light() {
    const on = element("light").getAttribute("aria-pressed") !== "true";
    const [track] = this.stream.getVideoTracks();
    await track.applyConstraints({ advanced: [{ torch: on }] });
    element("light").setAttribute("aria-pressed", String(on));
  }

  async look() {
    while (!this.leave.signal.aborted) {
      const found = this.stream ? await this.read() : [];
      // A label may carry one code twice, as lines and as a square.
      const codes = new Map(found.map((code) => [String(code.bytes), code]));
      if (this.leave.signal.aborted) return;
      if (codes.size === 1) {
        const [code] = codes.values();
        this.dialog.close();
        this.scanned(asScanned(code));
        return;
      }
      if (codes.size > 1) this.say("several");
      await new Promise((done) => setTimeout(done, BETWEEN_FRAMES_MS));
    }
  }

  async read() {
    const { videoWidth, videoHeight } = this.video;
    if (!videoWidth) return [];
    const scale = Math.min(1, LONGEST_SIDE / Math.max(videoWidth, videoHeight));
    this.canvas.width = Math.round(videoWidth * scale);
    this.canvas.height = Math.round(videoHeight * scale);
    const pen = this.canvas.getContext("2d", { willReadFrequently: true });
    pen.drawImage(this.video, 0, 0, this.canvas.width, this.canvas.height);
    const picture = pen.getImageData(0, 0, this.canvas.width, this.canvas.height);
    const found = await reader(picture, { formats: FORMATS, tryHarder: true, maxNumberOfSymbols: 4 });
    return found.filter(({ isValid }) => isValid);
  }

  end() {
    for (const track of this.stream?.getTracks() ?? []) track.stop();
    this.stream = null;
    this.video.srcObject = null;
  }

  /** The dialog tells of its closing a moment later; the camera is off at once. */
  outOfSight() {
    this.end();
    this.dialog.close();
  }

  stop() {
    this.leave.abort();
    this.end();
    this.button.focus();
  }
}

/** The bytes of a code behind its symbology identifier, as a scanner sends them. */
function asScanned({ symbologyIdentifier, bytes }) {
  const head = new TextEncoder().encode(symbologyIdentifier);
  const whole = new Uint8Array(head.length + bytes.length);
  whole.set(head);
  whole.set(bytes, head.length);
  return whole;
}

/** Opens the camera until it has read one code (`scanned` gets its bytes), is stopped, or is out of sight. */
export async function openCamera(button, scanned) {
  await new View(button, scanned).open();
}
