// @ts-check
/** Pan, pinch and zoom over a recording. The stretch shown is the fingers' alone: what comes from the server is
 * drawn into it and never moves it. Without this file the picture and its links still work. */

import { Drawing, instant, unpacked } from "./scope.js";

/** @typedef {import("./scope.js").Slices} Slices */

const NEAR = 24, TAP_PX = 8, WAIT_MS = 60, AROUND = 1;

/** Gestures, keys and buttons over one recording that is known. */
class Scope {
  /** @param {HTMLElement} host @param {import("./scope.js").Told} told @param {HTMLElement} field @param {HTMLCanvasElement} canvas */
  constructor(host, told, field, canvas) {
    this.host = host; this.told = told; this.field = field;
    this.from = host.dataset.from || "";
    this.asked = asked(host);
    this.begin = Number(host.dataset.begin);
    this.end = Number(host.dataset.end);
    this.frame = 0; this.drawn = 0;
    /** @type {number | null} */ this.cursor = null;
    /** @type {Map<number, {x: number, t: number, from: number}>} */ this.fingers = new Map();
    /** @type {Slices | null} */ this.coarse = null;
    /** @type {Slices | null} */ this.fine = null;
    /** @type {AbortController | undefined} */ this.stop = undefined;
    /** @type {ReturnType<typeof setTimeout> | undefined} */ this.later = undefined;
    field.hidden = false;
    field.setAttribute("role", "application");
    this.drawing = new Drawing(canvas, told);
    this.drawing.fit();
  }

  async start() {
    for (const b of this.host.querySelectorAll("button[hidden]")) /** @type {HTMLElement} */ (b).hidden = false;
    this.coarse = await this.slices(this.told.begin_s, this.told.end_s).catch(() => null);
    if (this.coarse) /** @type {HTMLElement} */ (this.host.querySelector(".still")).hidden = true;
    this.listen();
    this.moved(0);
  }

  get wide() { return this.end - this.begin; }

  /** @param {number} begin @param {number} end @param {AbortSignal} [signal] */
  async slices(begin, end, signal) {
    const pixels = Math.round((this.drawing.width) * (window.devicePixelRatio || 1));
    const columns = Math.min(Math.ceil((pixels * (end - begin)) / Math.max(Math.min(this.wide, end - begin), 1e-12)), 8000);
    const answer = await fetch(`${this.from}/slices?${this.asked}&begin=${begin}&end=${end}&columns=${columns}`, { signal });
    if (!answer.ok) throw new Error(String(answer.status));
    return unpacked(await answer.arrayBuffer(), begin, end);
  }

  listen() {
    const f = this.field;
    f.addEventListener("pointerdown", (e) => this.down(e));
    f.addEventListener("pointermove", (e) => this.move(e));
    for (const kind of ["pointerup", "pointercancel"]) f.addEventListener(kind, (e) => this.up(/** @type {PointerEvent} */ (e)));
    // one finger up and down scrolls the page; two are ours from the beginning
    f.addEventListener("touchstart", (e) => { if (e.touches.length > 1) e.preventDefault(); }, { passive: false });
    f.addEventListener("wheel", (e) => { e.preventDefault(); this.wheel(e); }, { passive: false });
    f.addEventListener("keydown", (e) => { if (this.key(e.key)) e.preventDefault(); });
    for (const b of this.host.querySelectorAll("[data-do]")) b.addEventListener("click", (e) => { e.preventDefault(); this.act(b.getAttribute("data-do") || ""); });
    for (const a of document.querySelectorAll("a[data-at]")) a.addEventListener("click", (e) => { e.preventDefault(); this.visit(Number(a.getAttribute("data-at"))); this.field.scrollIntoView({ block: "nearest" }); });
    new ResizeObserver(() => this.moved(0)).observe(f);
  }

  /** @param {number} x CSS pixels from the left of the picture */
  at(x) { return this.begin + (x / this.drawing.width) * this.wide; }

  /** @param {MouseEvent} e */
  x(e) { return e.clientX - this.field.getBoundingClientRect().left - this.field.clientLeft; }

  /** @param {PointerEvent} e */
  down(e) {
    this.field.setPointerCapture(e.pointerId);
    for (const [, p] of this.fingers) p.t = this.at(p.x); // a second finger: each now holds the instant under it
    const x = this.x(e);
    this.fingers.set(e.pointerId, { x, t: this.at(x), from: x });
  }

