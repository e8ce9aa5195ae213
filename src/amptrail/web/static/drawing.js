// @ts-check
/** The drawing: pan with one finger, zoom with two or with the buttons, tap near a terminal to see what it
 * reads and to enter what was read there. */

const NEAR_PX = 24; // for thick fingers
const STEP = 1.4, LEAST = 0.3, MOST = 5;

export class CircuitDrawing extends HTMLElement {
  /** @type {SVGSVGElement | null} */ svg = null;
  /** @type {{far: number, x: number, y: number} | undefined} */ pinch;
  scale = 1;
  natural = 600;
  told = ""; // the point that was tapped last

  connectedCallback() {
    this.svg = this.querySelector("svg");
    const box = this.svg?.viewBox.baseVal;
    this.natural = Number(this.svg?.getAttribute("width")) || box?.width || 600;
    this.addEventListener("click", (e) => this.tapped(e.clientX, e.clientY));
    this.addEventListener("keydown", (e) => {
      const focused = document.activeElement?.closest("[data-point]");
      if ((e.key === "Enter" || e.key === " ") && focused) { this.tell(focused.getAttribute("data-point") || ""); e.preventDefault(); }
      if (e.key === "+" || e.key === "-") { this.zoom(e.key === "+" ? STEP : 1 / STEP); e.preventDefault(); }
    });
    this.addEventListener("touchstart", (e) => { if (e.touches.length === 2) this.pinch = this.spread(e.touches); }, { passive: true });
    this.addEventListener("touchmove", (e) => this.pinched(e), { passive: false });
    this.addEventListener("touchend", () => { this.pinch = undefined; });
    this.addEventListener("wheel", (e) => { if (e.ctrlKey) { e.preventDefault(); this.zoom(e.deltaY < 0 ? 1.1 : 1 / 1.1, e.clientX, e.clientY); } }, { passive: false });
    this.buttons();
    for (const a of document.querySelectorAll("table.readings a")) a.addEventListener("click", (e) => {
      e.preventDefault(); this.tell(a.closest("tr")?.getAttribute("data-point") || "");
    });
    const asked = this.dataset.shown;
    if (asked) this.tell(asked);
    this.look(asked || this.dataset.look || "");
  }

  /** Open where it matters, without moving the page. @param {string} point or the beginning of one */
  look(point) {
    if (!point) return;
    const el = [...this.querySelectorAll("[data-point]")].find((e) => e.getAttribute("data-point")?.startsWith(point));
    if (!el) return;
    const at = el.getBoundingClientRect(), frame = this.getBoundingClientRect();
    this.scrollLeft += at.left + at.width / 2 - frame.left - frame.width / 2;
    this.scrollTop += at.top + at.height / 2 - frame.top - frame.height / 2;
  }

  buttons() {
    if (this.previousElementSibling?.classList.contains("zoom")) return;
    const bar = document.createElement("div");
    bar.className = "zoom";
    for (const [words, name, act] of /** @type {[string, string, () => void][]} */ ([
      ["+", "larger", () => this.zoom(STEP)], ["−", "smaller", () => this.zoom(1 / STEP)], ["whole", "whole drawing", () => this.whole()],
    ])) {
      const b = document.createElement("button");
      b.type = "button"; b.textContent = words; b.setAttribute("aria-label", name); b.addEventListener("click", act);
      bar.append(b);
    }
    this.before(bar);
  }

  /** The whole drawing in the frame. */
  whole() {
    const box = this.svg?.viewBox.baseVal;
    if (!this.svg || !box?.width) return;
    this.zoom(Math.min(this.clientWidth / this.natural, this.clientHeight / (this.natural * box.height / box.width)) / this.scale);
  }

