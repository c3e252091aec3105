/* The tally of the counting page: the server's picture with this device's own entries over it. */

import assert from "node:assert/strict";
import { test } from "node:test";
import {
  boardLines, firstCount, groups, lastAddition, lineInHand, linesOf, noneOf, packsOf, stageInView, waitsFor, withWaiting,
} from "../../../cases/static/cases/counts/tally.js";

const CLASSES = ["soft", "sharp", "instrument"];

function line(pk, klass, more = {}) {
  return {
    pk, number: pk, klass, name: `line ${pk}`, multiple: klass === "soft" ? 5 : 1, pack: null, should_be: 10, left_in: 0,
    additions: [10], entries: {}, newest: {}, verdict: "open", difference: 0, ...more,
  };
}

function picture(more = {}) {
  const stage = (pk, kind, state) => ({ pk, word: `stage ${pk}`, kind, state, classes: CLASSES, when: "" });
  return {
    current: 2, next: 3, scrub: { pk: 1, name: "S" }, circulating: { pk: 2, name: "C" }, paused: null, came_on: [],
    stages: [stage(1, "first", "closed"), stage(2, "closing", "open"), stage(3, "final", "waiting")],
    classes: CLASSES.map((klass) => ({ klass, word: klass, keys: [1], lines: [] })),
    lines: [line(1, "soft"), line(2, "sharp", { should_be: 2 }), line(3, "instrument", { pack: 7 }), line(4, "instrument", { pack: 7 })],
    packs: [{ pk: 7, pack: 70, number: "P1", name: "Set", items: 20, lines: [3, 4] }],
    discrepancies: [], conflicts: [], steps: [{ number: 1, kind: "tell", words: "Tell", when: "always" }, { number: 2, kind: "search", words: "Search", when: "not_found" }],
    ...more,
  };
}

const entry = (kind, more) => ({ kind, key: `key-${kind}`, at: "2026-12-07T14:29:00Z", by_name: "C", ...more });
const verdicts = (shown) => shown.lines.map((one) => one.verdict);

test("nothing waits: the server's own picture is shown, verdicts and all", () => {
  const state = picture();
  state.lines[0] = line(1, "soft", { verdict: "fewer", difference: -1, entries: { 2: { id: 5, counted: 9 } } });
  const shown = withWaiting(state, []);
  assert.deepEqual(verdicts(shown), ["fewer", "open", "open", "open"]);
  assert.equal(shown.waiting, 0);
});

test("a number that waits has the verdict that the server will give it, and the given picture stays as it was", () => {
  const state = picture();
  for (const [counted, verdict, difference] of [[10, "equal", 0], [9, "fewer", -1], [12, "more", 2]]) {
    const shown = withWaiting(state, [entry("count", { line: 1, counted })]);
    assert.equal(shown.lines[0].verdict, verdict);
    assert.equal(shown.lines[0].difference, difference);
    assert.equal(shown.lines[0].entries[2].waiting, true);
  }
  assert.deepEqual(state.lines[0].entries, {});
});

test("the last of several numbers for one line counts", () => {
  const shown = withWaiting(picture(), [entry("count", { line: 1, counted: 9 }), entry("count", { line: 1, counted: 10 })]);
  assert.equal(shown.lines[0].verdict, "equal");
  assert.equal(shown.waiting, 2);
});

test("a pack that is accepted leaves alone what was entered before", () => {
  const shown = withWaiting(picture(), [entry("count", { line: 3, counted: 9 }), entry("accept", { packs: [7] })]);
  assert.deepEqual(verdicts(shown), ["open", "open", "fewer", "equal"]);
  assert.equal(packsOf(shown)[0].state, "differs");
});

test("a class that is called again is to count", () => {
  const shown = withWaiting(picture(), [entry("count", { line: 1, counted: 10 }), entry("recount", { klass: "soft" })]);
  assert.equal(shown.lines[0].verdict, "open");
});

test("what comes on at a later stage leaves the line to be counted again; at the first count it is counted as it came", () => {
  const later = withWaiting(picture(), [entry("count", { line: 1, counted: 10 }), entry("add", { line: 1, quantity: 5 })]);
  assert.deepEqual([later.lines[0].should_be, later.lines[0].verdict], [15, "fewer"]);
  const state = picture({ current: 1 });
  state.stages[0].state = "open";
  state.stages[1].state = "waiting";
  const first = withWaiting(state, [entry("add", { line: 1, quantity: 5 })]);
  assert.equal(firstCount(first), true);
  assert.equal(first.lines[0].should_be, 15);
  assert.equal(first.lines[0].entries[1].counted, 5);
});

