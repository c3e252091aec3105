/* What has to be known before anything else: no network, nobody signed in, entries that were not taken. Stays until it
   has been dealt with; nothing goes away by itself. */

import { el, icon } from "./draw.js";
import { say, time } from "./words.js";

export function notices(view) {
  const found = [away(view), signedOut(view), heldBack(view), last(view), ...view.refused.map(refusal), ...sentFor(view)].filter(Boolean);
  return found.length ? el("div", { "data-key": "notices", class: "notices", "aria-live": "polite" }, found.map((one) => el("div", { class: "part", "data-key": one.dataset.key }, el("div", { class: "aside" }), el("div", { class: "body" }, one)))) : null;
}

function notice(key, css, mark, what, why = "", next = "", acts = []) {
  return el("div", { class: css, role: css === "fault" ? "alert" : "status", "data-key": key }, icon(mark), el("b", { class: "what" }, what), why && el("span", {}, why), next && el("span", {}, el("b", {}, next)), acts.length > 0 && el("span", { class: "row" }, acts));
}

function away({ online, shown }) {
  return online ? null : notice("away", "fault away", "late", say("no_network"), say("waiting", { n: shown.waiting }), say("paper_route"));
}

function signedOut({ signedOut: out, shown }) {
  if (!out) return null;
  const next = `${document.getElementById("count").dataset.signIn}?next=${encodeURIComponent(location.pathname)}`;
  return notice("signed-out", "fault", "late", say("signed_out"), say("waiting_signed_out", { n: shown.waiting }), "", [el("a", { class: "btn main", href: next }, say("sign_in_again"))]);
}

/** Entries that another person made on this device: they wait for that person, or for a name that stands for them. */
function heldBack({ held, me }) {
  if (!held) return null;
  return notice("held", "fault", "differs", held.said, "", held.next_step, [el("button", { class: "btn", type: "button", "data-send": "held" }, say("send_as_mine", { name: me.name }))]);
}

function last({ said }) {
  if (!said || said.result === "refused" && said.key) return null;
  return notice("last", "fault", said.result === "conflict" ? "differs" : "refused", said.said, "", said.next_step);
}

function refusal(row) {
  return notice(`refused-${row.key}`, "fault", "refused", say("not_taken", { what: say(`kind_${row.kind}`), at: time(row.at), by: row.by_name }), row.said, row.next_step, [el("button", { class: "btn", type: "button", "data-let": row.key }, say("seen"))]);
}

function sentFor({ sentFor: rows }) {
  return rows.map((row) => notice(`sent-${row.entered_by__name}-${row.sent_by__name}`, "answer", "sign", say("sent_for", { n: row.entries, entered: row.entered_by__name, sent: row.sent_by__name })));
}
