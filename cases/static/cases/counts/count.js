/* The counting page: draws the count from what this device holds, takes every touch down first and sends it afterwards.
   Nothing here waits for the network. */

import { board } from "./board.js";
import { firstCount, lineInHand, noneOf, tapped, withWaiting } from "./tally.js";
import { el, lay } from "./draw.js";
import { ending, panel, steps } from "./stage.js";
import { hand, keyBar } from "./hand.js";
import { notices } from "./notices.js";
import { packs } from "./packs.js";
import { keepPrepared } from "./prepare.js";
import { askState, Sync } from "./sync.js";
import { clockOf, say, speak } from "./words.js";
import { newKey, Store } from "./store.js";
import { withoutCase } from "./offline.js";

const root = document.getElementById("count");

/** Addresses of a case, from the pattern that stands in the page. */
function addressesOf(pk) {
  const base = `${root.dataset.base}${pk}/`;
  return { entries: `${base}entries/`, state: `${base}state.json`, sign: `${base}sign/`, bring: base, sheets: `/cases/${pk}/count-sheets/` };
}

class Page {
  constructor(pk, store) {
    this.pk = pk;
    this.store = store;
    this.addresses = addressesOf(pk);
    this.kept = null;
    this.queue = [];
    // Shown already, on their way to the disk.
    this.entering = [];
    this.refused = [];
    this.drafts = new Map();
    this.chosen = null;
    this.panel = null;
    this.pack = null;
    this.online = navigator.onLine;
    this.signedOut = false;
    this.said = null;
    this.held = null;
    this.followed = undefined;
    // Counts what the server has told, so that an older answer never takes the place of a newer one.
    this.turn = 0;
    this.settling = Promise.resolve();
    this.sync = new Sync({ store, addresses: addressesOf, heard: (news) => this.heard(news) });
  }

  async start(given) {
    const known = await this.store.caseState(this.pk);
    // What the server has just written into the page is newer than what was kept; without it this is all there is.
    this.kept = given ?? known;
    if (given) await keepPrepared(this.store, this.pk, given);
    await this.read();
    this.draw();
    this.listen();
    this.go();
  }

  /** What this device holds of the case, with what the server has just told (`kept`) and the keys of entries that
      have reached the disk (`done`). All of it changes at one moment, one reading after the other: no picture lacks
      an entry or shows it twice. */
  read({ kept = null, done = new Set() } = {}) {
    this.settling = this.settling.catch(() => {}).then(async () => {
      const [waiting, refused, drafts] = await Promise.all([
        this.store.waiting(this.pk), this.store.refused(this.pk), this.store.drafts(this.pk),
      ]);
      if (kept) this.kept = kept;
      this.entering = this.entering.filter((row) => !done.has(row.key));
      const entering = new Set(this.entering.map((row) => row.key));
      this.queue = waiting.filter((row) => !entering.has(row.key));
      this.refused = refused;
      for (const [line, taps] of drafts) if (!this.drafts.has(String(line))) this.drafts.set(String(line), taps);
      this.shown = null;
    });
    return this.settling;
  }

  // Drawing

  get view() {
    this.shown ??= withWaiting(this.kept.state, [...this.queue, ...this.entering]);
    const line = lineInHand(this.shown, this.chosen);
    return {
      shown: this.shown, hand: line, taps: line ? this.drafts.get(String(line.pk)) ?? [] : [], panel: this.panel,
      pack: this.pack, people: this.kept.people, outcomes: this.kept.outcomes ?? [], me: this.kept.me,
      online: this.online, signedOut: this.signedOut, refused: this.refused, said: this.said, held: this.held,
      sentFor: this.kept.sent_for ?? [], addresses: this.addresses, now: new Date().toISOString(),
    };
  }

  draw() {
    const made = el("div", { id: "count", class: "counting", ...Object.fromEntries([...root.attributes].filter(({ name }) => name.startsWith("data-")).map(({ name, value }) => [name, value])) });
    if (this.kept?.state) {
      const view = this.view;
      made.append(...[notices(view), board(view), keyBar(view), hand(view, steps(view)), panel(view), packs(view), ending(view)].filter(Boolean));
    }
    lay(root, made);
    this.follow();
    document.title = root.dataset.title || document.title;
  }

