// @ts-check
/** Custom elements of the pages. Without this file every form still works; with it nothing said is lost. */

import { deliver, fresh, keep, waiting } from "/static/queue.js";

/** @param {string} words */
function banner(words) {
  const b = document.getElementById("link-state");
  if (b) { b.textContent = words; b.hidden = !words; }
}

/** The line of a test with its answer in it. @param {FormData} said @param {string} unit */
function filled(said, unit) {
  const line = String(said.get("line") || "");
  const value = String(said.get("value") || "").trim().replace(",", ".");
  const rows = line.split("\n");
  const at = rows.findIndex((r) => r.includes("{value}"));
  const k = at < 0 ? rows.length - 1 : at;
  rows[k] = rows[k].replace("{value}", unit ? `${value} ${unit}` : value);
  if (said.get("unsure")) rows[k] += " unsure";
  const how = said.get("how");
  if (how) rows[k] += ` while ${how}`;
  return rows.join("\n");
}

class LiveJob extends HTMLElement {
  connectedCallback() {
    this.job = this.dataset.job || "";
    this.addEventListener("submit", (e) => this.submitted(/** @type {SubmitEvent} */ (e)));
    this.listen();
    this.send();
    window.addEventListener("online", () => this.send());
  }

  /** @param {SubmitEvent} e */
  async submitted(e) {
    const form = /** @type {HTMLFormElement} */ (e.target);
    if (!form.action.endsWith("/add")) return;
    e.preventDefault();
    const button = /** @type {HTMLButtonElement | null} */ (e.submitter);
    const said = new FormData(form);
    let unit = "";
    if (button?.name === "value") said.set("value", button.value);
    if (button?.name === "unit") unit = button.value;
    const typed = form.querySelector("number-pad input");
    if (typed && !String(said.get("value") || "").trim()) { /** @type {HTMLElement} */ (typed).focus(); return; }
    await keep(this.job, fresh(), filled(said, unit));
    form.classList.add("said");
    banner("kept on this phone, sending …");
    await this.send();
  }

  async send() {
    try {
      const { sent, refused } = await deliver(this.job);
      for (const r of refused) banner(`not accepted: ${r.message}`);
      if (sent && !refused.length) { banner(""); await this.refresh(); }
      else if (sent) await this.refresh();
    } catch {
      const n = (await waiting(this.job)).length;
      banner(n ? `no connection: ${n} kept on this phone, sent when the laptop is back` : "no connection to the laptop");
      clearTimeout(this.later);
      this.later = setTimeout(() => this.send(), 2500);
    }
  }

  /** The page anew from the laptop, without losing the place on it. */
  async refresh() {
    try {
      const answer = await fetch(location.href, { headers: { accept: "text/html" } });
      if (!answer.ok) return;
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = page.querySelector("live-job");
      if (fresh) { this.replaceChildren(...fresh.childNodes); this.dataset.entries = fresh.getAttribute("data-entries") || ""; window.scrollTo(0, 0); }
    } catch { /* the page that is open stays usable */ }
  }

  listen() {
    const scheme = location.protocol === "https:" ? "wss" : "ws";
    const wire = new WebSocket(`${scheme}://${location.host}/job/${encodeURIComponent(this.job)}/live`);
    wire.onmessage = (m) => { if (String(JSON.parse(m.data).entries) !== this.dataset.entries) this.refresh(); };
    wire.onopen = () => this.send();
    wire.onclose = () => setTimeout(() => this.isConnected && this.listen(), 2000);
  }
}

/** Figures to tap with a glove: no keyboard jumps up. */
class NumberPad extends HTMLElement {
  connectedCallback() {
    const input = this.querySelector("input");
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
        else if (key !== "." || !input.value.includes(".")) input.value += key;
      });
      pad.append(b);
    }
    this.append(pad);
  }
}

/** Tap near a terminal: what it reads is said below. Nearest within 24 CSS pixels, for thick fingers. */
class CircuitDrawing extends HTMLElement {
  connectedCallback() {
    this.addEventListener("click", (e) => this.tapped(e.clientX, e.clientY));
    this.addEventListener("keydown", (e) => {
      const focused = document.activeElement?.closest("[data-point]");
      if ((e.key === "Enter" || e.key === " ") && focused) { this.tell(focused.getAttribute("data-point") || ""); e.preventDefault(); }
    });
  }

  /** @param {number} x @param {number} y */
  tapped(x, y) {
    let best = "", near = 24 * 24;
    for (const el of this.querySelectorAll("[data-point]")) {
      const r = el.getBoundingClientRect();
      const dx = Math.max(r.left - x, 0, x - r.right), dy = Math.max(r.top - y, 0, y - r.bottom);
      const d = dx * dx + dy * dy;
      if (d < near) { near = d; best = el.getAttribute("data-point") || ""; }
    }
    if (best) this.tell(best);
  }

  /** @param {string} point */
  tell(point) {
    const out = document.getElementById("tapped");
    for (const row of document.querySelectorAll("tr.here")) row.classList.remove("here");
    const row = [...document.querySelectorAll("tr[data-point]")].find((r) => r.getAttribute("data-point") === point);
    if (out) out.textContent = row ? `${point}: ${row.querySelector("td")?.textContent || ""}` : point;
    row?.classList.add("here");
  }
}

/** The sheet checked while it is typed, and drawn as it grows. */
class SheetEditor extends HTMLElement {
  connectedCallback() {
    const area = this.querySelector("textarea");
    area?.addEventListener("input", () => { clearTimeout(this.later); this.later = setTimeout(() => this.check(area.value), 600); });
    if (area?.value) this.check(area.value);
  }

  /** @param {string} sheet */
  async check(sheet) {
    const live = this.querySelector(".live");
    if (!live) return;
    try {
      const answer = await fetch("/api/check", { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ sheet }) });
      const got = await answer.json();
      const rows = (got.problems || []).filter((/** @type {{severity?: string}} */ p) => (p.severity || "error") === "error");
      live.textContent = rows.length
        ? rows.slice(0, 5).map((/** @type {{line: number, message: string, remedy: string}} */ p) => `line ${p.line}: ${p.message}. ${p.remedy}`).join("\n")
        : `sound: ${got.counts ? got.counts.parts : 0} parts`;
    } catch { live.textContent = "no connection: not checked"; }
  }
}

customElements.define("live-job", LiveJob);
customElements.define("number-pad", NumberPad);
customElements.define("circuit-drawing", CircuitDrawing);
customElements.define("sheet-editor", SheetEditor);
