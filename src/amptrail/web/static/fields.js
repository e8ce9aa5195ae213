// @ts-check
/** A sheet filled in field by field: each goes into the text of the sheet as it is filled, and the drawing follows. */

import { SheetEditor } from "./elements.js";
import { told } from "./problem.js";

const HALF_MS = 300; // after the last key; leaving the field does not wait
const TYPED_MS = 800;

/** @typedef {HTMLInputElement | HTMLSelectElement | HTMLFieldSetElement} Said */

export class SheetFields extends HTMLElement {
  /** @type {ReturnType<typeof setTimeout> | undefined} */ later;
  /** @type {ReturnType<typeof setTimeout> | undefined} */ typed;
  filling = false;
  turn = Promise.resolve();
  /** @type {Map<string, string>} what each field has sent last */ sent = new Map();

  connectedCallback() {
    this.area = /** @type {HTMLTextAreaElement | null} */ (document.querySelector("#sheet"));
    if (!this.area) return;
    this.addEventListener("input", (e) => { clearTimeout(this.later); this.later = setTimeout(() => this.said(e.target, false), HALF_MS); });
    this.addEventListener("change", (e) => { clearTimeout(this.later); this.said(e.target, true); });
    this.area.addEventListener("input", () => {
      if (this.filling) return;
      clearTimeout(this.typed);
      this.typed = setTimeout(() => this.show(), TYPED_MS);
    });
    if (this.area.value) this.show();
  }

  /** The fields anew for the text as it stands; what was open stays open. */
  async show() {
    const key = /** @type {HTMLInputElement | null} */ (document.querySelector("input[name=key]"))?.value || "";
    try {
      const answer = await fetch("/fields", { method: "POST", body: new URLSearchParams({ sheet: this.area?.value || "", key }) });
      if (!answer.ok) return;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const open = [...this.querySelectorAll("details[open]")].map((d) => d.getAttribute("data-of"));
      for (const d of page.querySelectorAll("details")) d.open = open.includes(d.getAttribute("data-of"));
      this.replaceChildren(...page.body.childNodes);
      this.sent.clear();
    } catch { /* the text can be typed all the same */ }
  }

  /** @param {EventTarget | null} target @param {boolean} left whether the field was left: then what is wrong is told */
  said(target, left) {
    const at = /** @type {Said | null} */ (target instanceof Element ? target.closest("[data-attribute]") : null);
    if (at) this.turn = this.turn.then(() => this.fill(at, left));
  }

  /** @param {Said} at @param {boolean} left */
  async fill(at, left) {
    const { part, attribute } = at.dataset, area = this.area;
    if (!area || !part || !attribute) return;
    const typed = at instanceof HTMLFieldSetElement
      ? [...at.querySelectorAll("input:checked")].map((i) => /** @type {HTMLInputElement} */ (i).value).join(", ") : at.value;
    const below = at.closest(".field")?.querySelector(".problem");
    if (!(below instanceof HTMLElement)) return;
    const known = `${part} ${attribute}`;
    if (this.sent.get(known) === typed && below.hidden) return;
    try {
      const asked = area.value;
      const answer = await fetch("/api/fill", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ sheet: asked, part, attribute, typed }) });
      const got = await answer.json();
      if (area.value !== asked) { await this.fill(at, left); return; } // typed in the text meanwhile: into that text
      if (!answer.ok) { this.wrong(at, below, left ? got.problems || [] : []); return; }
      this.wrong(at, below, []);
      this.sent.set(known, typed);
      if (got.sheet === area.value) return;
      area.value = got.sheet;
      this.filling = true; // the draft is kept as of typed text, the fields stay under the finger
      area.dispatchEvent(new Event("input", { bubbles: true }));
      this.filling = false;
      const said = at.closest("details.part")?.querySelector(".said");
      if (said) said.textContent = got.part.said || "nothing said yet";
      const editor = document.querySelector("sheet-editor");
      if (editor instanceof SheetEditor) await editor.check(area.value, part);
    } catch { below.textContent = "no connection to the laptop: type it again when it is back"; below.hidden = false; }
  }

  /** @param {Said} at @param {HTMLElement} below @param {import("./problem.js").Problem[]} problems */
  wrong(at, below, problems) {
    const p = problems[0];
    below.hidden = !p;
    below.textContent = p ? told(p, "In the sheet, line") : "";
    if (p) at.setAttribute("aria-invalid", "true"); else at.removeAttribute("aria-invalid");
  }
}
