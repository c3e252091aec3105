/* The class under way: its figure in groups, the keys, and what came on since the first count. */

import { el, icon } from "./draw.js";
import { entryOf, firstCount, groups, lastAddition, noneOf, tapped } from "./tally.js";
import { list, say, time } from "./words.js";

/** The line in hand with its figure and its keys: they stay in sight while the board is read. */
export function keyBar(view) {
  const { shown, hand: line, taps } = view;
  if (!line || shown.current === null) return null;
  const known = entryOf(shown, line)?.counted ?? 0;
  const number = taps.length ? tapped(taps) + (firstCount(shown) && line.pack === null ? known : 0) : known;
  return el("section", { class: "part rule", id: "keys", "data-key": "keys" },
    aside(view),
    el("div", { class: "body" }, el("div", { class: "stack" }, drawn(number, line), keys(view, classOf(view)))),
  );
}

/** What else there is to the line in hand; `steps` is what stands beside it when it differs. */
export function hand(view, steps) {
  const { shown, hand: line, taps } = view;
  if (!line) return null;
  const entry = entryOf(shown, line);
  const running = shown.current !== null;
  return el("section", { class: running ? "part" : "part rule", id: "hand", "data-key": "hand" },
    running ? el("div", { class: "aside" }) : aside(view),
    el("div", { class: "body" }, el("div", { class: steps ? "cols wide-left" : "stack" },
      el("div", { class: "stack" },
        none(shown, taps.length ? line : null),
        takeBack(shown, line),
        el("p", { class: "soft" }, entry ? say("kept", { n: entry.counted, at: time(entry.at), by: entry.by }) : say("nothing_yet")),
        rivals(shown, line),
        added(shown),
        running && el("div", { class: "row" },
          el("button", { class: "btn", type: "button", "data-do": "recount", "data-klass": line.klass }, say("recount")),
          el("button", { class: "btn", type: "button", "data-panel": "add", "aria-expanded": view.panel === "add" ? "true" : "false" }, say("came_on")),
          el("button", { class: "btn", type: "button", "data-panel": "special", "aria-expanded": view.panel === "special" ? "true" : "false" }, say("special"))),
      ),
      steps,
    )),
  );
}

function classOf({ shown, hand: line }) {
  return shown.classes.find((one) => one.klass === line.klass);
}

function aside(view) {
  const { shown, hand: line, taps } = view;
  const again = entryOf(shown, line) && !taps.length;
  return el("div", { class: "aside" }, el("h2", {}, classOf(view)?.word ?? line.klass), el("span", {}, line.name, again ? `, ${say("counted_again")}` : ""));
}

function drawn(number, line) {
  const figures = groups(number, line.should_be, line.multiple);
  return el("div", { class: "fives", role: "img", "aria-label": String(number) }, figures.map((group, place) =>
    el("figure", { "data-key": `group-${place}` },
      group.of <= 5 ? strokes(group) : null,
      el("figcaption", { class: group.of > 5 ? "alone" : null }, group.drawn === group.of || group.of < 2 ? group.drawn : say("group_short", { n: group.drawn, all: group.of })),
    )));
}

const STROKES = ["M14 8v40", "M30 8v40", "M46 8v40", "M62 8v40", "M4 42L80 14"];

/** Four strokes and a bar; one that should be there and is not is dashed. */
function strokes({ drawn: n, of }) {
  return el("svg", { viewBox: "0 0 84 56", "aria-hidden": "true" },
    STROKES.slice(0, of).map((d, place) => el("path", { d, class: place < n ? null : "miss" })));
}

function keys({ shown, hand: line, taps }, klass) {
  if (shown.current === null) return null;
  const wait = shown.paused ? say("paused_short") : "";
  const steps = klass?.keys?.length ? klass.keys : [line.multiple > 1 ? line.multiple : 5, 1];
  const ready = taps.length > 0 && !wait;
  const first = firstCount(shown) && line.pack === null;
  const odd = first && tapped(taps) % line.multiple !== 0;
  const word = first ? (odd ? "enter_as_found" : "enter_more") : "enter";
  return el("div", { class: "keys" },
    steps.map((step) => el("button", { class: "btn act", type: "button", id: `key-${step}`, "data-tap": step, "aria-disabled": wait ? "true" : null }, `+${step}`)),
    el("button", { class: `btn act${ready ? " main" : ""}`, type: "button", id: "enter", "data-do": "count", "aria-disabled": ready ? null : "true" }, ready ? say(word, { n: tapped(taps) }) : say("enter_none")),
    el("span", { class: "keys far" }, el("button", { class: "btn act", type: "button", id: "undo", "data-undo": "", "aria-disabled": taps.length ? null : "true" }, icon("undo"), say("undo"))),
  );
}

/** One touch for all of which there is none: said once, entered for each. */
function none(shown, counting) {
  const lines = noneOf(shown).filter((line) => line !== counting);
  if (shown.current === null || shown.paused || !lines.length) return null;
  const names = lines.slice(0, 4).map((line) => line.name);
  return el("div", { class: "row" },
    el("button", { class: "btn", type: "button", id: "none", "data-do": "none" }, say("none_of", { n: lines.length })),
    el("span", { class: "soft" }, list(lines.length > 4 ? [...names, say("n_others", { n: lines.length - 4 })] : names)));
}

/** What was pressed by mistake is taken back, and both stand in the record. */
function takeBack(shown, line) {
  const last = shown.current === null ? null : lastAddition(shown, line);
  return last && el("div", { class: "row" },
    el("button", { class: "btn", type: "button", id: "take-back", "data-do": "correct", "data-added": last.pk }, icon("undo"), say("take_back", { n: last.quantity })),
    el("span", { class: "soft" }, say("take_back_says", { at: time(last.at), by: last.by })));
}

/** Two numbers for one line, from two devices: both are shown, neither is taken. */
function rivals(shown, line) {
  const found = shown.conflicts.filter((one) => one.line === line.pk);
  if (line.verdict !== "conflict" || !found.length) return null;
  const { other, other_by: first, counted, by } = found.at(-1);
  return el("div", { class: "fault", role: "alert" }, icon("differs"),
    el("b", { class: "what" }, say("two_numbers", { what: line.name })),
    el("span", {}, say("two_numbers_said", { first, a: other, second: by, b: counted })),
    el("span", {}, el("b", {}, say("count_again_aloud"))));
}

function added(shown) {
  const all = shown.came_on.filter((one) => !one.at_first && !one.taken_back && one.quantity > 0);
  if (!all.length) return null;
  return [
    el("h3", {}, say("added_since")),
    el("div", { class: "table-container", tabindex: "0", role: "region", "aria-label": say("added_since") },
      el("table", { class: "lines still" },
        el("thead", {}, el("tr", {}, ["time", "what", "added", "opened_by"].map((name) => el("th", { scope: "col", class: name === "added" ? "num" : null }, say(name === "added" ? "added_head" : name === "time" ? "time_head" : name))))),
        el("tbody", {}, all.map((one) => el("tr", {}, el("td", {}, time(one.at)), el("th", { scope: "row" }, one.name), el("td", { class: "num" }, one.quantity), el("td", {}, one.by)))),
      )),
  ];
}