  /** Another line is in hand: it comes into sight, above the keys. */
  follow() {
    const line = root.querySelector("#board tr.hand");
    const key = line?.dataset.key ?? null;
    // The page that has just been opened stays at its top.
    if (key !== this.followed && this.followed !== undefined) line?.scrollIntoView({ block: "nearest" });
    this.followed = key;
  }

  redraw() {
    this.shown = null;
    this.draw();
  }

  // What is touched

  listen() {
    root.addEventListener("click", (event) => {
      const button = event.target.closest("button");
      if (!button || button.getAttribute("aria-disabled") === "true") return;
      const { dataset } = button;
      if ("tap" in dataset) this.tap(Number(dataset.tap));
      else if ("undo" in dataset) this.undo();
      else if ("line" in dataset && !("do" in dataset)) this.choose(dataset.line);
      else if ("panel" in dataset) this.show(dataset.panel);
      else if ("let" in dataset) this.letGo(dataset.let);
      else if ("send" in dataset) this.sendHeld();
      else if ("do" in dataset) this.act(dataset.do, dataset);
    });
    root.addEventListener("submit", (event) => {
      event.preventDefault();
      const form = event.target;
      const given = Object.fromEntries(new FormData(form, event.submitter));
      if (form.dataset.form === "step" && !given.done && !given.note.trim()) {
        // What is left out is left out with a reason.
        form.elements.note.required = true;
        form.reportValidity();
        return;
      }
      this.act(form.dataset.form, form.dataset, given);
    });
    root.addEventListener("change", (event) => {
      if (event.target.dataset.choose === "pack") {
        this.pack = event.target.value;
        this.draw();
      }
    });
    addEventListener("online", () => this.go());
    addEventListener("offline", () => this.away());
    document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && this.go());
    // A scan on this page has done something on the server.
    document.body.addEventListener("worked", () => this.go());
    setInterval(() => this.go(), Number(root.dataset.every) || 15000);
  }

  tap(step) {
    const { hand: line, taps } = this.view;
    if (line) this.keepTaps(line, [...taps, step]);
  }

  undo() {
    const { hand: line, taps } = this.view;
    if (line) this.keepTaps(line, taps.slice(0, -1));
  }

  keepTaps(line, taps) {
    this.chosen = line.pk;
    this.drafts.set(String(line.pk), taps);
    this.draw();
    this.store.keepDraft(this.pk, String(line.pk), taps);
  }

  choose(line) {
    this.chosen = line;
    this.draw();
  }

  show(name) {
    this.panel = this.panel === name ? null : name;
    this.draw();
    if (this.panel) document.getElementById("panel")?.querySelector("input, select, button")?.focus();
  }

  /** One act of the page: made into an entry, kept, shown, and sent when that is possible. */
  async act(name, dataset, given = {}) {
    const made = ACTS[name]?.(this, this.view, dataset, given);
    if (!made) return;
    this.said = null;
    const rows = (Array.isArray(made) ? made : [made]).map((entry) => this.row(entry));
    this.entering.push(...rows);
    this.redraw();
    for (const { draft = null, ...row } of rows) await this.store.enter(row, draft);
    await this.read({ done: new Set(rows.map((row) => row.key)) });
    this.redraw();
    this.go();
  }

  row(entry) {
    const { me } = this.kept;
    return { case: this.pk, key: newKey(), at: new Date().toISOString(), by: me.pk, by_name: me.name, ...entry };
  }

  async letGo(key) {
    await this.store.letGo(key);
    this.refused = await this.store.refused(this.pk);
    this.redraw();
  }

  async sendHeld() {
    await this.store.sendAs(this.queue.filter((row) => row.by !== this.kept.me.pk), this.kept.me.pk);
    this.held = null;
    this.go();
  }

  // The server

  /** Send what waits, then ask how the count stands. */
  async go() {
    await this.sync.now();
    if (!this.online && !navigator.onLine) return;
    const turn = ++this.turn;
    try {
      const told = await askState(this.addresses.state);
      this.sync.token = told.token;
      if (turn === this.turn) await this.took(told);
    } catch (error) {
      this.failed(error);
    }
  }

  async took(told) {
    this.online = true;
    this.signedOut = false;
    await keepPrepared(this.store, this.pk, told);
    await this.read({ kept: told });
    if (!this.queue.some((row) => row.by !== told.me.pk)) this.held = null;
    if (!this.busy()) this.redraw();
  }

  /** While somebody types in a form, the page under the hand stays as it is. */
  busy() {
    const field = document.activeElement;
    return root.contains(field) && field.matches("input, select, textarea") && Boolean(field.value);
  }

  async heard(news) {
    if (news.taken) {
      this.turn += 1;
      if (news.pk !== this.pk) return;
      await keepPrepared(this.store, this.pk, news.told);
      this.online = true;
      this.signedOut = false;
      const found = news.taken.find((one) => one.result === "conflict" || one.result === "refused");
      if (found) this.said = found;
      this.held = news.taken.find((one) => one.result === "held") ?? null;
      await this.read({ kept: news.told });
      this.redraw();
    } else if (news.error) {
      this.failed(news.error);
    }
  }

  failed(error) {
    if (error.name === "Held") return;
    this.online = error.name !== "Away";
    this.signedOut = error.name === "SignedOut";
    if (error.told?.sentence) this.said = { result: "refused", said: error.told.sentence, next_step: error.told.next_step };
    this.redraw();
  }

  nameOf(pk) {
    return this.kept.people.find((one) => one.pk === pk)?.name ?? "";
  }

  away() {
    this.online = false;
    this.redraw();
  }
}

