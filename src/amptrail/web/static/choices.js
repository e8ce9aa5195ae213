// @ts-check
/** The choices of the circuit screen (state, instrument, fault, feed, trail): the drawing answers where it
 * stands, without a page load; zoom, place and the tapped point stay. */

import { anew } from "./anew.js";
import { banner } from "./banner.js";
import { CircuitDrawing } from "./drawing.js";

export class CircuitChoices extends HTMLElement {
  /** @type {AbortController | undefined} */ asking;
  /** @type {Record<string, string>} */ ends = {}; // of a feed that is tapped together
  back = () => this.ask(location.href);

  connectedCallback() {
    this.addEventListener("submit", (e) => this.chosen(/** @type {SubmitEvent} */ (e)));
    this.addEventListener("click", (e) => this.ended(e.target));
    window.addEventListener("popstate", this.back);
  }

  disconnectedCallback() { window.removeEventListener("popstate", this.back); }

  /** One end of a feed is the point that was tapped; with both ends the drawing shows it. @param {EventTarget | null} target */
  ended(target) {
    const end = target instanceof HTMLElement && target.dataset.end, feed = this.querySelector("#feed");
    const drawing = this.querySelector("circuit-drawing");
    if (!end || !(feed instanceof HTMLInputElement) || !(drawing instanceof CircuitDrawing)) return;
    const row = [...this.querySelectorAll("tr[data-point]")].find((r) => r.getAttribute("data-point") === drawing.told);
    this.ends[end] = row?.getAttribute("data-written") || drawing.told;
    const { from, to } = this.ends;
    feed.value = `from ${from || "…"} to ${to || "…"} fuse 10 A`;
    if (from && to) { this.ends = {}; feed.form?.requestSubmit(); } else banner(`feed ${end} ${this.ends[end]}: now tap the other end`);
  }

  /** @param {SubmitEvent} e */
  async chosen(e) {
    const form = /** @type {HTMLFormElement} */ (e.target), button = e.submitter;
    if (form.method !== "get") return;
    e.preventDefault();
    const said = new URLSearchParams();
    for (const [k, v] of new FormData(form)) said.set(k, String(v));
    if (button instanceof HTMLButtonElement && button.name) said.set(button.name, button.value);
    const to = `${form.action}?${said}`;
    if (await this.ask(to)) history.pushState(null, "", to);
  }

  /** @param {string} to @returns {Promise<boolean>} whether it is shown */
  async ask(to) {
    this.asking?.abort();
    const asking = this.asking = new AbortController();
    this.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(to, { headers: { accept: "text/html" }, signal: asking.signal });
      const page = anew(await answer.text()), found = page.querySelector("circuit-choices");
      if (!answer.ok || !found) { banner(page.querySelector(".problem")?.textContent?.trim() || `not shown (${answer.status})`); return false; }
      banner("");
      this.take(found);
      return true;
    } catch (failed) {
      if (/** @type {Error} */ (failed).name !== "AbortError") banner("no connection to the laptop: the drawing stays as it is");
      return false;
    } finally { if (this.asking === asking) this.removeAttribute("aria-busy"); }
  }

  /** @param {Element} found */
  take(found) {
    const old = this.querySelector("circuit-drawing"), open = [...this.querySelectorAll("details")].map((d) => d.open);
    const [scale, left, top, point] = old instanceof CircuitDrawing ? [old.scale, old.scrollLeft, old.scrollTop, old.told] : [1, 0, 0, ""];
    const focused = document.activeElement, name = focused?.getAttribute("name"), value = focused?.getAttribute("value");
    this.replaceChildren(...found.childNodes);
    [...this.querySelectorAll("details")].forEach((d, k) => { d.open = open[k] || d.open; });
    const drawing = this.querySelector("circuit-drawing");
    if (drawing instanceof CircuitDrawing) {
      if (point) drawing.tell(point);
      drawing.zoom(scale);
      drawing.scrollLeft = left; drawing.scrollTop = top;
    }
    const same = name && [...this.querySelectorAll(`[name="${name}"]`)].find((b) => b.getAttribute("value") === value && !(b instanceof HTMLInputElement && b.type === "hidden"));
    if (same instanceof HTMLElement) same.focus({ preventScroll: true });
  }
}