  /** Every finger keeps the instant it was put on. @param {PointerEvent} e */
  move(e) {
    const mine = this.fingers.get(e.pointerId);
    if (!mine) return;
    mine.x = this.x(e);
    const [a, b] = [...this.fingers.values()];
    if (b && Math.abs(a.x - b.x) > NEAR && Math.abs(a.t - b.t) > 0) {
      const per = (b.t - a.t) / (b.x - a.x);
      if (per > 0) this.show(a.t - a.x * per, a.t + (this.drawing.width - a.x) * per);
      for (const p of this.fingers.values()) p.from = NaN;
    } else if (!b && Math.abs(mine.x - mine.from) >= TAP_PX || Number.isNaN(mine.from)) {
      mine.from = NaN; // no tap any more
      const begin = mine.t - (mine.x / this.drawing.width) * this.wide;
      this.show(begin, begin + this.wide);
    }
  }

  /** @param {PointerEvent} e */
  up(e) {
    const mine = this.fingers.get(e.pointerId);
    this.fingers.delete(e.pointerId);
    for (const p of this.fingers.values()) p.t = this.at(p.x);
    if (mine && e.type === "pointerup" && !Number.isNaN(mine.from) && !this.fingers.size) this.tap(mine.x);
  }

  /** @param {WheelEvent} e */
  wheel(e) {
    const per = e.deltaMode ? 30 : 1;
    if (e.shiftKey || Math.abs(e.deltaX) > Math.abs(e.deltaY)) return this.pan(((e.deltaX || e.deltaY) * per) / this.drawing.width);
    this.zoom(Math.exp(Math.max(Math.min(e.deltaY * per, 2400), -2400) * 0.0025), this.at(this.x(e)));
  }

  /** @param {number} share of the stretch */
  pan(share) { this.show(this.begin + share * this.wide, this.end + share * this.wide); }

  /** @param {number} factor @param {number} [about] s */
  zoom(factor, about = (this.begin + this.end) / 2) { this.show(about - (about - this.begin) * factor, about + (this.end - about) * factor); }

  /** Show a stretch; not finer than a few samples, not far beyond the recording. @param {number} begin @param {number} end */
  show(begin, end) {
    const first = this.told.begin_s, last = Math.max(this.told.end_s, first + 1e-9), most = (last - first) * 1.2;
    const least = 8 * Math.min(...this.told.files.flatMap((f) => f.channels.map((c) => c.dt_s)), last - first);
    const wide = Math.min(Math.max(end - begin, least), most), middle = (begin + end) / 2;
    begin = Math.min(Math.max(middle - wide / 2, first - wide / 2), last - wide / 2);
    this.begin = begin;
    this.end = begin + wide;
    this.moved(WAIT_MS);
  }

  /** Draw what is here at once, ask for finer slices soon. @param {number} wait ms */
  moved(wait) {
    if (!this.frame) this.frame = requestAnimationFrame(() => { this.frame = 0; this.paint(); });
    clearTimeout(this.later);
    this.later = setTimeout(() => this.refine(), wait);
  }

  paint() {
    const had = /** @type {Slices[]} */ ([this.coarse, this.fine].filter(Boolean));
    this.drawing.draw(had, this.begin, this.end, this.cursor);
    const out = this.host.querySelector(".stretch");
    if (out) out.textContent = `${instant(this.begin, this.wide)} s to ${instant(this.end, this.wide)} s`;
  }

  async refine() {
    this.stop?.abort();
    this.stop = new AbortController();
    const signal = this.stop.signal, around = AROUND * this.wide;
    this.tell();
    try {
      const got = await this.slices(this.begin - around, this.end + around, signal);
      if (!signal.aborted) { this.fine = got; this.drawn = this.drawn + 1; this.host.setAttribute("data-drawn", String(this.drawn)); this.paint(); }
    } catch (e) {
      if (!signal.aborted) this.later = setTimeout(() => this.refine(), 2000); // the network is gone: what is here stays
    }
  }

  /** The stretch in the address and in what leaves the page. */
  tell() {
    const [a, b] = [this.begin, this.end].map((t) => t.toPrecision(12));
    this.host.dataset.begin = a;
    this.host.dataset.end = b;
    history.replaceState(null, "", `${location.pathname}?${this.asked}&begin=${a}&end=${b}`);
    for (const i of document.querySelectorAll("form.stretched input")) if (i instanceof HTMLInputElement && (i.name === "begin" || i.name === "end")) i.value = i.name === "begin" ? a : b;
    for (const l of document.querySelectorAll("a.pictured")) if (l instanceof HTMLAnchorElement) l.href = `${l.href.split("?")[0]}?${this.asked}&begin=${a}&end=${b}`;
  }

