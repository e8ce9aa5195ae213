// @ts-check
/** A recording drawn on a canvas, without gestures: rows of lowest and highest, phases, events, instants. */

/** @typedef {{which: number, channel: number, t0: number, step: number, low: Float32Array, high: Float32Array}} Trace */
/** @typedef {{begin: number, end: number, traces: Trace[]}} Slices */
/** @typedef {{t_s: number, row: number, words: string, low_s: number, high_s: number}} Happening */
/** @typedef {{begin_s: number, end_s: number, rows: {name: string, unit: string, low: number, high: number}[], files: {name: string, channels: {row: number, dt_s: number, samples: number}[], events: Happening[], phases: {phase: string, begin_s: number, end_s: number}[]}[]}} Told */

const MAGIC = 0x31534d41, TOP = 22, GAP = 10, FOOT = 24, TALL = 96;
export const ROW = TALL + GAP;

/** The bytes of `recording/wire.py`. @param {ArrayBuffer} bytes @param {number} begin @param {number} end @returns {Slices} */
export function unpacked(bytes, begin, end) {
  const v = new DataView(bytes);
  if (bytes.byteLength < 8 || v.getUint32(0, true) !== MAGIC) throw new Error("these are no slices");
  const count = v.getUint32(4, true), traces = [];
  let at = 8 + 32 * count;
  for (let k = 0; k < count; k++) {
    const h = 8 + 32 * k, n = v.getUint32(h + 8, true);
    traces.push({
      which: v.getUint32(h, true), channel: v.getUint32(h + 4, true), t0: v.getFloat64(h + 16, true), step: v.getFloat64(h + 24, true),
      low: new Float32Array(bytes, at, n), high: new Float32Array(bytes, at + 4 * n, n),
    });
    at += 8 * n;
  }
  return { begin, end, traces };
}

/** @param {number} rows */
export const height = (rows) => TOP + rows * ROW + FOOT;

/** Round steps of 1, 2, 5 and their tens. @param {number} begin @param {number} end @param {number} most */
export function ticks(begin, end, most) {
  const raw = (end - begin) / Math.max(most, 1), ten = 10 ** Math.floor(Math.log10(raw));
  const step = [1, 2, 5, 10].map((m) => m * ten).find((s) => s >= raw * (1 - 1e-9)) || 10 * ten;
  const out = [];
  for (let k = Math.ceil(begin / step - 1e-9); k * step <= end + step * 1e-9; k++) out.push(k * step);
  return { step, out };
}

/** A value to about three figures of the range it lies in. @param {number} value @param {number} span */
export function rounded(value, span) {
  const text = value.toFixed(span > 0 ? Math.min(Math.max(2 - Math.floor(Math.log10(span)), 0), 9) : 3);
  return Number(text) === 0 ? text.replace("-", "") : text;
}

/** As many places as tell two instants of the stretch apart. @param {number} t @param {number} wide */
export function instant(t, wide) {
  const places = Math.min(Math.max(3 - Math.floor(Math.log10(wide)), 0), 9);
  return t.toFixed(places);
}

export class Drawing {
  /** @param {HTMLCanvasElement} canvas @param {Told} told */
  constructor(canvas, told) {
    this.canvas = canvas; this.told = told; this.tall = false; this.width = 300;
    this.dark = false; this.ink = "#111111";
  }

  /** @param {number} t @param {number} begin @param {number} end */
  x(t, begin, end) { return ((t - begin) / (end - begin)) * this.width; }

  /** Sizes follow the page; called before every picture. */
  fit() {
    const scale = window.devicePixelRatio || 1, tall = height(this.told.rows.length);
    this.width = Math.max(this.canvas.parentElement?.clientWidth || 300, 100);
    const w = Math.round(this.width * scale), h = Math.round(tall * scale);
    if (this.canvas.width !== w || this.canvas.height !== h) { this.canvas.width = w; this.canvas.height = h; this.canvas.style.height = `${tall}px`; }
    const pen = /** @type {CanvasRenderingContext2D} */ (this.canvas.getContext("2d"));
    pen.setTransform(scale, 0, 0, scale, 0, 0);
    const style = getComputedStyle(this.canvas);
    this.ink = style.color || "#111";
    this.dark = matchMedia("(prefers-color-scheme: dark)").matches;
    return pen;
  }

  /** Range of a row: all of the recording, or what is in sight. @param {number} r @param {Slices[]} had @param {number} begin @param {number} end */
  range(r, had, begin, end) {
    const row = this.told.rows[r];
    let low = row.low, high = row.high;
    if (this.tall) {
      low = Infinity; high = -Infinity;
      for (const t of had[had.length - 1]?.traces || []) {
        if (this.told.files[t.which].channels[t.channel].row !== r) continue;
        const a = Math.max(Math.floor((begin - t.t0) / t.step), 0), b = Math.min(Math.ceil((end - t.t0) / t.step) + 1, t.low.length);
        for (let k = a; k < b; k++) { if (t.low[k] < low) low = t.low[k]; if (t.high[k] > high) high = t.high[k]; }
      }
      if (!(low <= high)) { low = row.low; high = row.high; }
    }
    const room = (high - low || Math.abs(high) || 1) * 0.05;
    return { low: low - room, high: high + room, least: low, most: high };
  }

