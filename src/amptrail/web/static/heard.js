// @ts-check
/** Nothing typed is lost to a laptop that is away: a page that is open stays open. */

import { banner } from "./banner.js";

const ASK_MS = 4000;

/** A form outside of a job's own page is sent only when the laptop answers: else the browser would put an error
 * in the place of the page, and what was typed would be gone. */
export function sendOnlyWhenHeard() {
  document.addEventListener("submit", async (e) => {
    const form = /** @type {HTMLFormElement} */ (e.target), button = /** @type {HTMLElement | null} */ (e.submitter);
    if (e.defaultPrevented || form.closest("live-job") || form.dataset.heard) return;
    if (form.method === "get" && navigator.serviceWorker?.controller) return; // a page kept here may answer
    e.preventDefault();
    try {
      await fetch("/static/style.css", { method: "HEAD", cache: "no-store", signal: AbortSignal.timeout(ASK_MS) });
    } catch { banner("no connection to the laptop: nothing was sent, and what is typed stays here"); return; }
    banner("");
    form.dataset.heard = "yes";
    form.requestSubmit(button);
    delete form.dataset.heard;
  });
}
