// @ts-check
/** Readings that wait for the laptop: kept in the browser's database, delivered once and in order. */

const NAME = "amptrail", STORE = "waiting", AT_ONCE = 100;

/** @returns {Promise<IDBDatabase>} */
function open() {
  return new Promise((done, fail) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore(STORE, { keyPath: "n", autoIncrement: true });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => fail(asked.error);
  });
}

/**
 * @template T
 * @param {IDBTransactionMode} mode
 * @param {(s: IDBObjectStore) => IDBRequest<T>} act
 * @returns {Promise<T>}
 */
async function within(mode, act) {
  const base = await open();
  return new Promise((done, fail) => {
    const t = base.transaction(STORE, mode);
    const asked = act(t.objectStore(STORE));
    t.oncomplete = () => { base.close(); done(asked.result); };
    t.onerror = () => { base.close(); fail(t.error); };
  });
}

/** An id of this device's own making. @returns {string} */
export function fresh() {
  const bytes = crypto.getRandomValues(new Uint8Array(9));
  return "p" + Array.from(bytes, (b) => b.toString(36).padStart(2, "0")).join("");
}

/** @param {string} job @param {{id: string, kind: string, line: string}} said */
export function keep(job, said) { return within("readwrite", (s) => s.add({ job, ...said })); }

/** Forgets one that was never sent. @param {number} n */
export function drop(n) { return within("readwrite", (s) => s.delete(n)); }

/** @param {string} job @returns {Promise<{n: number, job: string, id: string, kind: string, line: string}[]>} */
export async function waiting(job) {
  const all = await within("readonly", (s) => s.getAll());
  return all.filter((/** @type {{job: string}} */ e) => e.job === job);
}

/** Sends what waits, in order; forgets it only when the laptop has said that it is kept.
 * @param {string} job @returns {Promise<{sent: number, refused: {id: string, message: string, nearest?: string | null, remedy: string, line: string}[]}>} */
export async function deliver(job) {
  const all = (await waiting(job)).slice(0, AT_ONCE);
  if (!all.length) return { sent: 0, refused: [] };
  const answer = await fetch(`/api/jobs/${encodeURIComponent(job)}/entries`, {
    method: "POST", headers: { "content-type": "application/json" },
    body: JSON.stringify({ entries: all.map(({ id, kind, line }) => ({ id, kind: kind || "reading", line })) }),
  });
  if (!answer.ok) throw new Error(String(answer.status));
  const got = await answer.json();
  for (const e of all) await within("readwrite", (s) => s.delete(e.n));
  const words = new Map(all.map((e) => [e.id, e.line]));
  return { sent: got.added.length, refused: got.refused.map((/** @type {{id: string, message: string, remedy: string}} */ r) => ({ ...r, line: words.get(r.id) || "" })) };
}
