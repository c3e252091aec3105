/* Tells a scanner from a person by the time between keys. No page, no events: only letters and moments. */

/** A scanner sends a key every 1 to 40 ms; a fast typist needs more than 60. */
export const LONGEST_GAP_MS = 50;
/** The key after the last letter may lag behind. */
export const LONGEST_END_MS = 120;
export const SHORTEST_SCAN = 4;
/** More is no label but a key held down by something lying on it. */
export const LONGEST_SCAN = 4096;
/** Where letters mean something (a field, a list of choices) only what no hand can type is a scan. */
const SURE_LETTERS = 8;
const SURE_MEAN_MS = 30;
const SURE_MEAN_AT_MOST_MS = 45;

export class Rhythm {
  /** `slower`: how many times the usual gaps are allowed, for a scanner or a machine that lags. */
  constructor(slower = () => 1) {
    this.slower = slower;
    this.reset();
  }

  reset() {
    this.letters = "";
    this.first = this.last = -Infinity;
    this.longest = 0;
  }

  /** Takes a letter at a moment in ms; true if it follows the one before at a scanner's pace. */
  add(letter, moment) {
    const gap = moment - this.last;
    const going = this.letters !== "" && gap <= LONGEST_GAP_MS * this.slower();
    if (going) {
      this.letters = (this.letters + letter).slice(0, LONGEST_SCAN + 1);
      this.longest = Math.max(this.longest, gap);
    } else {
      this.letters = letter;
      this.first = moment;
      this.longest = 0;
    }
    this.last = moment;
    return going;
  }

  /** A key that is no letter but belongs to the next one (Shift, the keys of an Alt code): the pace goes on. */
  touch(moment) {
    if (this.letters !== "" && moment - this.last <= LONGEST_GAP_MS * this.slower()) this.last = moment;
  }

  /** Whether something follows the last letter within a scanner's pace. */
  follows(moment) {
    return this.letters !== "" && moment - this.last <= LONGEST_END_MS * this.slower();
  }

  get enough() {
    return this.letters.length >= SHORTEST_SCAN;
  }

  /** So many letters at such a pace that no person typed them. */
  get sure() {
    const mean = (this.last - this.first) / (this.letters.length - 1);
    return this.letters.length >= SURE_LETTERS && mean <= Math.min(SURE_MEAN_MS * this.slower(), SURE_MEAN_AT_MOST_MS);
  }
}

/* What the codes of labels begin with: a symbology identifier, a separator, the commonest GS1 elements, HIBC. */
const CODES = [
  /^\][A-Za-z][0-9A-Za-z]/,
  /[\u001c-\u001f]/,
  /^(?:00|01|02|03)\d{14}/,
  /^(?:8003\d{14}|8004[!-z]{6}|801[78]\d{18}|253\d{13}|414\d{13})/,
  /^\+[A-Z][0-9A-Z]{3}/,
  /^\+(?:\$|\d{5})/,
];

/** Whether a text is the code of a label rather than something for the field that has the cursor. */
export function isCode(text) {
  return CODES.some((form) => form.test(text));
}

/** Bytes or text as base64 (text as UTF-8), so that no control character is lost on the way. */
export function toBase64(scanned) {
  let letters = "";
  for (const byte of typeof scanned === "string" ? new TextEncoder().encode(scanned) : scanned) letters += String.fromCharCode(byte);
  return btoa(letters);
}
