/* What goes with the stage: steps of a discrepancy, what came on, who takes over, closing, and what cannot be done here. */

import { el, icon } from "./draw.js";
import { isOff, linesOf, openOf, singly, stageOf, waitsFor } from "./tally.js";
import { list, say, time } from "./words.js";

/** The steps for the line in hand, when it differs; null else. */
export function steps(view) {
  const { shown, hand } = view;
  if (!hand || shown.current === null) return null;
  const one = openOf(shown, hand);
  if (!one) return isOff(hand) && hand.verdict !== "conflict" ? first(hand) : null;
  return el("div", { "data-key": `discrepancy-${one.pk}` },
    el("h2", {}, say("what_to_do")),
    el("ol", { class: "steps" }, one.steps.map((step) => item(one, step, shown))),
    answered(one, !isOff(hand)) && outcome(view, one));
}

/** Before anything: the class is counted again, and what is done is written down from now on. */
function first(line) {
  return el("div", { "data-key": "differs" },
    el("h2", {}, say("what_to_do")),
    el("p", {}, say("differs_says", { what: line.name })),
    el("div", { class: "row" }, el("button", { class: "btn act main", type: "button", "data-do": "discrepancy", "data-line": line.pk }, say("begin_steps"))));
}

/** Whether every step has its answer that has to have one: fewer of them when the thing was found. */
function answered(one, found) {
  const wanted = found ? ["always"] : ["always", "not_found"];
  return Boolean(one.carried) || one.steps.every((step) => !wanted.includes(step.when) || ["done", "not_done"].includes(step.state));
}

/** How it ended, said aloud by two; they sign after unscrubbing, or at once on the page Sign. */
function outcome({ people, outcomes, me, hand }, one) {
  const others = people.filter((other) => other.pk !== me.pk);
  return el("form", { class: "form settle", "data-form": "settle", "data-discrepancy": one.pk },
    el("h3", {}, say("how_it_ended")),
    isOff(hand) ? null : el("p", { class: "soft" }, say("agrees_now")),
    el("div", { class: "field" }, el("label", { for: "outcome" }, say("outcome")),
      el("select", { id: "outcome", name: "outcome", required: true }, el("option", { value: "" }, say("choose")), outcomes.filter((end) => end.right_now === !isOff(hand)).map((end) => el("option", { value: end.value }, end.label)))),
    el("div", { class: "field" }, el("label", { for: "outcome-note" }, say("outcome_note")), el("input", { id: "outcome-note", name: "note", maxlength: "300", required: isOff(hand) })),
    el("div", { class: "field" }, el("label", { for: "report" }, say("report")), el("input", { id: "report", name: "report", maxlength: "40" })),
    choice("second", say("second"), others, null, "second"),
    el("div", { class: "acts" }, el("button", { class: "btn act main", type: "submit" }, icon("sign"), say("settle"))),
    el("p", { class: "soft" }, say("sign_later")));
}

function item(one, step, shown) {
  const now = step.state === "current";
  return el("li", { class: { done: "done", current: "now", not_done: "done" }[step.state] ?? null, "aria-current": now ? "step" : null, "data-key": `step-${step.number}` },
    el("span", { class: "n" }, step.number),
    el("div", {},
      el("b", {}, step.words),
      step.at
        ? el("span", { class: "soft under" }, [time(step.at), step.by, step.note].filter(Boolean).join(", "))
        : el("span", { class: "soft under" }, say(`when_${step.when}`)),
      now && !shown.paused && el("form", { class: "row answer-step", "data-form": "step", "data-discrepancy": one.pk, "data-number": step.number },
        el("label", { class: "unseen", for: `note-${step.number}` }, say("step_note")),
        el("input", { id: `note-${step.number}`, name: "note", maxlength: "200", placeholder: step.kind === "tell" ? say("whom") : say("step_note") }),
        el("button", { class: "btn act main", type: "submit", name: "done", value: "1" }, say("step_done")),
        step.when !== "always" && el("button", { class: "btn act", type: "submit", name: "done", value: "" }, say("step_not_done"))),
    ),
    el("span", {}, step.state === "done" ? [icon("ok", "st ok"), el("span", { class: "unseen" }, say("done"))] : step.state === "not_done" ? say("not_done") : ""));
}

/** The panel that was asked for, one at a time. */
export function panel(view) {
  const { shown, panel: name } = view;
  const made = { add: () => addPanel(view), special: () => special(view), hand_over: () => handOver(view), not_done: () => notDone(shown), pause: () => pausePanel(view) }[name]?.();
  return made && el("section", { class: "part rule", id: "panel", "data-key": `panel-${name}` },
    el("div", { class: "aside" }, el("h2", {}, say(`panel_${name}`))),
    el("div", { class: "body" }, made));
}

