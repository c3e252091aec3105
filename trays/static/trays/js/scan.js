/* A scan counts wherever the cursor is: the page listens for the scanner's rhythm and sends what it read.
   Typing into a field is left alone. Without this script the scan field works as a plain form. */

import { AltCode, byPosition, isControl, isEndChord, letterOf } from "./keys.js";
import { isCode, LONGEST_END_MS, LONGEST_SCAN, Rhythm } from "./rhythm.js";
import { sender } from "./sending.js";
import { tone } from "./tones.js";

const NOT_TYPING = new Set(["button", "checkbox", "color", "file", "image", "radio", "range", "reset", "submit"]);
const MODIFIERS = new Set(["Shift", "Control", "AltGraph", "Meta", "CapsLock", "NumLock"]);
/** With no key at its end a scan is over after such a pause; on the test page any scanner is waited for. */
const PAUSE_MS = 150;
const PAUSED_LETTERS = 8;
const TEST_SLOWER = 12;
const TEST_PAUSE_MS = 1200;

/** Whether keys that go to this element are being typed into it. */
function takesTyping(element) {
  if (!(element instanceof HTMLElement)) return false;
  if (element.isContentEditable || element instanceof HTMLTextAreaElement) return !element.readOnly;
  return element instanceof HTMLInputElement && !element.readOnly && !NOT_TYPING.has(element.type);
}

function swallow(event) {
  event.preventDefault();
  event.stopImmediatePropagation();
}

/** What a field or list held before the letters of a scan went into it, to put it back. */
function remember(element) {
  const holds = takesTyping(element) || element instanceof HTMLSelectElement;
  return { element: holds ? element : null, value: holds ? element.value : "" };
}

function putBack({ element, value }) {
  if (!element || element.value === value) return;
  element.value = value;
  element.dispatchEvent(new Event("input", { bubbles: true }));
  element.dispatchEvent(new Event("change", { bubbles: true }));
}

class Listener {
  constructor(form, send) {
    this.form = form;
    this.field = form.elements.code;
    this.send = send;
    this.rhythm = new Rhythm(() => this.slower);
    this.alt = new AltCode();
    this.before = remember(null);
    this.places = "";
    // The moment of the workstation's own key before a scan.
    this.marked = -Infinity;
    this.quietUntil = this.altUntil = -Infinity;
  }

  get probes() {
    return "probes" in this.form.dataset;
  }

  get slower() {
    return this.probes ? TEST_SLOWER : Number(this.form.dataset.slower) || 1;
  }

  get prefix() {
    return this.form.dataset.prefix || "";
  }

  get suffix() {
    return this.form.dataset.suffix || "";
  }

  down(event) {
    const moment = event.timeStamp;
    if (this.alt.down(event) || MODIFIERS.has(event.key)) {
      this.rhythm.touch(moment);
      return;
    }
    if (this.prefix.length > 1 && event.key === this.prefix) {
      swallow(event);
      this.forget();
      this.marked = moment;
      return;
    }
    if (this.ends(event)) {
      this.end(event);
      return;
    }
    const letter = letterOf(event, {
      positions: "byPosition" in this.form.dataset,
      going: this.rhythm.follows(moment),
    });
    if (letter) this.take(letter, event);
    // A key that the browser cannot name may still bring a character.
    else if (event.key.length > 1 && event.key !== "Unidentified") this.forget();
  }

  /** Control characters that come without a key of their own. */
  press(event) {
    const letter = String.fromCharCode(event.charCode);
    const taken = event.timeStamp === this.rhythm.last || event.timeStamp <= this.altUntil;
    if (event.charCode >= 28 && isControl(letter) && !taken) this.take(letter, event);
  }

  up(event) {
    const letter = this.alt.up(event);
    if (!letter) return;
    this.take(letter, event);
    // Some systems send the character of an Alt code as well.
    this.altUntil = event.timeStamp + 50;
  }

  take(letter, event) {
    const going = this.rhythm.add(letter, event.timeStamp);
    if (!going) {
      const follows = event.timeStamp - this.marked <= LONGEST_END_MS * this.slower;
      if (!follows) this.marked = -Infinity;
      this.before = remember(event.target);
      this.places = "";
    }
    this.places += event.type === "keydown" && !isControl(letter) ? byPosition(event) : letter;
    this.caps = event.getModifierState?.("CapsLock") ?? false;
    const typing = takesTyping(event.target);
    if (this.isMarked || (typing ? isControl(letter) && going : going || isControl(letter))) swallow(event);
    // A text field drops control characters: the scan field gets them by hand.
    if (event.target === this.field && isControl(letter)) {
      swallow(event);
      if (!this.isMarked) this.field.setRangeText(letter, this.field.selectionStart, this.field.selectionEnd, "end");
    }
    this.waitForPause();
  }

  get isMarked() {
    return this.marked > -Infinity;
  }