  /** @param {number} by @param {number} [x] @param {number} [y] the point on the screen that stays where it is */
  zoom(by, x, y) {
    if (!this.svg) return;
    const frame = this.getBoundingClientRect();
    const dx = (x ?? frame.left + frame.width / 2) - frame.left, dy = (y ?? frame.top + frame.height / 2) - frame.top;
    const next = Math.min(MOST, Math.max(LEAST, this.scale * by)), k = next / this.scale;
    const left = (this.scrollLeft + dx) * k - dx, top = (this.scrollTop + dy) * k - dy;
    this.scale = next;
    this.svg.style.width = `${this.natural * next}px`;
    this.svg.style.height = "auto";
    this.scrollLeft = left; this.scrollTop = top;
  }

  /** @param {TouchList} t */
  spread(t) {
    return { far: Math.hypot(t[0].clientX - t[1].clientX, t[0].clientY - t[1].clientY), x: (t[0].clientX + t[1].clientX) / 2, y: (t[0].clientY + t[1].clientY) / 2 };
  }

  /** @param {TouchEvent} e */
  pinched(e) {
    if (e.touches.length !== 2 || !this.pinch) return;
    e.preventDefault();
    const now = this.spread(e.touches);
    if (this.pinch.far > 0) this.zoom(now.far / this.pinch.far, now.x, now.y);
    this.scrollLeft -= now.x - this.pinch.x; this.scrollTop -= now.y - this.pinch.y;
    this.pinch = now;
  }

  /** @param {number} x @param {number} y */
  tapped(x, y) {
    let best = "", near = Infinity;
    for (const el of this.querySelectorAll("[data-point]")) {
      const r = el.getBoundingClientRect();
      const outside = Math.hypot(Math.max(r.left - x, 0, x - r.right), Math.max(r.top - y, 0, y - r.bottom));
      const d = Math.hypot((r.left + r.right) / 2 - x, (r.top + r.bottom) / 2 - y); // their fields overlap: the nearest middle
      if (outside < NEAR_PX && d < near) { near = d; best = el.getAttribute("data-point") || ""; }
    }
    if (best) this.tell(best);
  }

  /** What the point reads, and the form to enter what was read there. @param {string} point */
  tell(point) {
    this.told = point;
    for (const row of document.querySelectorAll("tr.here")) row.classList.remove("here");
    const rows = [...document.querySelectorAll("tr[data-point]")];
    const row = rows.find((r) => r.getAttribute("data-point") === point);
    const into = document.getElementById(this.dataset.into || "");
    if (into instanceof HTMLInputElement) { into.value = point; into.scrollIntoView({ block: "center" }); }
    const out = document.getElementById("tapped"), enter = document.getElementById("enter");
    if (out) {
      const cells = [...(row?.querySelectorAll("td") || [])].map((c) => `${c.dataset.words || ""}${c.textContent?.trim() || ""}`);
      out.replaceChildren(...[row ? row.querySelector("th")?.textContent || point : `${point}: nothing to read here`, ...cells].map((words, k) => { const p = document.createElement(k ? "p" : "strong"); p.textContent = words; return p; }));
    }
    row?.classList.add("here");
    const through = document.querySelector("#through"), trail = through?.querySelector("input[name=trail]");
    if (through instanceof HTMLElement && trail instanceof HTMLInputElement) { through.hidden = false; trail.value = row?.getAttribute("data-written") || point; }
    const bridge = document.getElementById("bridge");
    if (bridge) bridge.hidden = false;
    if (!(enter instanceof HTMLFormElement)) return;
    enter.hidden = !row?.getAttribute("data-line");
    const line = /** @type {HTMLInputElement | null} */ (enter.elements.namedItem("line"));
    if (line && row) line.value = row.getAttribute("data-line") || "";
    const units = row?.getAttribute("data-units")?.split(" ") || [];
    enter.querySelectorAll("button.unit:not(.time *)").forEach((b, k) => { if (units[k]) { b.setAttribute("value", units[k]); b.textContent = units[k]; } });
    enter.querySelector("number-pad:not(.time *) input")?.setAttribute("placeholder", units[0] || "");
  }
}
