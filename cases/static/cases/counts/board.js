/* The first part of the page: the stage, who counts aloud, what does not agree, and the board. Read at three metres. */

import { el, icon } from "./draw.js";
import { boardLines, entryOf, firstCount, isOff, packsOf, stageInView, stageOf, tapped } from "./tally.js";
import { list, say, time } from "./words.js";

/** `view`: {shown, hand (the line under way), taps, panel, now, place}. */
export function board(view) {
  const { shown } = view;
  const stage = stageOf(shown, stageInView(shown));
  const rows = stage ? boardLines(shown, view.hand?.klass).map((line) => row(view, line)) : [];
  return el("section", { class: "part", "data-key": "first" },
    aside(view),
    el("div", { class: "body" },
      el("div", { class: "row apart" },
        el("div", {}, el("h1", {}, heading(shown, stage)), el("p", { class: "says" }, ...sentence(shown, stage))),
        shown.current !== null && el("button", { class: "btn", type: "button", "data-panel": "hand_over", "aria-expanded": view.panel === "hand_over" ? "true" : "false" }, say("takes_over")),
      ),
      rows.length > 0 && table([...rows, packRow(shown)]),
    ),
  );
}

function aside({ shown, now }) {
  return el("div", { class: "aside" },
    el("b", {}, time(now)),
    el("span", {}, shown.theatre, el("br"), say("case"), " ", el("span", { class: "code" }, shown.reference), el("br"),
      shown.operation, shown.side && ", ", shown.side && el("b", { class: "side" }, shown.side)),
  );
}

function heading(shown, stage) {
  if (shown.current !== null) return stage.word;
  const next = stageOf(shown, shown.next);
  return next ? next.word : say("all_ended");
}

function sentence(shown, stage) {
  const said = [];
  if (shown.paused) said.push(el("b", {}, say("paused", { at: time(shown.paused.at), by: shown.paused.by })), " ");
  if (shown.current === null) {
    if (stage) said.push(say(stage.state === "closed" ? "was_closed" : "was_not_done", { what: stage.word, at: time(stage.ended_at), by: stage.ended_by }), " ");
    if (shown.next !== null) said.push(el("b", {}, say("not_begun")));
    return said;
  }
  if (shown.scrub && shown.circulating) said.push(say("counted_aloud", { scrub: shown.scrub.name, circulating: shown.circulating.name }), " ");
  const off = shown.lines.filter(isOff);
  const open = shown.lines.some((line) => line.verdict === "open" && stage.classes.includes(line.klass));
  if (off.length) said.push(el("b", {}, say("does_not_agree", { what: list(off.slice(0, 3).map((line) => line.name)) })));
  else if (!open) said.push(say("agrees_all"));
  return said;
}

function table(rows) {
  return el("table", { class: "board", id: "board" },
    el("caption", { class: "unseen" }, say("board")),
    el("thead", {}, el("tr", {},
      el("th", { scope: "col" }, el("span", { class: "unseen" }, say("what"))),
      el("th", { scope: "col" }, say("should_be")),
      el("th", { scope: "col" }, say("counted")),
      el("th", { scope: "col" }, el("span", { class: "unseen" }, say("result"))),
    )),
    el("tbody", {}, rows),
  );
}

function row(view, line) {
  const { shown, hand, taps } = view;
  const inHand = hand?.pk === line.pk;
  const counting = inHand && taps.length > 0;
  const entry = entryOf(shown, line);
  const more = firstCount(shown) && line.pack === null;
  const number = counting ? tapped(taps) + (more ? entry?.counted ?? 0 : 0) : entry?.counted ?? "–";
  const off = isOff(line) && !counting;
  const css = off ? "off" : ["equal", "settled"].includes(line.verdict) && !counting ? "even-ok" : "";
  return el("tr", { class: `${css}${inHand ? " hand" : ""}`.trim() || null, "data-key": `line-${line.pk}` },
    el("th", { scope: "row" },
      el("button", { class: "of-row", type: "button", "data-line": line.pk, "aria-current": inHand ? "true" : null }, line.name),
      el("small", {}, under(shown, line, entry)),
    ),
    el("td", {}, more && line.should_be === 0 ? "–" : line.should_be),
    el("td", {}, number),
    el("td", { class: "word" }, ...verdict(line, counting)),
  );
}

export function verdict(line, counting = false) {
  if (counting) return [icon("open", ""), say("counting")];
  if (line.verdict === "open") return [icon("open", ""), say("to_count")];
  if (line.verdict === "conflict") return [icon("differs", ""), say("again")];
  if (line.verdict === "equal") return [icon("ok", ""), say("agrees")];
  if (line.verdict === "settled") return [icon("differs", ""), say("settled")];
  return [icon("differs", ""), say(line.verdict, { n: Math.abs(line.difference) })];
}

/** What stands under the name: what was there at first and what came on, or how it is counted. */
function under(shown, line, entry) {
  const pack = line.pack !== null && shown.packs.find((one) => one.pk === line.pack);
  if (pack) return say("in_pack", { pack: pack.number });
  const words = [];
  const since = shown.came_on.filter((one) => one.line === line.pk && !one.at_first && !one.taken_back);
  const added = since.reduce((sum, one) => sum + one.quantity, 0);
  const first = line.should_be + line.left_in - added;
  if (added) words.push(say("first_and_added", { first, added }));
  else if (line.multiple > 1) words.push(line.multiple === 5 ? say("in_fives") : line.multiple === 10 ? say("in_tens") : say("in_numbers", { n: line.multiple }));
  if (line.left_in) words.push(say("left_in", { n: line.left_in }));
  if (entry?.waiting) words.push(say("on_this_device"));
  return words.join(", ") || " ";
}

/** All packs together stand in one line: how many there are, how many were accepted. */
function packRow(shown) {
  const packs = packsOf(shown);
  if (!packs.length) return null;
  const done = packs.filter((pack) => pack.state === "accepted").length;
  const off = packs.filter((pack) => pack.state === "differs").length;
  const all = done === packs.length;
  return el("tr", { class: all ? "even-ok" : off ? "off" : null, "data-key": "packs" },
    el("th", { scope: "row" }, el("a", { class: "of-row", href: "#packs" }, say("packs")), el("small", {}, say("accepted_whole"))),
    el("td", {}, packs.length),
    el("td", {}, done || "–"),
    el("td", { class: "word" }, all ? [icon("ok", ""), say("agree")] : off ? [icon("differs", ""), say("packs_differ", { n: off })] : [icon("open", ""), say("to_accept")]),
  );
}