  /** What every channel reads at an instant, and the event that is near. @param {number} x */
  tap(x) {
    this.cursor = this.at(x);
    const wide = this.wide, px = wide / this.drawing.width;
    const lines = [`${instant(this.cursor, wide)} s`];
    let best = null, near = NEAR * px;
    for (const f of this.told.files) for (const e of f.events) { const d = Math.abs(e.t_s - this.cursor); if (d < near) { near = d; best = { e, f }; } }
    const from = this.fine && this.fine.begin <= this.cursor && this.cursor <= this.fine.end ? this.fine : this.coarse;
    for (const t of from?.traces || []) {
      const k = Math.round((this.cursor - t.t0) / t.step), file = this.told.files[t.which];
      if (k < 0 || k >= t.low.length) continue;
      const row = this.told.rows[file.channels[t.channel].row];
      const [low, high] = [t.low[k].toPrecision(4), t.high[k].toPrecision(4)];
      lines.push(`${this.told.files.length > 1 ? `${file.name} ` : ""}${row.name} ${low === high ? low : `${low} to ${high}`} ${row.unit}`);
    }
    if (best) lines.push(`event: ${instant(best.e.t_s, px)} s ${this.told.rows[best.e.row].name} ${best.e.words}`);
    const out = this.host.querySelector(".where");
    if (out) out.textContent = lines.join("\n");
    this.paint();
  }

  /** @param {number} t */
  visit(t) {
    const wide = Math.min(this.wide, Math.max((this.told.end_s - this.told.begin_s) / 20, 1e-6));
    this.cursor = t;
    this.show(t - wide / 2, t + wide / 2);
    this.paint();
    this.tap(this.drawing.width / 2);
  }

  /** The event after or before the cursor, or the middle. @param {number} way */
  event(way) {
    const from = this.cursor ?? (way > 0 ? this.begin : this.end), step = 1e-9 + this.wide * 1e-6;
    const all = this.told.files.flatMap((f) => f.events.map((e) => e.t_s)).sort((/** @type {number} */ a, /** @type {number} */ b) => a - b);
    const next = way > 0 ? all.find((t) => t > from + step) : all.reverse().find((t) => t < from - step);
    if (next !== undefined) this.visit(next);
  }

  /** @param {string} what */
  act(what) {
    const acts = {
      earlier: () => this.pan(-0.5), later: () => this.pan(0.5), closer: () => this.zoom(0.5), wider: () => this.zoom(2),
      whole: () => this.show(this.told.begin_s, this.told.end_s), next: () => this.event(1), before: () => this.event(-1),
      tall: () => { this.drawing.tall = !this.drawing.tall; this.host.querySelector("[data-do=tall]")?.setAttribute("aria-pressed", String(this.drawing.tall)); this.paint(); },
    };
    /** @type {Record<string, () => void>} */ (acts)[what]?.();
  }

  /** @param {string} key */
  key(key) {
    const keys = { ArrowLeft: "earlier", ArrowRight: "later", ArrowUp: "closer", ArrowDown: "wider", "+": "closer", "=": "closer", "-": "wider", Home: "whole", n: "next", p: "before", N: "next", P: "before", h: "tall" };
    const what = /** @type {Record<string, string>} */ (keys)[key];
    if (what) this.act(what);
    return Boolean(what);
  }
}

/** What else is shown, as the address says it. @param {HTMLElement} host */
function asked(host) { return `over=${encodeURIComponent(host.dataset.over || "")}`; }

class ScopeRecording extends HTMLElement {
  /** @type {Scope | undefined} */ scope;

  async connectedCallback() {
    const answer = await fetch(`${this.dataset.from}/told?${asked(this)}`).catch(() => null);
    const field = /** @type {HTMLElement | null} */ (this.querySelector(".scope")), canvas = field?.querySelector("canvas");
    if (!answer?.ok || !field || !canvas) return; // the still picture stays
    this.scope = new Scope(this, await answer.json(), field, canvas);
    await this.scope.start();
  }
}

customElements.define("scope-recording", ScopeRecording);