/** What came on: one touch for a packet of what is counted already, a form for anything else. */
function addPanel({ shown }) {
  const soft = linesOf(shown).filter((line) => singly(line) && line.klass !== "fragment");
  return [
    el("p", {}, say("add_says")),
    el("div", { class: "row packets" }, soft.map((line) =>
      el("button", { class: "btn act", type: "button", "data-key": `add-${line.pk}`, "data-do": "add", "data-line": line.pk, "data-quantity": line.multiple }, `+${line.multiple} `, line.name))),
    el("form", { class: "form", "data-form": "add_other" },
      el("h3", {}, say("add_other")),
      el("div", { class: "field" }, el("label", { for: "add-name" }, say("add_name")), el("input", { id: "add-name", name: "name", maxlength: "120", required: true })),
      el("div", { class: "field" }, el("label", { for: "add-class" }, say("add_class")),
        el("select", { id: "add-class", name: "klass" }, shown.classes.filter((one) => one.klass !== "rack").map((one) => el("option", { value: one.klass }, one.word)))),
      el("div", { class: "field" }, el("label", { for: "add-number" }, say("add_number")), el("input", { id: "add-number", name: "quantity", type: "number", min: "1", max: "99", value: "1", inputmode: "numeric", required: true, class: "few" })),
      el("div", { class: "acts" }, el("button", { class: "btn act main", type: "submit" }, say("add_it")))),
  ];
}

/** What broke, what stays in on purpose, what came in a packet with another number than it should hold. */
function special({ shown }) {
  const lines = linesOf(shown).filter(singly);
  const all = shown.lines.filter((line) => line.klass !== "fragment");
  return el("div", { class: "cols" },
    el("form", { class: "form", "data-form": "fragment" },
      el("h3", {}, say("broke")), el("p", { class: "soft" }, say("broke_says")),
      pick("broke-what", say("what"), all, "broken"),
      number("broke-pieces", say("pieces"), "pieces"),
      el("div", { class: "acts" }, el("button", { class: "btn act", type: "submit" }, say("broke_do")))),
    el("form", { class: "form", "data-form": "left_in" },
      el("h3", {}, say("leave_in")),
      pick("left-what", say("what"), lines, "line"),
      number("left-number", say("add_number"), "quantity"),
      el("div", { class: "field" }, el("label", { for: "left-plan" }, say("left_plan")), el("input", { id: "left-plan", name: "plan", maxlength: "200", required: true })),
      el("div", { class: "field" }, el("label", { for: "left-by" }, say("not_done_by")), el("input", { id: "left-by", name: "decided_by", maxlength: "120", required: true })),
      el("div", { class: "acts" }, el("button", { class: "btn act", type: "submit" }, say("leave_in_do")))),
    el("form", { class: "form", "data-form": "packet" },
      el("h3", {}, say("packet")), el("p", { class: "soft" }, say("packet_says")),
      pick("packet-what", say("what"), lines.filter((line) => line.multiple > 1), "line"),
      number("packet-found", say("packet_found"), "found", 0),
      el("div", { class: "field" }, el("label", { for: "packet-lot" }, say("packet_lot")), el("input", { id: "packet-lot", name: "lot", maxlength: "20" })),
      el("div", { class: "acts" }, el("button", { class: "btn act", type: "submit" }, say("packet_do")))));
}

function pick(id, label, lines, name) {
  return el("div", { class: "field" }, el("label", { for: id }, label),
    el("select", { id, name, required: true }, el("option", { value: "" }, say("choose")), lines.map((line) => el("option", { value: line.pk }, line.name))));
}

function number(id, label, name, least = 1) {
  return el("div", { class: "field" }, el("label", { for: id }, label),
    el("input", { id, name, type: "number", min: least, max: "99", inputmode: "numeric", required: true, class: "few" }));
}

function choice(id, label, people, chosen, name) {
  return el("div", { class: "field" }, el("label", { for: id }, label),
    el("select", { id, name, required: true }, el("option", { value: "" }, say("choose")),
      people.map((one) => el("option", { value: one.pk, selected: one.pk === chosen }, one.name))));
}

function handOver({ shown, people }) {
  return [
    el("p", {}, say("hand_over_says")),
    el("form", { class: "form", "data-form": "hand_over" },
      el("div", { class: "field" }, el("label", { for: "seat" }, say("seat")),
        el("select", { id: "seat", name: "seat" },
          el("option", { value: "scrub_nurse" }, say("scrub"), shown.scrub ? `, ${shown.scrub.name}` : ""),
          el("option", { value: "circulating_nurse" }, say("circulating"), shown.circulating ? `, ${shown.circulating.name}` : ""))),
      choice("take-over", say("who_takes_over"), people, null, "to"),
      el("div", { class: "acts" }, el("button", { class: "btn act main", type: "submit" }, say("hand_over")))),
  ];
}