test("an addition is taken back with what it had counted", () => {
  const state = picture({ current: 1 });
  state.stages[0].state = "open";
  state.lines[0] = line(1, "soft", { should_be: 0, additions: [] });
  const shown = withWaiting(state, [entry("add", { key: "a", line: 1, quantity: 5 }), entry("add", { key: "b", line: 1, quantity: 5 }), entry("correct", { added: "b" })]);
  assert.equal(shown.lines[0].should_be, 5);
  assert.equal(shown.lines[0].entries[1].counted, 5);
  assert.equal(lastAddition(shown, shown.lines[0]).pk, "a");
});

test("a line made on this device can be counted before the server knows it", () => {
  const shown = withWaiting(picture(), [entry("new_line", { key: "n1", klass: "sharp", name: "Needle", quantity: 2 }), entry("count", { line: "n1", counted: 2 })]);
  const made = shown.lines.at(-1);
  assert.deepEqual([made.name, made.should_be, made.verdict], ["Needle", 2, "equal"]);
});

test("steps follow one another, and what was settled so is settled", () => {
  const open = [entry("count", { line: 1, counted: 9 }), entry("discrepancy", { key: "d1", line: 1 })];
  const begun = withWaiting(picture(), open);
  assert.deepEqual(begun.discrepancies[0].steps.map((step) => step.state), ["current", "later"]);
  const told = withWaiting(picture(), [...open, entry("step", { discrepancy: "d1", number: 1, done: true, note: "told" })]);
  assert.deepEqual(told.discrepancies[0].steps.map((step) => step.state), ["done", "current"]);
  const settled = withWaiting(picture(), [...open, entry("settle", { discrepancy: "d1", outcome: "not_found", note: "x-ray" })]);
  assert.equal(settled.lines[0].verdict, "settled");
});

test("a settled difference holds for its figures only", () => {
  const open = [entry("count", { line: 1, counted: 9 }), entry("discrepancy", { key: "d1", line: 1 }), entry("settle", { discrepancy: "d1", outcome: "not_found", note: "x" })];
  const shown = withWaiting(picture(), [...open, entry("count", { line: 1, counted: 8 })]);
  assert.equal(shown.lines[0].verdict, "fewer");
});

test("a stage ends and the next one waits; beginning it, everything is to count", () => {
  const shown = withWaiting(picture(), [entry("count", { line: 1, counted: 10 }), entry("close", { stage: 2 })]);
  assert.deepEqual([shown.current, shown.next, stageInView(shown)], [null, 3, 2]);
  const begun = withWaiting(picture(), [entry("count", { line: 1, counted: 10 }), entry("close", { stage: 2 }), entry("begin", { stage: 3 })]);
  assert.equal(begun.current, 3);
  assert.deepEqual(verdicts(begun), ["open", "open", "open", "open"]);
});

test("who takes over counts from then on, and one more count is to be done", () => {
  const shown = withWaiting(picture(), [entry("hand_over", { seat: "scrub_nurse", to: 9, to_name: "N", word: "Hand-over" })]);
  assert.deepEqual(shown.scrub, { pk: 9, name: "N" });
  assert.equal(shown.stages[2].kind, "hand_over");
});

test("the class under way comes first, lines of packs only where they differ", () => {
  const shown = withWaiting(picture(), [entry("count", { line: 3, counted: 9 })]);
  assert.deepEqual(linesOf(shown).map((one) => one.pk), [1, 2, 3]);
  assert.deepEqual(boardLines(shown, "sharp").map((one) => one.pk), [2, 1, 3]);
});

test("the hand goes to the first line that is to count, then to what differs", () => {
  assert.equal(lineInHand(withWaiting(picture(), [])).pk, 1);
  assert.equal(lineInHand(withWaiting(picture(), []), "2").pk, 2);
  const all = [entry("count", { line: 1, counted: 9 }), entry("count", { line: 2, counted: 2 })];
  assert.equal(lineInHand(withWaiting(picture(), all)).pk, 1);
});

test("the closing waits for what differs as for what is not counted, more as much as fewer", () => {
  const shown = withWaiting(picture(), [entry("count", { line: 1, counted: 11 })]);
  assert.deepEqual(waitsFor(shown).lines.map((one) => one.pk), [1, 2]);
  assert.equal(waitsFor(shown).packs.length, 1);
});

test("what there is none of is said once for all", () => {
  const state = picture();
  state.lines[1] = line(2, "sharp", { should_be: 0, additions: [] });
  assert.deepEqual(noneOf(withWaiting(state, [])).map((one) => one.pk), [2]);
});

test("a number is drawn in fives, and the one that is missing shows", () => {
  assert.deepEqual(groups(0, 10), []);
  assert.deepEqual(groups(15, 15), [{ drawn: 5, of: 5 }, { drawn: 5, of: 5 }, { drawn: 5, of: 5 }]);
  assert.deepEqual(groups(24, 25).at(-1), { drawn: 4, of: 5 });
  assert.deepEqual(groups(6, 6).at(-1), { drawn: 1, of: 1 });
  assert.deepEqual(groups(19, 20, 10).at(-1), { drawn: 9, of: 10 });
});
