/* Sends what waits, in order, until the server has answered each entry. An answer that is lost on the way is asked for
   again under the same key, and the server gives it again: so each entry has its effect once. */

const MOST_AT_ONCE = 50;
const SOONEST_MS = 1000;
const LATEST_MS = 30000;

/** Why nothing could be sent: the network, or a session that has ended. */
export class Away extends Error {
  name = "Away";
}
export class Held extends Error {
  name = "Held";
  told = {};
}
export class SignedOut extends Error {
  name = "SignedOut";
}

async function asked(address, options = {}) {
  let answer;
  try {
    answer = await fetch(address, { ...options, redirect: "manual", credentials: "same-origin", cache: "no-store" });
  } catch (error) {
    throw new Away(String(error));
  }
  if (answer.type === "opaqueredirect" || answer.status === 401) throw new SignedOut();
  if (!answer.ok && answer.status >= 500) throw new Away(String(answer.status));
  const told = await answer.json().catch(() => null);
  if (told === null) throw new Away("not readable");
  return { ok: answer.ok, status: answer.status, told };
}

/** The case as the server has it now, with the token for sending. */
export async function askState(address) {
  const { ok, told } = await asked(address, { headers: { Accept: "application/json" } });
  if (!ok) throw Object.assign(new Error(told.sentence ?? ""), { told });
  return told;
}

export class Sync {
  /** `addresses`: {entries, state} for a case's key. `heard(news)` gets what comes of each try. */
  constructor({ store, addresses, heard }) {
    this.store = store;
    this.addresses = addresses;
    this.heard = heard;
    this.token = null;
    this.pause = SOONEST_MS;
    this.going = null;
  }

  /** Send what waits; one at a time, whoever asks. */
  now() {
    this.going ??= this.#oneTab().finally(() => {
      this.going = null;
    });
    return this.going;
  }

  /** Tabs of one device share one queue: only one of them empties it. */
  #oneTab() {
    const work = () => this.#empty();
    return navigator.locks ? navigator.locks.request("trayspan-counts-sync", work) : work();
  }

  async #empty() {
    clearTimeout(this.timer);
    try {
      const device = (this.device ??= await this.store.device());
      for (let rows = await this.#next(); rows.length; rows = await this.#next()) await this.#send(device, rows);
      this.pause = SOONEST_MS;
      this.heard({ sent: true });
    } catch (error) {
      this.heard({ error });
      if (error instanceof Away) this.#later();
      else if (!error.told && !(error instanceof SignedOut)) throw error;
    }
  }

  #later() {
    this.timer = setTimeout(() => this.now(), this.pause);
    this.pause = Math.min(this.pause * 2, LATEST_MS);
  }

  /** The oldest that wait, all of one case, as many as go at once. */
  async #next() {
    const all = await this.store.waiting();
    const first = all[0]?.case;
    const end = all.findIndex((row) => row.case !== first);
    return all.slice(0, Math.min(end < 0 ? all.length : end, MOST_AT_ONCE));
  }

  async #send(device, rows) {
    const pk = rows[0].case;
    const { entries, state } = this.addresses(pk);
    this.token ??= (await askState(state)).token;
    const body = JSON.stringify({ device, entries: rows.map(({ seq, case: _case, ...entry }) => entry) });
    const headers = { "Content-Type": "application/json", Accept: "application/json", "X-CSRFToken": this.token };
    const { ok, status, told } = await asked(entries, { method: "POST", headers, body });
    if (!ok && status === 403) {
      // A token from before somebody signed in again.
      this.token = null;
      if (this.tokenTried) throw Object.assign(new Error(told.sentence ?? ""), { told });
      this.tokenTried = true;
      return;
    }
    this.tokenTried = false;
    if (!ok) throw Object.assign(new Error(told.sentence ?? ""), { told });
    await this.#take(pk, rows, told);
  }

  async #take(pk, rows, told) {
    const by = new Map(told.taken.map((one) => [one.key, one]));
    const done = rows.filter((row) => by.has(row.key));
    const refusals = done
      .filter((row) => by.get(row.key).result === "refused")
      .map((row) => ({ ...row, said: by.get(row.key).said, next_step: by.get(row.key).next_step }));
    const held = new Set(told.taken.filter((one) => one.result === "held").map((one) => one.key));
    const gone = done.filter((row) => !held.has(row.key));
    await this.store.answered(gone, refusals);
    this.token = told.token;
    await this.heard({ taken: told.taken, told, pk });
    // Another person's entries wait for them, and later ones behind these.
    if (held.size) throw new Held();
    if (!done.length) throw new Away("nothing was answered");
  }
}
