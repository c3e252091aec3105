/* Sends scans one after the other through the scan form, so that none is lost while another is answered. */

import { toBase64 } from "./rhythm.js";

const HIDDEN = ["raw", "client_key", "how", "device_at", "end", "gap", "caps", "positions"];
/** Scans that were not sent yet when an answer led to another page. */
const LEFT = "scans-left";

/** Gives ``send`` for a scan ({text or bytes, how, …}) and ``pasted`` for text that goes into the field first. */
export function sender(form) {
  const field = form.elements.code;
  const hidden = Object.fromEntries(HIDDEN.map((name) => [name, form.appendChild(hiddenInput(name))]));
  const queue = [];
  // The scan that is being answered, and what stands in the field with more to it than its letters.
  let current = null;
  let inField = null;
  let ours = false;

  function send(scan) {
    queue.push(made(scan));
    next();
  }

  function next() {
    if (current || queue.length === 0) return;
    take(queue.shift());
    ours = true;
    form.requestSubmit();
    ours = false;
  }

  function take(scan) {
    current = scan;
    for (const name of HIDDEN) hidden[name].value = scan[name];
    field.value = scan.shown;
  }

  /** Text that came by paste stands in the field; its bytes go with it unless it is changed. */
  function pasted(text) {
    field.value = text;
    inField = { ...made({ text, how: "pasted" }), shown: field.value };
  }

  // Somebody has pressed Enter in the field.
  form.addEventListener("submit", (event) => {
    if (ours) return;
    const scan = inField?.shown === field.value ? inField : made({ text: field.value, how: "typed" });
    if (!current) {
      take(scan);
      return;
    }
    event.preventDefault();
    event.stopImmediatePropagation();
    field.value = "";
    queue.push(scan);
  }, { capture: true });

  field.addEventListener("input", () => {
    inField = null;
  });

  document.body.addEventListener("htmx:configRequest", (event) => {
    if ("ask" in event.detail.elt.dataset) event.detail.parameters.device_at = Date.now();
    if (event.detail.elt !== form) return;
    // Taken into the request: the field is free for the next code at once.
    field.value = "";
    inField = null;
  });

  document.body.addEventListener("htmx:afterRequest", (event) => {
    if (event.detail.elt !== form) return;
    const { xhr } = event.detail;
    const sent = current;
    current = null;
    if (xhr.status === 0) {
      away(sent);
    } else if (xhr.getResponseHeader("HX-Redirect")) {
      if (queue.length) sessionStorage.setItem(LEFT, JSON.stringify(queue.splice(0)));
      return;
    }
    next();
  });

  /** Nothing is lost: the code is back in the field, and sent again it is the same scan. */
  function away(scan) {
    document.getElementById("answer")?.replaceChildren(document.getElementById("scan-away").content.cloneNode(true));
    field.value = scan.shown;
    inField = { ...scan, shown: field.value };
    field.focus();
  }

  queue.push(...JSON.parse(sessionStorage.getItem(LEFT) ?? "[]"));
  sessionStorage.removeItem(LEFT);
  // htmx takes the form over when the page is whole.
  if (queue.length) addEventListener("load", next, { once: true });

  return { send, pasted };
}

/** A scan as the form sends it. */
function made(scan) {
  return {
    raw: toBase64(scan.bytes ?? scan.text),
    shown: scan.text ?? new TextDecoder().decode(scan.bytes),
    how: scan.how,
    end: scan.end ?? "",
    gap: scan.gap ?? "",
    caps: scan.caps ?? "",
    positions: scan.positions ? toBase64(scan.positions) : "",
    device_at: Date.now(),
    // The same when it is sent again, so that nothing is done twice. Not offered on insecure pages.
    client_key: globalThis.crypto?.randomUUID?.() ?? "",
  };
}

function hiddenInput(name) {
  const input = document.createElement("input");
  input.type = "hidden";
  input.name = name;
  return input;
}
