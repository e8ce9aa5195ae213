// @ts-check
/** Small elements: figures for a glove, the visits side by side, the sheet checked while it is typed. */

import { told } from "./problem.js";

/** Figures to tap with a glove: no keyboard jumps up. */
export class NumberPad extends HTMLElement {
  connectedCallback() {
    const input = this.querySelector("input");
    // Enter is the first key of this pad, not the first answer of the form
    input?.addEventListener("keydown", (e) => { if (e.key === "Enter") { e.preventDefault(); /** @type {HTMLElement | null} */ (this.querySelector("button.unit"))?.click(); } });
    if (!input || this.querySelector(".pad") || !matchMedia("(pointer: coarse)").matches) return;
    input.readOnly = true;
    const pad = document.createElement("div");
    pad.className = "pad";
    for (const key of ["7", "8", "9", "⌫", "4", "5", "6", "±", "1", "2", "3", ".", "0"]) {
      const b = document.createElement("button");
      b.type = "button"; b.textContent = key; if (key === "0") b.className = "wide"; b.setAttribute("aria-label", { "±": "sign", "⌫": "delete", ".": "point" }[key] || key);
      b.addEventListener("click", () => {
        if (key === "⌫") input.value = input.value.slice(0, -1);
        else if (key === "±") input.value = input.value.startsWith("-") ? input.value.slice(1) : "-" + input.value;
        else if ((key !== "." || !input.value.includes(".")) && input.value.length < 9) input.value += key;
      });
      pad.append(b);
    }
    pad.append(...this.querySelectorAll("button.unit"));
    input.after(pad);
  }
}

/** The units of a reading typed whole, to tap after its figures. */
export class UnitKeys extends HTMLElement {
  connectedCallback() {
    const line = document.getElementById(this.dataset.for || "");
    if (!(line instanceof HTMLInputElement) || this.childElementCount) return;
    for (const [words, unit] of [["V", "V"], ["mV", "mV"], ["Ω", "ohm"], ["A", "A"], ["s", "s"]]) {
      const b = document.createElement("button");
      b.type = "button"; b.textContent = words;
      b.addEventListener("click", () => { line.value = `${line.value.trimEnd()} ${unit}${unit === "s" && line.value.includes(" lit ") ? " then dark" : ""} `; line.focus(); });
      this.append(b);
    }
  }
}

const DECK_PX = 12; // the margins of a card, and its border on the last row

/** The visits side by side: one swipe, or one tap below. The deck is as high as the visit it shows. */
export class VisitDeck extends HTMLElement {
  connectedCallback() {
    this.deck = /** @type {HTMLElement | null} */ (this.querySelector(".deck"));
    if (!this.deck) return;
    this.deck.addEventListener("scroll", () => this.settle(), { passive: true });
    this.watch = new ResizeObserver(() => this.settle());
    for (const s of this.deck.children) this.watch.observe(s);
    this.addEventListener("click", (e) => this.chosen(e));
  }

  disconnectedCallback() { this.watch?.disconnect(); }

  /** @param {Event} e */
  chosen(e) {
    const link = /** @type {HTMLElement} */ (e.target).closest?.("nav a");
    const to = link && this.querySelector(link.getAttribute("href") || "x");
    if (!(to instanceof HTMLElement) || !this.deck) return;
    e.preventDefault();
    this.deck.scrollTo({ left: to.offsetLeft - this.deck.offsetLeft, behavior: "instant" });
    this.scrollIntoView({ block: "start" });
  }

  settle() {
    const deck = this.deck;
    if (!deck?.firstElementChild) return;
    const width = deck.firstElementChild.getBoundingClientRect().width || 1;
    const at = Math.round(deck.scrollLeft / width);
    const shown = deck.children[Math.min(at, deck.children.length - 1)];
    deck.style.height = `${shown.getBoundingClientRect().height + DECK_PX}px`;
    this.querySelectorAll("nav a").forEach((a, k) => { if (k === at) a.setAttribute("aria-current", "true"); else a.removeAttribute("aria-current"); });
  }
}

/** @typedef {{point: string, x_px: number, y_px: number}} Point of a drawing, in its own units */

/** The sheet checked while it is typed, and drawn as it grows. */
export class SheetEditor extends HTMLElement {
  /** @type {ReturnType<typeof setTimeout> | undefined} */ later;

  connectedCallback() {
    const area = this.querySelector("textarea"), form = this.closest("form");
    if (!area || !form) return;
    const draft = `amptrail-draft ${location.pathname}${location.search}`;
    const said = /** @type {NodeListOf<HTMLInputElement | HTMLTextAreaElement>} */ (form.querySelectorAll("input:not([type=hidden]), textarea"));
    // a reload, or a call in between, loses nothing typed; what the server sends back as refused is newer
    if (!document.querySelector(".problem")) {
      const kept = JSON.parse(sessionStorage.getItem(draft) || "{}");
      for (const i of said) if (kept[i.name] !== undefined) i.value = kept[i.name];
    }
    form.addEventListener("input", () => sessionStorage.setItem(draft, JSON.stringify(Object.fromEntries([...said].map((i) => [i.name, i.value])))));
    form.addEventListener("submit", () => { if (form.dataset.heard) sessionStorage.removeItem(draft); });
    area.addEventListener("input", () => { clearTimeout(this.later); this.later = setTimeout(() => this.check(area.value), 600); });
    if (area.value) this.check(area.value);
  }

  /** @param {string} sheet @param {string} [part] what was filled in: the drawing is shown there */
  async check(sheet, part) {
    clearTimeout(this.later);
    const live = this.querySelector(".live");
    if (!live) return;
    try {
      const answer = await fetch("/api/check", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ sheet }) });
      const got = await answer.json();
      const rows = (got.problems || []).filter((/** @type {{severity?: string}} */ p) => (p.severity || "error") === "error");
      live.textContent = rows.length
        ? rows.slice(0, 5).map((/** @type {import("./problem.js").Problem} */ p) => told(p, "Line")).join("\n")
        : `sound: ${got.counts ? got.counts.parts : 0} parts`;
      if (!rows.length) await this.draw(sheet, part);
    } catch { live.textContent = "no connection: not checked"; }
  }

  /** @param {string} sheet @param {string} [part] */
  async draw(sheet, part) {
    const place = document.querySelector("#grown");
    if (!place) return;
    const answer = await fetch("/api/draw", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ sheet }) });
    if (!answer.ok) return;
    const picture = document.createElement("img"), { svg, points, metrics } = await answer.json();
    picture.alt = "drawing of the circuit";
    picture.src = URL.createObjectURL(new Blob([svg], { type: "image/svg+xml" }));
    picture.onload = () => {
      URL.revokeObjectURL(picture.src);
      const left = place.scrollLeft, top = place.scrollTop;
      place.replaceChildren(picture);
      place.scrollTo(left, top);
      const at = part && points.find((/** @type {Point} */ p) => p.point.startsWith(`${part.split(".")[0]}.`));
      if (at) this.look(place, picture, metrics.width_px, at);
    };
  }

  /** @param {Element} place @param {HTMLImageElement} picture @param {number} wide of the drawing @param {Point} at */
  look(place, picture, wide, at) {
    const k = picture.clientWidth / wide;
    place.scrollTo(at.x_px * k - place.clientWidth / 2, at.y_px * k - place.clientHeight / 2);
  }
}