function notDone(shown) {
  return el("form", { class: "form", "data-form": "not_done", "data-stage": shown.current ?? shown.next },
    el("p", {}, say("not_done_says")),
    el("div", { class: "field" }, el("label", { for: "why" }, say("not_done_why")), el("input", { id: "why", name: "reason", maxlength: "200", required: true })),
    el("div", { class: "field" }, el("label", { for: "decided" }, say("not_done_by")), el("input", { id: "decided", name: "decided_by", maxlength: "120", required: true })),
    el("div", { class: "field" }, el("label", { for: "follow" }, say("not_done_follow")), el("input", { id: "follow", name: "follow_up", maxlength: "200", required: true })),
    el("div", { class: "acts" }, el("button", { class: "btn act", type: "submit" }, say("not_done_do"))));
}

function pausePanel({ hand }) {
  return el("form", { class: "form", "data-form": "pause", "data-klass": hand?.klass ?? "" },
    el("p", {}, say("pause_says")),
    el("div", { class: "field" }, el("label", { for: "interrupted" }, say("pause_why")), el("input", { id: "interrupted", name: "reason", maxlength: "40", required: true })),
    el("div", { class: "acts" }, el("button", { class: "btn act main", type: "submit" }, say("pause"))));
}

/** Begin, go on, or close: one filled button at most, and what it waits for beside it. */
export function ending(view) {
  const { shown, people } = view;
  const stage = stageOf(shown, shown.current ?? shown.next);
  return el("section", { class: "part rule", id: "ending", "data-key": "ending" },
    el("div", { class: "aside" }, el("h2", {}, shown.current === null ? say("next_head") : say("close_head"))),
    el("div", { class: "body" },
      shown.current !== null ? closing(shown, stage, people) : stage ? beginning(shown, stage, people) : el("p", {}, say("all_ended_says")),
      el("div", { class: "row others" },
        shown.current === null && el("button", { class: "btn", type: "button", "data-do": "extra" }, say("extra")),
        shown.current !== null && (shown.paused
          ? el("button", { class: "btn main", type: "button", "data-do": "resume" }, say("resume"))
          : el("button", { class: "btn", type: "button", "data-panel": "pause", "aria-expanded": view.panel === "pause" ? "true" : "false" }, say("pause"))),
        stage && el("button", { class: "btn", type: "button", "data-panel": "not_done", "aria-expanded": view.panel === "not_done" ? "true" : "false" }, say("not_done_emergency"))),
      el("p", { class: "caution" }, shown.caution, " ", standing(view)),
    ));
}

function counters(shown, people) {
  const of = (kind) => people.filter((one) => one.seats.includes(kind));
  return el("div", { class: "row counters" },
    choice("scrub", say("scrub"), of("scrub_nurse"), shown.scrub?.pk, "scrub"),
    choice("circulating", say("circulating"), of("circulating_nurse"), shown.circulating?.pk, "circulating"));
}

function beginning(shown, stage, people) {
  return el("form", { class: "stack", "data-form": "begin", "data-stage": stage.pk },
    counters(shown, people),
    el("div", { class: "row" }, el("button", { class: "btn act main", type: "submit" }, say("begin", { what: stage.word })), el("span", { class: "soft" }, stage.when)));
}

function closing(shown, stage, people) {
  const { lines, packs } = waitsFor(shown);
  const waits = [...lines.map((line) => line.name)];
  if (packs.length) waits.push(say("n_packs", { n: packs.length }));
  if (shown.paused || waits.length) {
    return el("div", { class: "row" },
      el("button", { class: "btn act", type: "button", "aria-disabled": "true" }, icon("sign"), say("close", { what: stage.word })),
      el("span", { class: "soft" }, shown.paused ? say("waits_paused") : say("waits_for", { what: list(waits.length > 6 ? [...waits.slice(0, 5), say("n_others", { n: waits.length - 5 })] : waits) }), " ", say("more_blocks")));
  }
  return el("form", { class: "stack", "data-form": "close", "data-stage": stage.pk },
    counters(shown, people),
    el("div", { class: "row" }, el("button", { class: "btn act main", type: "submit" }, icon("sign"), say("close_aloud", { what: stage.word })), el("span", { class: "soft" }, say("close_says"))));
}

/** How the device stands with the server, in one sentence. */
export function standing({ shown, online, signedOut }) {
  if (signedOut) return "";
  if (shown.waiting === 0) return online ? say("nothing_waiting") : say("away_nothing_waiting");
  return say(online ? "sending" : "waiting", { n: shown.waiting });
}
