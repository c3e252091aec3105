/* What the page shows: the count as the server last told it, with this device's own entries on top that have not gone up
   yet. No page and no network in here: values in, values out. Verdicts are the server's wherever it has given one. */

/** Classes that are counted by their pack; lines of a pack are shown singly only where they differ. */
const BY_PACK = new Set(["instrument", "rack"]);
const SEATS = { scrub_nurse: "scrub", circulating_nurse: "circulating" };
const OFF = new Set(["fewer", "more", "conflict"]);

/** The state with the waiting entries of this device laid over it, in their order. The given one stays as it is. */
export function withWaiting(state, entries) {
  const shown = structuredClone(state);
  shown.waiting = entries.length;
  const lines = new Map(shown.lines.map((line) => [String(line.pk), line]));
  for (const entry of entries) LAY[entry.kind]?.(shown, entry, lines);
  return shown;
}

const LAY = {
  counters(shown, entry) {
    shown.scrub = { pk: entry.scrub, name: entry.scrub_name };
    shown.circulating = { pk: entry.circulating, name: entry.circulating_name };
  },
  begin(shown, entry) {
    const stage = stageOf(shown, entry.stage);
    if (!stage) return;
    stage.state = "open";
    shown.current = stage.pk;
    shown.next = null;
    for (const line of shown.lines) {
      if (stage.classes.includes(line.klass)) judge(shown, line);
    }
  },
  count(shown, entry, lines) {
    const line = lines.get(String(entry.line));
    if (line) enter(shown, line, entry.counted, entry);
  },
  accept(shown, entry, lines) {
    for (const pack of shown.packs.filter((one) => entry.packs.includes(one.pk))) {
      for (const pk of pack.lines) {
        const line = lines.get(String(pk));
        if (line && entryOf(shown, line) === null) enter(shown, line, line.should_be, entry);
      }
    }
  },
  recount(shown, entry) {
    for (const line of shown.lines) {
      if (line.klass !== entry.klass) continue;
      delete line.entries[shown.current];
      judge(shown, line);
    }
  },
  add(shown, entry, lines) {
    const line = lines.get(String(entry.line));
    if (line) bring(shown, line, entry);
  },
  correct(shown, entry, lines) {
    const one = shown.came_on.find((other) => String(other.pk) === String(entry.added));
    const line = one && lines.get(String(one.line));
    if (!line) return;
    one.taken_back = true;
    line.should_be -= one.quantity;
    const counted = entryOf(shown, line)?.counted;
    if (one.at_first && firstCount(shown) && counted) enter(shown, line, Math.max(0, counted - one.quantity), entry);
    else judge(shown, line);
  },
  left_in(shown, entry, lines) {
    const line = lines.get(String(entry.line));
    if (!line) return;
    line.left_in += entry.quantity;
    line.should_be -= entry.quantity;
    judge(shown, line);
  },
  new_line(shown, entry, lines) {
    const line = {
      pk: entry.key, number: shown.lines.length + 1, klass: entry.klass, name: entry.name, section: "", note: "",
      critical: false, parts: 1, multiple: 1, listed: null, pack: null, should_be: 0, left_in: 0, additions: [],
      entries: {}, newest: {}, verdict: "open", difference: 0,
    };
    shown.lines.push(line);
    lines.set(line.pk, line);
    shown.classes.find((one) => one.klass === entry.klass)?.lines.push(line.pk);
    bring(shown, line, entry);
  },
  discrepancy(shown, entry, lines) {
    const line = lines.get(String(entry.line));
    if (!line || openOf(shown, line)) return;
    shown.discrepancies.push({
      pk: entry.key, stage: shown.current, line: line.pk, name: line.name, expected: line.should_be,
      counted: entryOf(shown, line)?.counted ?? 0, state: "open", opened_at: entry.at, opened_by: entry.by_name,
      steps: (shown.steps ?? []).map((step, place) => ({ ...step, state: place ? "later" : "current", at: null, by: "", note: "" })),
    });
  },
  step(shown, entry) {
    for (const one of shown.discrepancies) {
      if (String(one.pk) !== String(entry.discrepancy)) continue;
      const step = one.steps.find((other) => other.number === entry.number);
      if (!step) continue;
      Object.assign(step, { state: entry.done ? "done" : "not_done", at: entry.at, by: entry.by_name, note: entry.note });
      const next = one.steps.find((other) => other.state === "later");
      if (next && !one.steps.some((other) => other.state === "current")) next.state = "current";
    }
  },
  settle(shown, entry, lines) {
    const one = shown.discrepancies.find((other) => String(other.pk) === String(entry.discrepancy));
    const line = one && lines.get(String(one.line));
    if (!line) return;
    const counted = entryOf(shown, line)?.counted ?? one.counted;
    Object.assign(one, { state: "settled", outcome: entry.outcome, note: entry.note, expected: line.should_be, counted });
    judge(shown, line);
  },
  close: (shown, entry) => end(shown, entry, "closed"),
  not_done: (shown, entry) => end(shown, entry, "not_done"),
  extra: (shown, entry) => oneMore(shown, entry, "extra"),
  hand_over(shown, entry) {
    oneMore(shown, entry, "hand_over");
    shown[SEATS[entry.seat]] = { pk: entry.to, name: entry.to_name };
  },
  pause(shown, entry) {
    shown.paused = { stage: shown.current, klass: entry.klass ?? "", reason: entry.reason, at: entry.at, by: entry.by_name };
  },
  resume(shown) {
    shown.paused = null;
  },
};