  /** The picture of a stretch. `had`: slices, coarse ones first; finer ones are drawn where they reach.
   * @param {Slices[]} had @param {number} begin @param {number} end @param {number | null} cursor */
  draw(had, begin, end, cursor) {
    const pen = this.fit(), wide = this.width, rows = this.told.rows.length, foot = TOP + rows * ROW;
    const X = (/** @type {number} */ t) => this.x(t, begin, end);
    pen.clearRect(0, 0, wide, foot + FOOT);
    pen.font = "13px system-ui, sans-serif";
    pen.textBaseline = "middle";
    this.phases(pen, X, foot);
    const { step, out } = ticks(begin, end, wide / 90);
    for (const t of out) {
      pen.globalAlpha = 0.25; pen.fillStyle = this.ink; pen.fillRect(X(t), TOP, 1, foot - TOP); pen.globalAlpha = 1;
      pen.fillText(instant(t, step), X(t) + 3, foot + FOOT / 2);
    }
    for (let r = 0; r < rows; r++) this.row(pen, r, had, begin, end, X);
    this.events(pen, X, begin, end);
    for (let r = 0; r < rows; r++) this.named(pen, r, had, begin, end); // over the marks of events
    if (cursor !== null) { pen.fillStyle = this.ink; pen.fillRect(X(cursor) - 1, TOP, 2, foot - TOP); }
  }

  /** @param {CanvasRenderingContext2D} pen @param {(t: number) => number} X @param {number} foot */
  phases(pen, X, foot) {
    const spans = this.told.files.find((f) => f.phases.length)?.phases || [];
    spans.forEach((s, k) => {
      const a = Math.max(X(s.begin_s), 0), b = Math.min(X(s.end_s), this.width);
      if (b <= a) return;
      if (k % 2 === 0) { pen.globalAlpha = 0.09; pen.fillStyle = this.ink; pen.fillRect(a, 0, b - a, foot); pen.globalAlpha = 1; }
      pen.fillStyle = this.ink;
      if (pen.measureText(s.phase).width < b - a - 6) pen.fillText(s.phase, a + 3, TOP / 2);
    });
  }

  /** @param {CanvasRenderingContext2D} pen @param {number} r @param {Slices[]} had @param {number} begin @param {number} end @param {(t: number) => number} X */
  row(pen, r, had, begin, end, X) {
    const top = TOP + r * ROW, { low, high } = this.range(r, had, begin, end);
    const Y = (/** @type {number} */ v) => top + TALL * (1 - (v - low) / (high - low));
    had.forEach((s, n) => {
      const finer = had[n + 1];
      pen.save();
      pen.beginPath();
      if (finer) { pen.rect(0, top, X(finer.begin), TALL + 1); pen.rect(X(finer.end), top, this.width, TALL + 1); } else pen.rect(0, top, this.width, TALL + 1);
      pen.clip();
      for (const t of s.traces) if (this.told.files[t.which].channels[t.channel].row === r) this.trace(pen, t, begin, end, X, Y);
      pen.restore();
    });
  }

  /** Name, highest and lowest of a row. @param {CanvasRenderingContext2D} pen @param {number} r @param {Slices[]} had @param {number} begin @param {number} end */
  named(pen, r, had, begin, end) {
    const top = TOP + r * ROW, { least, most } = this.range(r, had, begin, end), row = this.told.rows[r];
    pen.fillStyle = this.ink;
    pen.font = "bold 14px system-ui, sans-serif";
    this.word(pen, row.name, 4, top + 9);
    const name = pen.measureText(row.name).width;
    pen.font = "13px system-ui, sans-serif";
    const unit = row.unit ? ` ${row.unit}` : "";
    this.word(pen, `${rounded(most, most - least)}${unit}`, name + 12, top + 9);
    this.word(pen, `${rounded(least, most - least)}${unit}`, 4, top + TALL - 7);
    pen.globalAlpha = 0.4; pen.fillRect(0, top + TALL, this.width, 1); pen.globalAlpha = 1;
  }

  /** Words on a trace stay readable. @param {CanvasRenderingContext2D} pen @param {string} words @param {number} x @param {number} y */
  word(pen, words, x, y) {
    pen.strokeStyle = this.dark ? "#121212" : "#ffffff";
    pen.lineWidth = 4;
    pen.strokeText(words, x, y);
    pen.fillText(words, x, y);
  }

  /** @param {CanvasRenderingContext2D} pen @param {Trace} t @param {number} begin @param {number} end @param {(t: number) => number} X @param {(v: number) => number} Y */
  trace(pen, t, begin, end, X, Y) {
    const a = Math.max(Math.floor((begin - t.t0) / t.step) - 1, 0), b = Math.min(Math.ceil((end - t.t0) / t.step) + 2, t.low.length);
    if (b <= a) return;
    const colour = t.which ? (this.dark ? "#ffb45a" : "#b35900") : this.dark ? "#8ec5ff" : "#1f4e79";
    pen.beginPath();
    for (let k = a; k < b; k++) pen.lineTo(X(t.t0 + k * t.step), Y(t.high[k]));
    for (let k = b - 1; k >= a; k--) pen.lineTo(X(t.t0 + k * t.step), Y(t.low[k]));
    pen.strokeStyle = colour;
    pen.fillStyle = colour;
    pen.lineWidth = 1.5;
    if (t.which) pen.setLineDash([6, 3]);
    else { pen.fill(); pen.setLineDash([]); }
    pen.stroke();
    pen.setLineDash([]);
  }

  /** @param {CanvasRenderingContext2D} pen @param {(t: number) => number} X @param {number} begin @param {number} end */
  events(pen, X, begin, end) {
    pen.fillStyle = this.dark ? "#ff8f8f" : "#a33333";
    for (const f of this.told.files) for (const e of f.events) if (e.t_s >= begin && e.t_s <= end) pen.fillRect(X(e.t_s) - 0.5, TOP + e.row * ROW - 2, 1, TALL + 2);
  }
}
