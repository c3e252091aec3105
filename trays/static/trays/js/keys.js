/* From key events to the letters that a scanner meant. Scanners send the separator (ASCII 29) in many ways. */

const CONTROL_KEYS = { "[": "\u001b", "\\": "\u001c", "]": "\u001d", "^": "\u001e", _: "\u001f" };
/** Carriage return and line feed as chords. */
const END_CHORDS = new Set(["m", "j"]);
const SEPARATOR = "\u001d";

/* What each key is on a US keyboard, alone and with Shift. */
const US = Object.fromEntries([
  ..."abcdefghijklmnopqrstuvwxyz".split("").map((letter) => [`Key${letter.toUpperCase()}`, letter + letter.toUpperCase()]),
  ..."0)1!2@3#4$5%6^7&8*9(".match(/../g).map((pair) => [`Digit${pair[0]}`, pair]),
  ...Object.entries({
    Backquote: "`~", Minus: "-_", Equal: "=+", BracketLeft: "[{", BracketRight: "]}", Backslash: "\\|", Semicolon: ";:",
    Quote: "'\"", Comma: ",<", Period: ".>", Slash: "/?", Space: "  ", NumpadAdd: "++", NumpadSubtract: "--",
    NumpadMultiply: "**", NumpadDivide: "//", NumpadDecimal: "..",
  }),
  ..."0123456789".split("").map((digit) => [`Numpad${digit}`, digit + digit]),
]);

/** The sign on a US keyboard's key of this place, "" for none. */
export function byPosition(event) {
  return US[event.code]?.[event.shiftKey ? 1 : 0] ?? "";
}

/** The letter that a key stands for, "" for none. `going`: within a scan, chords of any layout are a scanner's. */
export function letterOf(event, { positions = false, going = false } = {}) {
  if (event.altKey || event.metaKey) return "";
  if (event.ctrlKey) return CONTROL_KEYS[event.key] ?? (going && event.code === "BracketRight" ? SEPARATOR : "");
  if (event.key === "F8") return SEPARATOR;
  if (positions) return byPosition(event);
  return event.key.length === 1 ? event.key : "";
}

/** Whether the letter is one that no field takes by itself. */
export function isControl(letter) {
  return letter !== "" && letter < " ";
}

/** Carriage return or line feed sent as Ctrl with M or J. */
export function isEndChord(event) {
  return event.ctrlKey && !event.altKey && END_CHORDS.has(event.key.toLowerCase());
}

/** Collects the digits typed on the numeric pad while Alt is held: the letter is there when Alt is let go. */
export class AltCode {
  constructor() {
    this.digits = null;
  }

  /** Takes a key; true if it belongs to such a code. */
  down(event) {
    if (event.key === "Alt") {
      this.digits ??= "";
      return true;
    }
    const digit = event.altKey ? /^(?:Numpad|Digit)([0-9])$/.exec(event.code) : null;
    if (this.digits === null || !digit) return false;
    this.digits += digit[1];
    return true;
  }

  /** The letter of the code when Alt is let go, "" for none. */
  up(event) {
    if (event.key !== "Alt") return "";
    const number = Number(this.digits || 0);
    this.digits = null;
    return number > 0 && number < 256 ? String.fromCharCode(number) : "";
  }
}