  /** Whether the key is one that ends a scan at this workstation. */
  ends(event) {
    if (event.key === this.suffix) return this.suffix.length > 1 || this.rhythm.follows(event.timeStamp);
    if (isEndChord(event)) return this.rhythm.follows(event.timeStamp);
    return !event.ctrlKey && !event.altKey && (event.key === "Enter" || event.key === "Tab");
  }

  end(event) {
    // Line feed after carriage return, Enter after Tab: the last key of a scan must press nothing.
    if (event.timeStamp <= this.quietUntil) {
      swallow(event);
      return;
    }
    if (this.rhythm.follows(event.timeStamp) && this.belongs()) {
      swallow(event);
      this.quietUntil = event.timeStamp + LONGEST_END_MS * this.slower;
      this.finish(event.key);
    } else {
      this.forget();
    }
  }

  /** Whether the letters are a scan, by where they went: to no field, a few are enough. */
  belongs() {
    const { element } = this.before;
    if (this.isMarked) return true;
    if (!this.rhythm.enough) return false;
    if (this.prefix.length === 1 && this.rhythm.letters.startsWith(this.prefix)) return true;
    if (!element) return true;
    if (element === this.field || element instanceof HTMLSelectElement) return this.rhythm.sure;
    return element.type !== "password" && this.rhythm.sure && isCode(this.rhythm.letters);
  }

  waitForPause() {
    clearTimeout(this.timer);
    if (this.suffix !== "none" && !this.probes) return;
    const pause = this.probes ? TEST_PAUSE_MS : PAUSE_MS * this.slower;
    this.timer = setTimeout(() => {
      const enough = this.isMarked || this.rhythm.letters.length >= PAUSED_LETTERS;
      if (enough && this.belongs()) this.finish("none");
    }, pause);
  }

  finish(end) {
    putBack(this.before);
    const scan = { text: this.rhythm.letters, how: "scanner" };
    if (this.probes) {
      Object.assign(scan, { end, gap: Math.round(this.rhythm.longest), caps: this.caps ? "1" : "", positions: this.places });
    }
    this.forget();
    this.send(scan);
  }

  forget() {
    clearTimeout(this.timer);
    this.rhythm.reset();
    this.marked = -Infinity;
    this.before = remember(null);
    this.places = "";
  }
}

/** Pasting a code anywhere sends it; other text goes into the scan field, to be looked at first. */
function listenForPaste(form, send, pasted) {
  document.addEventListener("paste", (event) => {
    const field = form.elements.code;
    const text = (event.clipboardData?.getData("text/plain") ?? "").replace(/[\r\n\t]+$/, "").slice(0, LONGEST_SCAN + 1);
    const elsewhere = event.target !== field;
    if (!text || (elsewhere && takesTyping(event.target))) return;
    const chosen = field.selectionEnd - field.selectionStart;
    if (!elsewhere && chosen < field.value.length) return;
    event.preventDefault();
    if (elsewhere && (isCode(text) || /^\(\d{2,4}\)/.test(text))) {
      send({ text, how: "pasted" });
      return;
    }
    pasted(text);
    field.focus();
  });
}

/** What an answer does to the page: it is seen, heard if wanted, and asked questions have the cursor. */
function listenForAnswers(form) {
  let returnTo = null;
  const heard = (name) => {
    if (document.documentElement.dataset.sound === "on") tone(name);
  };
  document.body.addEventListener("htmx:afterSwap", (event) => {
    const place = event.detail.target;
    if (place?.id !== "answer") return;
    const said = place.querySelector("[data-tone]");
    if (!said) return;
    heard(said.dataset.tone);
    said.scrollIntoView({ block: "nearest" });
    const first = place.querySelector("[data-ask] button");
    if (first) {
      returnTo ??= document.activeElement;
      first.focus();
    } else if (document.activeElement === document.body) {
      returnTo?.focus?.();
      returnTo = null;
    }
  });
  document.body.addEventListener("htmx:beforeOnLoad", (event) => {
    if (event.detail.elt === form && event.detail.xhr.getResponseHeader("HX-Redirect")) heard("accepted");
  });
}

/** The button is there only where a camera may be asked for; the reader is loaded when it is pressed. */
function offerCamera(send) {
  const button = document.getElementById("camera");
  if (!button || !navigator.mediaDevices?.getUserMedia) return;
  button.hidden = false;
  button.addEventListener("click", async () => {
    const { openCamera } = await import(button.dataset.module);
    await openCamera(button, (bytes) => send({ bytes, how: "camera" }));
  });
}

const form = document.getElementById("scan-form");
if (form) {
  const { send, pasted } = sender(form);
  const listener = new Listener(form, send);
  document.addEventListener("keydown", (event) => listener.down(event), { capture: true });
  document.addEventListener("keypress", (event) => listener.press(event), { capture: true });
  document.addEventListener("keyup", (event) => listener.up(event), { capture: true });
  listenForPaste(form, send, pasted);
  listenForAnswers(form);
  offerCamera(send);
}

// What is wrong with a form is read first.
document.getElementById("faults")?.focus();
