/* Builds elements and lays a new drawing over the old one, so that focus, what is being typed and the place on the page
   stay where they are. */

const SVG = "http://www.w3.org/2000/svg";
const DRAWN = new Set(["svg", "path", "use"]);

/** An element: `el("p", {class: "soft"}, "words", el("b", …))`. Nothing is drawn for null, false and "". */
export function el(name, attributes = {}, ...inside) {
  const made = DRAWN.has(name) ? document.createElementNS(SVG, name) : document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    made.setAttribute(key, value === true ? "" : String(value));
  }
  for (const one of inside.flat(Infinity)) {
    if (one === null || one === undefined || one === false || one === "") continue;
    made.append(one instanceof Node ? one : document.createTextNode(String(one)));
  }
  return made;
}

/** A picture beside a word, from the page's own set. */
export function icon(name, css = "i") {
  return el("svg", { class: css, "aria-hidden": "true" }, el("use", { href: `#i-${name}` }));
}

/** Lay `wanted` over `shown`: both are elements of the same name. */
export function lay(shown, wanted) {
  if (shown.isEqualNode(wanted)) return;
  attributes(shown, wanted);
  const left = keyed(shown);
  let at = shown.firstChild;
  for (const next of [...wanted.childNodes]) {
    const match = fits(at, next) ? at : left.get(keyOf(next));
    if (match && match.parentNode === shown && fits(match, next)) {
      if (match === at) at = at.nextSibling;
      else shown.insertBefore(match, at);
      if (next.nodeType === Node.ELEMENT_NODE) lay(match, next);
      else if (match.data !== next.data) match.data = next.data;
    } else {
      shown.insertBefore(next, at);
    }
  }
  while (at) {
    const gone = at;
    at = at.nextSibling;
    gone.remove();
  }
}

/** What tells an element from its neighbours of the same name. */
function keyOf(node) {
  return node?.nodeType === Node.ELEMENT_NODE ? node.id || node.getAttribute("data-key") || "" : "";
}

function keyed(parent) {
  const found = new Map();
  for (const child of parent.children) if (keyOf(child)) found.set(keyOf(child), child);
  return found;
}

function fits(shown, wanted) {
  return Boolean(shown) && shown.nodeName === wanted.nodeName && keyOf(shown) === keyOf(wanted);
}

function attributes(shown, wanted) {
  for (const { name } of [...shown.attributes]) if (!wanted.hasAttribute(name)) shown.removeAttribute(name);
  for (const { name, value } of wanted.attributes) {
    if (shown.getAttribute(name) !== value) shown.setAttribute(name, value);
  }
}
