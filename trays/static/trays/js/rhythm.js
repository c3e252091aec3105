/* Tells a scanner from a person by the time between keys. No page, no events: only letters and moments. */

/** A scanner sends a key every 1 to 40 ms; a fast typist needs more than 60. */
export const LONGEST_GAP_MS = 50;
/** The Enter after the last letter may lag behind. */
export const LONGEST_END_MS = 120;
export const SHORTEST_SCAN = 4;
/** More is no label but a key held down by something lying on it. */
export const LONGEST_SCAN = 4096;

export class Rhythm {
  /** `slower`: how many times the usual gaps are allowed, for a scanner or a machine that lags. */
  constructor(slower = () => 1) {
    this.slower = slower;
    this.reset();
  }

  reset() {
    this.letters = "";
    this.last = -Infinity;
  }

  /** Takes a letter at a moment in ms; true if it follows the one before at a scanner's pace. */
  add(letter, moment) {
    const going = this.letters !== "" && moment - this.last <= LONGEST_GAP_MS * this.slower();
    this.letters = going ? (this.letters + letter).slice(0, LONGEST_SCAN) : letter;
    this.last = moment;
    return going;
  }

  /** The scan that the final key ends, or "" if there was none. */
  end(moment) {
    const scanned = moment - this.last <= LONGEST_END_MS * this.slower() && this.letters.length >= SHORTEST_SCAN ? this.letters : "";
    this.reset();
    return scanned;
  }
}

/** Text as base64 of its UTF-8 bytes, so that no control character is lost on the way. */
export function toBase64(text) {
  let bytes = "";
  for (const byte of new TextEncoder().encode(text)) bytes += String.fromCharCode(byte);
  return btoa(bytes);
}
