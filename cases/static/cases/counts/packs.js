/* Packs: each is accepted as a whole when all of it was counted aloud and agrees. What differs is entered by line. */

import { el, icon } from "./draw.js";
import { entryOf, packsOf } from "./tally.js";
import { verdict } from "./board.js";
import { say } from "./words.js";

const MARKS = { accepted: "ok", to_accept: "open", differs: "differs" };

export function packs(view) {
  const { shown } = view;
  const all = packsOf(shown);
  if (!all.length) return null;
  const done = all.filter((pack) => pack.state === "accepted").length;
  const open = view.panel === "differs";
  return el("section", { class: "part rule", id: "packs", "data-key": "packs" },
    el("div", { class: "aside" }, el("h2", {}, say("packs")), el("span", {}, say("packs_accepted", { done, all: all.length }))),
    el("div", { class: "body" },
      el("div", { class: "row apart" },
        el("p", { class: "grow" }, shown.current === null ? say("packs_wait") : say("touch_a_pack")),
        shown.current !== null && el("button", { class: "btn", type: "button", "data-panel": "differs", "aria-expanded": open ? "true" : "false" }, say("line_differs"))),
      el("div", { class: "packs" }, all.map((pack) => field(shown, pack))),
      open && lines(view, all),
    ),
  );
}

function field(shown, pack) {
  const css = { accepted: "tick ok", differs: "tick off", to_accept: "tick" }[pack.state];
  const idle = shown.current === null || shown.paused || pack.state !== "to_accept";
  return el("button", { type: "button", class: css, "data-key": `pack-${pack.pk}`, "data-do": idle ? null : "accept", "data-pack": pack.pk, "aria-pressed": pack.state === "accepted" ? "true" : "false", "aria-disabled": idle ? "true" : null },
    el("span", {}, el("span", { class: "code" }, pack.number), el("span", { class: "soft under" }, pack.name, pack.short && `, ${pack.short}`)),
    el("b", { class: "cnt" }, pack.items),
    el("span", { class: "state" }, icon(MARKS[pack.state], ""), el("span", { class: "unseen" }, say(pack.state))));
}

/** The lines of one pack with the number counted, for what is not as it should be. */
function lines(view, all) {
  const chosen = all.find((pack) => String(pack.pk) === String(view.pack)) ?? all.find((pack) => pack.state !== "accepted") ?? all[0];
  const known = new Map(view.shown.lines.map((line) => [line.pk, line]));
  return el("div", { class: "stack differs", id: "panel", "data-key": "panel-differs" },
    el("h3", {}, say("line_differs")),
    el("label", { for: "which-pack" }, say("pack")),
    el("select", { id: "which-pack", "data-choose": "pack" }, all.map((pack) =>
      el("option", { value: pack.pk, selected: pack.pk === chosen.pk }, `${pack.number}, ${pack.name}`))),
    el("div", { class: "table-container", tabindex: "0", role: "region", "aria-label": say("lines_of", { pack: chosen.number }), "data-key": `lines-${chosen.pk}` },
      el("table", { class: "lines mid", "data-key": `table-${chosen.pk}` },
        el("thead", {}, el("tr", {}, el("th", { scope: "col", class: "no" }, say("no")), el("th", { scope: "col" }, say("what")), el("th", { scope: "col", class: "num" }, say("should_be")), el("th", { scope: "col", class: "num" }, say("counted")), el("th", { scope: "col" }, say("result")), el("th", { scope: "col" }, say("enter_number")))),
        el("tbody", {}, chosen.lines.map((pk) => known.get(pk)).filter(Boolean).map((line) => row(view.shown, line))))));
}

function row(shown, line) {
  const entry = entryOf(shown, line);
  return el("tr", { "data-key": `of-pack-${line.pk}`, class: ["fewer", "more", "conflict"].includes(line.verdict) ? "needs" : null },
    el("td", { class: "no" }, line.number),
    el("th", { scope: "row" }, line.name, line.critical && [" ", el("span", { class: "nowrap" }, icon("critical"), say("critical"))], line.note && el("span", { class: "soft" }, line.note)),
    el("td", { class: "num" }, line.should_be),
    el("td", { class: "num" }, entry?.counted ?? "–"),
    el("td", { class: "nowrap" }, ...verdict(line).map((one) => (one instanceof Element ? (one.setAttribute("class", "st"), one) : one))),
    el("td", {}, el("form", { class: "row", "data-form": "count", "data-line": line.pk },
      el("label", { class: "unseen", for: `number-${line.pk}` }, say("counted_of", { what: line.name })),
      el("input", { id: `number-${line.pk}`, name: "counted", type: "number", min: "0", max: "999", inputmode: "numeric", required: true, class: "few" }),
      el("button", { class: "btn", type: "submit" }, say("enter_this")))));
}
