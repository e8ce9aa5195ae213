// @ts-check
/** Keeps this page and its files on the phone, so that it can be loaded again without the laptop. A plain-http
 * address on a local network is no secure context: there is no such thing there, and nothing is promised. */

export async function keepHere() {
  if (location.protocol !== "https:" || !("serviceWorker" in navigator)) return;
  try {
    await navigator.serviceWorker.register("/sw.js");
    await navigator.serviceWorker.ready;
    const files = performance.getEntriesByType("resource").map((r) => new URL(r.name)).filter((u) => u.origin === location.origin && u.pathname.startsWith("/static/"));
    const kept = await caches.open("amptrail");
    await kept.addAll([...new Set(["/", location.href, ...files.map((u) => u.href)])]);
    document.documentElement.dataset.kept = "yes";
  } catch { /* a certificate that this phone does not trust: the page works, reloading needs the laptop */ }
}
