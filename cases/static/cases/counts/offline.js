/* The shell without a case of its own: another page of the theatre was wanted, or nothing of the case is on this device. */

import { el } from "./draw.js";
import { clockOf, say, time } from "./words.js";

/** What this device can do without a network, in place of the page that was wanted. */
export async function withoutCase(root, store) {
  const cases = (await store.allCases()).filter((one) => one.state?.state);
  const waiting = await store.waiting();
  const rows = cases.map(({ pk, state: { state }, said_at }) => {
    clockOf(state.zone);
    const own = waiting.filter((row) => row.case === pk).length;
    return el("tr", {},
      el("th", { scope: "row" }, el("a", { class: "line-link", href: `${root.dataset.base}${pk}/count/` }, el("b", {}, say("count_of", { case: state.reference })))),
      el("td", {}, state.theatre), el("td", {}, state.operation, state.side && ", ", state.side && el("b", { class: "side" }, state.side)),
      el("td", {}, own ? say("waiting_short", { n: own }) : say("as_of", { at: time(said_at) })));
  });
  const attributes = Object.fromEntries([...root.attributes].map(({ name, value }) => [name, value]));
  return el("div", attributes,
    el("section", { class: "part" }, el("div", { class: "aside" }), el("div", { class: "body" },
      el("h1", {}, say("no_network")),
      el("p", { class: "says" }, say(cases.length ? "page_needs_network" : "nothing_prepared")),
      rows.length > 0 && el("div", { class: "table-container", tabindex: "0", role: "region", "aria-label": say("cases_here") },
        el("table", { class: "lines" }, el("thead", {}, el("tr", {}, ["case_head", "theatre", "operation", "on_device"].map((name) => el("th", { scope: "col" }, say(name))))), el("tbody", {}, rows))),
      el("p", { class: "caution" }, say("paper_route")),
      el("div", { class: "row" }, el("a", { class: "btn main", href: location.pathname }, say("try_again"))))));
}
