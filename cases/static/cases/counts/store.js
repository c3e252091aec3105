/* What this device keeps: the case as the server last told it, entries that wait to go up, taps not entered yet.
   IndexedDB, so that a closed tab or an empty battery loses nothing. A closed case is wiped. */

const NAME = "trayspan-counts";
const STORES = {
  // The case as the server last told it: {pk, state, said_at}.
  cases: { keyPath: "pk" },
  // Entries in the order in which they were made: {seq, case, key, kind, at, by, …}.
  queue: { keyPath: "seq", autoIncrement: true },
  // Taps that were not entered yet: {id: "case:line", case, taps}.
  drafts: { keyPath: "id" },
  // Entries that the server did not take, with what it said: {key, case, said, …}.
  refused: { keyPath: "key" },
  // One row: {id: "device", value}.
  self: { keyPath: "id" },
};

function promised(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

function finished(transaction) {
  return new Promise((resolve, reject) => {
    transaction.oncomplete = () => resolve();
    transaction.onabort = transaction.onerror = () => reject(transaction.error);
  });
}

/** Thirty-two figures that nobody else has; also on a page without TLS, where randomUUID is not offered. */
export function newKey() {
  if (globalThis.crypto?.randomUUID) return crypto.randomUUID();
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

export class Store {
  static async open() {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      for (const [name, options] of Object.entries(STORES)) request.result.createObjectStore(name, options);
    };
    return new Store(await promised(request));
  }

  constructor(database) {
    this.database = database;
  }

  /** Work on some stores in one transaction that is on the disk when this returns. */
  async #write(names, work) {
    const transaction = this.database.transaction(names, "readwrite", { durability: "strict" });
    const end = finished(transaction);
    work(...names.map((name) => transaction.objectStore(name)));
    await end;
  }

  #read(name) {
    return this.database.transaction(name).objectStore(name);
  }

  async #of(name, casePk) {
    const rows = await promised(this.#read(name).getAll());
    return rows.filter((row) => row.case === casePk);
  }

  /** The name of this device: made once, kept as long as the browser keeps its data. */
  async device() {
    const row = await promised(this.#read("self").get("device"));
    if (row) return row.value;
    const value = newKey();
    await this.#write(["self"], (self) => self.put({ id: "device", value }));
    return value;
  }

  async caseState(pk) {
    return (await promised(this.#read("cases").get(pk)))?.state ?? null;
  }

  async allCases() {
    return promised(this.#read("cases").getAll());
  }

  async keepCase(pk, state) {
    await this.#write(["cases"], (cases) => cases.put({ pk, state, said_at: new Date().toISOString() }));
  }

  /** Nothing of the case stays here. Only for a case of which nothing waits to go up. */
  async wipe(pk) {
    const drafts = await this.#of("drafts", pk);
    const refused = await this.#of("refused", pk);
    await this.#write(["cases", "drafts", "refused"], (cases, ofDrafts, ofRefused) => {
      cases.delete(pk);
      for (const row of drafts) ofDrafts.delete(row.id);
      for (const row of refused) ofRefused.delete(row.key);
    });
  }

  // Entries that wait

  /** Keep an entry until the server has answered it. The taps that made it go in the same transaction. */
  async enter(entry, draft = null) {
    await this.#write(["queue", "drafts"], (queue, drafts) => {
      queue.add(entry);
      if (draft) drafts.delete(draft);
    });
  }

  /** Entries in order, of one case or of all. */
  async waiting(casePk = null) {
    const rows = await promised(this.#read("queue").getAll());
    return casePk === null ? rows : rows.filter((row) => row.case === casePk);
  }

  /** What the server has answered: out of the queue; what it did not take is kept with what it said. */
  async answered(rows, refusals) {
    await this.#write(["queue", "refused"], (queue, refused) => {
      for (const row of rows) queue.delete(row.seq);
      for (const row of refusals) refused.put(row);
    });
  }

  async refused(casePk) {
    return this.#of("refused", casePk);
  }

  async letGo(key) {
    await this.#write(["refused"], (refused) => refused.delete(key));
  }

  /** Somebody else sends these in their own name: said in the entry itself. */
  async sendAs(rows, person) {
    await this.#write(["queue"], (queue) => {
      for (const row of rows) queue.put({ ...row, sent_by: person });
    });
  }

  // Taps

  async drafts(casePk) {
    return new Map((await this.#of("drafts", casePk)).map((row) => [row.line, row.taps]));
  }

  async keepDraft(casePk, line, taps) {
    const id = `${casePk}:${line}`;
    await this.#write(["drafts"], (drafts) => (taps.length ? drafts.put({ id, case: casePk, line, taps }) : drafts.delete(id)));
  }
}