/** A stage that was asked for on this device: it counts everything, after what has begun. */
function oneMore(shown, entry, kind) {
  const begun = shown.stages.findLastIndex((stage) => stage.state !== "waiting");
  const classes = shown.classes.map((one) => one.klass);
  shown.stages.splice(begun + 1, 0, { pk: entry.key, word: entry.word, kind, when: "", state: "waiting", classes });
  if (shown.current === null) shown.next = entry.key;
}

function enter(shown, line, value, entry) {
  line.entries[shown.current] = {
    id: 0, counted: value, basis: entry.kind === "accept" ? "by_pack" : "counted", by: entry.by_name, at: entry.at,
    waiting: true,
  };
  judge(shown, line);
}

/** So many more of a line. At the first count they are counted as they come; at a later one they are still to count. */
function bring(shown, line, entry) {
  line.should_be += entry.quantity;
  line.additions.push(entry.quantity);
  const first = firstCount(shown);
  shown.came_on.push({
    pk: entry.key, line: line.pk, name: line.name, quantity: entry.quantity, at: entry.at, by: entry.by_name,
    at_first: first, taken_back: false,
  });
  if (first) enter(shown, line, (entryOf(shown, line)?.counted ?? 0) + entry.quantity, entry);
  else judge(shown, line);
}

/** Whether the first count is under way: what lies on the field is then added, not compared. */
export function firstCount(shown) {
  return stageOf(shown, shown.current)?.kind === "first";
}

/** The newest addition of a line that was made by hand and not taken back. */
export function lastAddition(shown, line) {
  return shown.came_on.filter((one) => one.line === line.pk && one.quantity > 0 && !one.taken_back).at(-1) ?? null;
}

function end(shown, entry, how) {
  const stage = stageOf(shown, entry.stage);
  if (!stage) return;
  Object.assign(stage, { state: how, ended_at: entry.at, ended_by: entry.by_name });
  shown.current = null;
  shown.next = shown.stages.find((one) => one.state === "waiting")?.pk ?? null;
}

/** The line's verdict at the stage under way, as the server will give it. */
function judge(shown, line) {
  const entry = entryOf(shown, line);
  line.difference = entry === null ? 0 : entry.counted - line.should_be;
  if (entry === null) line.verdict = "open";
  else if (line.difference === 0) line.verdict = "equal";
  else if (settledSo(shown, line, entry)) line.verdict = "settled";
  else line.verdict = line.difference > 0 ? "more" : "fewer";
}

