/* The page's words, in the reader's language: they come with the page. */

let words = {};

export function speak(given) {
  words = given;
}

/** Words by name, with what stands in braces filled in. Of a pair the first is for one, by `n`. */
export function say(name, values = {}) {
  const found = words[name];
  const form = Array.isArray(found) ? found[values.n === 1 ? 0 : 1] : found;
  return (form ?? name).replace(/\{(\w+)\}/g, (_all, key) => String(values[key] ?? ""));
}

/** "a, b and c", as this language joins things. */
export function list(things) {
  return new Intl.ListFormat(document.documentElement.lang || "en-GB").format(things);
}

let zone = "UTC";

export function clockOf(name) {
  zone = name || "UTC";
}

/** The time of day by the site's clock. */
export function time(moment) {
  if (!moment) return "";
  return new Intl.DateTimeFormat("en-GB", { hour: "2-digit", minute: "2-digit", timeZone: zone }).format(new Date(moment));
}