/** Each act of the page as the entry that is sent; null where there is nothing to enter. */
const ACTS = {
  count(page, { shown, hand: line, taps }, dataset, given) {
    const own = given.counted === undefined ? line : shown.lines.find((one) => String(one.pk) === dataset.line);
    const value = given.counted === undefined ? tapped(taps) : Number(given.counted);
    if (!own || shown.current === null || !Number.isInteger(value) || (given.counted === undefined && !taps.length)) return null;
    page.drafts.delete(String(own.pk));
    if (given.counted === undefined && firstCount(shown) && own.pack === null) {
      // The first count is of what lies there: it adds to what there should be.
      page.chosen = null;
      return { kind: "add", line: own.pk, quantity: value, as_found: value % own.multiple !== 0, draft: `${page.pk}:${own.pk}` };
    }
    if (given.counted === undefined) page.chosen = value === own.should_be ? null : own.pk;
    return { kind: "count", stage: shown.current, line: own.pk, counted: value, seen: own.newest[shown.current] ?? null, draft: `${page.pk}:${own.pk}` };
  },
  accept: (_page, { shown }, { pack }) => ({ kind: "accept", stage: shown.current, packs: [Number(pack)], seen: newestOf(shown) }),
  recount(page, { shown }, { klass }) {
    page.chosen = shown.lines.find((line) => line.klass === klass && line.pack === null)?.pk ?? null;
    return { kind: "recount", stage: shown.current, klass };
  },
  none: (_page, { shown, hand, taps }) => noneOf(shown).filter((line) => !(taps.length && line === hand)).map((line) => ({ kind: "count", stage: shown.current, line: line.pk, counted: 0, seen: line.newest[shown.current] ?? null })),
  correct: (_page, _view, { added }) => ({ kind: "correct", added: numberOrKey(added), reason: "slip" }),
  fragment(page, _view, _dataset, { broken, pieces }) {
    page.panel = null;
    return { kind: "fragment", broken: numberOrKey(broken), pieces: Number(pieces), name: "" };
  },
  left_in(page, _view, _dataset, { line, quantity, plan, decided_by }) {
    page.panel = null;
    return { kind: "left_in", line: numberOrKey(line), quantity: Number(quantity), plan: plan.trim(), decided_by: decided_by.trim() };
  },
  packet(page, _view, _dataset, { line, found, lot }) {
    page.panel = null;
    return { kind: "packet", line: numberOrKey(line), found: Number(found), lot: lot.trim() };
  },
  add: (_page, { shown }, { line, quantity }) => ({ kind: "add", line: keyOf(shown, line), quantity: Number(quantity) }),
  add_other(page, _view, _dataset, { name, klass, quantity }) {
    page.panel = null;
    return { kind: "new_line", name: name.trim(), klass, quantity: Number(quantity) };
  },
  discrepancy: (_page, { shown }, { line }) => ({ kind: "discrepancy", stage: shown.current, line: keyOf(shown, line) }),
  step: (_page, _view, { discrepancy, number }, { note, done }) => ({ kind: "step", discrepancy: numberOrKey(discrepancy), number: Number(number), done: Boolean(done), note: note.trim() }),
  settle(_page, _view, { discrepancy }, { outcome, note, report, second }) {
    return { kind: "settle", discrepancy: numberOrKey(discrepancy), outcome, note: note.trim(), report: report.trim(), second: Number(second) };
  },
  begin(page, { shown }, { stage }, { scrub, circulating }) {
    page.chosen = null;
    return [...named(page, shown, scrub, circulating), { kind: "begin", stage: numberOrKey(stage) }];
  },
  close(page, _view, { stage }, { scrub, circulating }) {
    page.chosen = page.panel = null;
    return { kind: "close", stage: numberOrKey(stage), scrub: Number(scrub), circulating: Number(circulating) };
  },
  not_done(page, _view, { stage }, { reason, decided_by, follow_up }) {
    page.panel = null;
    return { kind: "not_done", stage: numberOrKey(stage), reason: reason.trim(), decided_by: decided_by.trim(), follow_up: follow_up.trim() };
  },
  hand_over(page, _view, _dataset, { seat, to }) {
    page.panel = null;
    return { kind: "hand_over", word: say("hand_over_count"), seat, to: Number(to), to_name: page.nameOf(Number(to)) };
  },
  extra: () => ({ kind: "extra", word: say("extra") }),
  pause(page, _view, { klass }, { reason }) {
    page.panel = null;
    return { kind: "pause", klass, reason: reason.trim() };
  },
  resume: () => ({ kind: "resume" }),
};

