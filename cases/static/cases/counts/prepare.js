/* Prepares this device while there is a network: the shell by the service worker, an open case in IndexedDB. What is over
   is wiped. Loaded by every page of the theatre. */

import { askState } from "./sync.js";
import { Store } from "./store.js";

/** Keep what the server told of a case; one that is over leaves this device, as soon as nothing of it waits. */
export async function keepPrepared(store, pk, told) {
  if (told.state && !told.closed) await store.keepCase(pk, told);
  else if (!(await store.waiting(pk)).length) await store.wipe(pk);
}

/** Ask anew for every case that is kept here: what was closed elsewhere goes. */
async function askAll(store, base) {
  for (const { pk } of await store.allCases()) {
    try {
      await keepPrepared(store, pk, await askState(`${base}${pk}/state.json`));
    } catch (error) {
      // Not there any more, or not for whoever is signed in now.
      if (error.told && !(await store.waiting(pk)).length) await store.wipe(pk);
    }
  }
}

async function prepare(here) {
  // Only on a secure page; elsewhere the pages work as long as the network does.
  await navigator.serviceWorker?.register(here.dataset.worker, { scope: here.dataset.base });
  const store = await Store.open();
  await askAll(store, here.dataset.base);
  const pk = Number(here.dataset.case);
  if (pk) await keepPrepared(store, pk, await askState(`${here.dataset.base}${pk}/state.json`));
}

const here = document.getElementById("prepare");
if (here) prepare(here).catch(() => {});
