/* A scan counts wherever the cursor is: the page listens for the scanner's rhythm and sends what it read.
   Typing into a field is left alone. Without this script the scan field works as a plain form. */

import { Rhythm, toBase64 } from "./rhythm.js";
import { tone } from "./tones.js";

const NOT_TYPING = new Set(["button", "checkbox", "color", "file", "image", "radio", "range", "reset", "submit"]);
const CONTROL_KEYS = { "]": "\u001d", "\\": "\u001c", "^": "\u001e", "_": "\u001f" };

/** Whether keys that go to this element are being typed into it. */
function takesTyping(element) {
  if (!(element instanceof HTMLElement)) return false;
  if (element.isContentEditable || element instanceof HTMLTextAreaElement) return !element.readOnly;
  return element instanceof HTMLInputElement && !element.readOnly && !NOT_TYPING.has(element.type);
}

/** The letter that a key stands for: scanners send separators as Ctrl with ] or as F8. "" for none. */
function letterOf(event) {
  if (event.altKey || event.metaKey) return "";
  if (event.ctrlKey) return CONTROL_KEYS[event.key] ?? "";
  if (event.key === "F8") return "\u001d";
  return event.key.length === 1 ? event.key : "";
}

function send(form, scanned) {
  form.elements.code.value = scanned;
  form.elements.raw.value = toBase64(scanned);
  form.requestSubmit();
}

function start(form) {
  const rhythm = new Rhythm(() => Number(form.dataset.slower) || 1);
  let list = null;
  let listValue = "";

  document.addEventListener(
    "keydown",
    (event) => {
      const target = event.target;
      if (takesTyping(target)) {
        rhythm.reset();
        // The scan field itself: a text field drops Ctrl-keys, so the separators are put in by hand.
        const letter = target === form.elements.code && (event.ctrlKey || event.key === "F8") ? letterOf(event) : "";
        if (letter) {
          event.preventDefault();
          target.setRangeText(letter, target.selectionStart, target.selectionEnd, "end");
        }
        return;
      }
      if (event.key === "Enter" || event.key === "Tab") {
        const scanned = rhythm.end(event.timeStamp);
        if (!scanned) return;
        // The last key of a scan must not press the button that has the focus.
        event.preventDefault();
        event.stopImmediatePropagation();
        if (list) list.value = listValue;
        send(form, scanned);
        return;
      }
      const letter = letterOf(event);
      if (!letter) return;
      const going = rhythm.add(letter, event.timeStamp);
      if (!going) {
        // A list of choices jumps to what is typed; a scan puts its choice back.
        list = target instanceof HTMLSelectElement ? target : null;
        listValue = list ? list.value : "";
      }
      // Within a scan no letter may press a button, open a search or scroll the page.
      if (going || event.ctrlKey || event.key === "F8") {
        event.preventDefault();
        event.stopImmediatePropagation();
      }
    },
    { capture: true },
  );

  form.addEventListener("submit", () => {
    // The same key when a device sends again, so that nothing is done twice. Not offered on insecure pages.
    form.elements.client_key.value = globalThis.crypto?.randomUUID?.() ?? "";
  }, { capture: true });

  form.elements.code.addEventListener("input", () => {
    form.elements.raw.value = "";
  });

  document.body.addEventListener("htmx:configRequest", (event) => {
    if (event.detail.elt !== form) return;
    // Taken into the request: the field is free for the next scan at once.
    form.elements.code.value = "";
    form.elements.raw.value = "";
  });
}

/** The tone of an answer, if the person wants to hear it. Never the only sign. */
function listenForAnswers() {
  document.body.addEventListener("htmx:afterSwap", (event) => {
    const said = event.detail.target?.id === "answer" ? event.detail.target.querySelector("[data-tone]") : null;
    if (said && document.documentElement.dataset.sound === "on") tone(said.dataset.tone);
  });
}

const form = document.getElementById("scan-form");
if (form) start(form);
listenForAnswers();

// What is wrong with a form is read first.
document.getElementById("faults")?.focus();