/** The newest entry of the stage under way that this device has heard of. */
function newestOf(shown) {
  return Math.max(0, ...shown.lines.map((line) => line.newest[shown.current] ?? 0));
}

/** Who counts, if that is not what is on file yet. */
function named(page, shown, scrub, circulating) {
  const given = { scrub: Number(scrub), circulating: Number(circulating) };
  if (shown.scrub?.pk === given.scrub && shown.circulating?.pk === given.circulating) return [];
  return [{ kind: "counters", ...given, scrub_name: page.nameOf(given.scrub), circulating_name: page.nameOf(given.circulating) }];
}

/** A row's key is a number; of one that was made on this device and has not gone up yet, the key of its entry. */
function numberOrKey(given) {
  return /^\d+$/.test(given) ? Number(given) : given;
}

function keyOf(shown, line) {
  return shown.lines.find((one) => String(one.pk) === line)?.pk ?? numberOrKey(line);
}

async function start() {
  speak(JSON.parse(root.dataset.words));
  const store = await Store.open();
  const [, pk, page] = location.pathname.match(/^\/theatre\/(\d+)\/(\w*)/) ?? [];
  const given = root.dataset.picture ? JSON.parse(root.dataset.picture) : null;
  const kept = pk && page === "count" ? given ?? (await store.caseState(Number(pk))) : null;
  if (!kept?.state) {
    lay(root, await withoutCase(root, store));
    return;
  }
  clockOf(kept.state.zone);
  await new Page(Number(pk), store).start(given);
}

if (root) start();