function settledSo(shown, line, entry) {
  return shown.discrepancies.some(
    (one) =>
      one.line === line.pk && one.stage === shown.current && one.state === "settled" &&
      one.expected === line.should_be && one.counted === entry.counted,
  );
}

/** The discrepancy of a line that is being settled, null where there is none. */
export function openOf(shown, line) {
  return shown.discrepancies.find((one) => one.line === line.pk && one.state === "open") ?? null;
}

/** What was counted of a line at the stage under way (or the last one, when none is), null where nothing was. */
export function entryOf(shown, line) {
  return line.entries[stageInView(shown)] ?? null;
}

/** The stage under way; when none is, the last that has ended. */
export function stageInView(shown) {
  if (shown.current !== null) return shown.current;
  return shown.stages.filter((stage) => ["closed", "not_done"].includes(stage.state)).at(-1)?.pk ?? null;
}

export function stageOf(shown, pk) {
  return shown.stages.find((stage) => stage.pk === pk) ?? null;
}

export function isOff(line) {
  return OFF.has(line.verdict);
}

/** Whether a line is counted piece by piece rather than with its pack. */
export function singly(line) {
  return line.pack === null || !BY_PACK.has(line.klass);
}

/** The lines that the stage counts piece by piece, with those of packs that differ: in running order. */
export function linesOf(shown) {
  const stage = stageOf(shown, stageInView(shown));
  const classes = stage ? stage.classes : shown.classes.map((one) => one.klass);
  const order = new Map(shown.classes.map((one, place) => [one.klass, place]));
  return shown.lines
    .filter((line) => classes.includes(line.klass) && (singly(line) || isOff(line)))
    .sort((a, b) => (order.get(a.klass) ?? 99) - (order.get(b.klass) ?? 99) || a.number - b.number);
}

/** The same for the board: the class under way first. */
export function boardLines(shown, klass) {
  const lines = linesOf(shown);
  return [...lines.filter((line) => line.klass === klass), ...lines.filter((line) => line.klass !== klass)];
}

/** Lines of which there is none on the field, and of which nobody has said so yet at this stage. */
export function noneOf(shown) {
  return linesOf(shown).filter((line) => line.verdict === "open" && line.should_be === 0);
}

/** The line that has the hand now: the one chosen, else the first to count, else the first that differs. */
export function lineInHand(shown, chosen = null) {
  const lines = linesOf(shown);
  return (
    lines.find((line) => String(line.pk) === String(chosen)) ??
    lines.find((line) => line.verdict === "open" && (line.should_be > 0 || firstCount(shown))) ??
    lines.find((line) => line.verdict === "open") ??
    lines.find(isOff) ??
    lines[0] ??
    null
  );
}

/** Packs with the state that is shown: accepted, to_accept or differs. */
export function packsOf(shown) {
  const lines = new Map(shown.lines.map((line) => [line.pk, line]));
  const stage = stageOf(shown, stageInView(shown));
  return shown.packs.map((pack) => {
    const own = pack.lines.map((pk) => lines.get(pk)).filter((line) => line && (!stage || stage.classes.includes(line.klass)));
    const off = own.some(isOff);
    const open = own.some((line) => line.verdict === "open");
    return { ...pack, state: off ? "differs" : open ? "to_accept" : "accepted" };
  });
}

/** What the closing of the stage still waits for: lines that are not right, packs that are not accepted. */
export function waitsFor(shown) {
  const lines = linesOf(shown).filter((line) => !["equal", "settled"].includes(line.verdict));
  return { lines, packs: packsOf(shown).filter((pack) => pack.state === "to_accept") };
}

/** A number in groups as it is drawn: {drawn, of} each. What should be there and is not counts for the last group. */
export function groups(number, expected, multiple = 5) {
  const size = multiple > 1 ? multiple : 5;
  const found = [];
  for (let left = number; left > 0; left -= size) {
    const drawn = Math.min(left, size);
    found.push({ drawn, of: Math.min(size, Math.max(drawn, expected - (number - left))) });
  }
  return found;
}

/** The sum of the taps of a line. */
export function tapped(taps) {
  return taps.reduce((sum, tap) => sum + tap, 0);
}
