// @ts-check
/** With --tls only: what was seen once is shown again when the laptop is away. The network always comes first. */

const CACHE = "amptrail", WAIT_MS = 8000;
/** @typedef {Event & {waitUntil(done: Promise<unknown>): void}} Lasting */
/** @typedef {Event & {request: Request, respondWith(answer: Promise<Response>): void}} Fetched */
/** @typedef {{skipWaiting(): Promise<void>, clients: {claim(): Promise<void>},
 *   addEventListener<K extends "install" | "activate" | "fetch">(kind: K, hear: (e: K extends "fetch" ? Fetched : Lasting) => void): void}} Worker */
const worker = /** @type {Worker} */ (/** @type {unknown} */ (self));

worker.addEventListener("install", () => worker.skipWaiting());
worker.addEventListener("activate", (e) => e.waitUntil(worker.clients.claim()));
worker.addEventListener("fetch", (e) => {
  const asked = e.request, url = new URL(asked.url);
  if (asked.method !== "GET" || url.origin !== location.origin || url.pathname.startsWith("/api/")) return;
  e.respondWith(fresh(asked));
});

/** @param {Request} asked */
async function fresh(asked) {
  const kept = await caches.open(CACHE);
  const known = await kept.match(asked, { ignoreVary: true });
  const page = asked.mode === "navigate"; // what scripts ask for must be news, or fail
  try {
    const answer = await fetch(asked, page && known ? { signal: AbortSignal.timeout(WAIT_MS) } : undefined);
    if (answer.ok && answer.type === "basic" && !answer.redirected) await kept.put(asked, answer.clone());
    return answer;
  } catch (failed) {
    if (known && (page || asked.destination)) return known;
    const doors = page ? await kept.match("/", { ignoreVary: true }) : undefined;
    if (doors) return doors;
    throw failed;
  }
}
