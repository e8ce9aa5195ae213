// @ts-check
/** A job that is open on this device: what is said is kept here first, then sent; changes come by themselves. */

import { anew } from "./anew.js";
import { banner } from "./banner.js";
import { told } from "./problem.js";
import { deliver, drop, fresh, keep, waiting } from "./queue.js";

const AWAY = "no connection to the laptop";
const NUMBER = /^[-+]?(\d+\.?\d*|\.\d+)$/;
const TWICE_MS = 700; // a second tap this soon is a trembling finger, not a second reading

/** How it stands with the laptop. @param {number} n entries kept here @param {boolean} stranger the laptop is there and does not know this device */
const away = (n, stranger) => stranger
  ? `the laptop does not know this phone any more: load this page again and pair it${n ? `; ${n} kept on this phone are sent then` : ""}`
  : n ? `${AWAY}: ${n} kept on this phone, sent when the laptop is back` : `${AWAY}: go on with the tests on this page`;

/** What was typed, with a point for a comma between figures. @param {string} typed */
const figures = (typed) => typed.trim().replace(/^([-+]?\d*),(\d+)$/, "$1.$2");

/** The line of a test with its answer in it. @param {FormData} said */
export function filled(said) {
  const line = String(said.get("line") || "");
  const figure = figures(String(said.get("value") || "")), unit = String(said.get("unit") || "");
  const value = String(said.get("word") || "") || (unit.includes("…") ? unit.replace("…", figure) : `${figure} ${unit}`.trim());
  const told = value.replaceAll('"', "'");
  const rows = line.replace(' "{value}"', told ? ` "${told}"` : "").split("\n");
  const found = rows.findIndex((r) => r.includes("{value}"));
  const at = found < 0 ? rows.length - 1 : found;
  rows[at] = rows[at].replace("{value}", value);
  if (said.get("unsure")) rows[at] += " unsure";
  const how = said.getAll("how");
  if (how.length === 1) rows[at] += ` while ${how[0]}`;
  return rows.join("\n");
}

export class LiveJob extends HTMLElement {
  job = "";
  connected = true;
  stranger = false; // the laptop answers, and does not know this device: it was started again
  sending = false;
  again = false;
  last = "";
  tapped = 0;
  shown = "";
  /** @type {ReturnType<typeof setTimeout> | undefined} */ later;

  connectedCallback() {
    this.job = this.dataset.job || "";
    this.addEventListener("submit", (e) => this.submitted(/** @type {SubmitEvent} */ (e)));
    this.addEventListener("click", (e) => this.leaving(e));
    document.querySelector("header")?.addEventListener("click", (e) => this.leaving(e));
    window.addEventListener("online", () => this.send());
    document.addEventListener("visibilitychange", () => { if (!document.hidden) this.send(); });
    this.listen();
    this.send();
    if (this.dataset.stays) this.today();
  }

  /** What is not to hand and out of reach today stays so on this device, also after another page was open. */
  today() {
    const known = `amptrail-today ${this.job}`, day = new Date().toDateString();
    const here = new URLSearchParams(location.search), kept = new URLSearchParams();
    for (const k of ["without", "cannot"]) if (here.get(k)) kept.set(k, here.get(k) || "");
    if (location.search) { localStorage.setItem(known, JSON.stringify({ day, kept: String(kept) })); return; }
    const was = JSON.parse(localStorage.getItem(known) || "null");
    if (was?.day !== day || !was.kept) return;
    history.replaceState(null, "", `${location.pathname}?${was.kept}`);
    this.refresh(false);
  }

  /** The page stays while the laptop is away: a link would lose it. @param {Event} e */
  leaving(e) {
    const link = /** @type {HTMLElement} */ (e.target).closest?.("a[href]");
    if (!link || this.connected || this.stranger || navigator.serviceWorker?.controller || link.getAttribute("href")?.startsWith("#")) return;
    e.preventDefault();
    banner("no connection to the laptop: this page stays open, go on with its tests");
  }

  /** @param {SubmitEvent} e */
  async submitted(e) {
    const form = /** @type {HTMLFormElement} */ (e.target);
    const kind = form.dataset.kind;
    if (!kind) { if (!this.connected) { e.preventDefault(); banner(`no connection to the laptop: ${form.method === "post" ? "nothing was sent, and what is typed stays here" : "planning anew must wait"}`); } return; }
    e.preventDefault();
    const button = /** @type {HTMLButtonElement | null} */ (e.submitter);
    const said = new FormData(form);
    if (button?.name) said.set(button.name, button.value);
    const pad = /** @type {HTMLInputElement | null} */ (form.querySelector("number-pad input"));
    if (pad && !said.get("word")) {
      if (!pad.value.trim()) { pad.focus(); banner("tap the figures first, then the unit"); return; }
      if (!NUMBER.test(figures(pad.value))) { pad.focus(); banner(/\d\s*s$/.test(pad.value) && !form.querySelector(".time") ? `${pad.value.trim()}: this instrument reads no time. A lamp tells one: lit 12 s then dark` : `${pad.value} is no number`); return; }
      if (!said.get("unit")) said.set("unit", form.querySelector("button.unit")?.getAttribute("value") || "");
    }
    const box = [...form.querySelectorAll("input[data-line]")].map((i) => /** @type {HTMLInputElement} */ (i)).filter((i) => i.value.trim());
    const odd = box.find((i) => !NUMBER.test(figures(i.value)));
    if (odd) { odd.focus(); banner(`${odd.value} is no number`); return; }
    const lines = kind === "readings" ? box.map((i) => (i.dataset.line || "").replace("{value}", figures(i.value)))
      : [kind === "reading" ? filled(said) : String(said.get("line") || "")];
    if (!lines.length) { banner("type the figures first"); return; }
    const now = performance.now(), all = kind + lines.join("\n");
    if (this.last === all && now - this.tapped < TWICE_MS) return;
    this.last = all; this.tapped = now;
    for (const line of lines) await keep(this.job, { id: fresh(), kind: kind === "readings" ? "reading" : kind, line });
    if (pad) pad.value = "";
    if (form.classList.contains("own") || box.length) form.reset();
    banner("kept on this phone, sending …");
    await this.waits();
    await this.send(true);
  }

  /** What is kept here and not yet with the laptop, each with its undo. */
  async waits() {
    const list = this.querySelector("#waiting");
    if (!(list instanceof HTMLElement)) return;
    const all = await waiting(this.job);
    list.hidden = !all.length;
    list.replaceChildren(...all.map((e) => {
      const row = document.createElement("li"), undo = document.createElement("button");
      row.textContent = e.kind === "proven" ? "proven: " : e.kind === "undo" ? "taken back: " : "";
      row.append(e.line.split("\n").filter((x) => x !== "without conditions").join(" · "), " (kept here)");
      undo.type = "button"; undo.textContent = "undo";
      undo.addEventListener("click", async () => { await drop(e.n); await this.waits(); });
      row.append(undo);
      return row;
    }));
  }

  /** @param {boolean} mine an answer of this page waits to be shown */
  async send(mine = false) {
    if (this.sending) { this.again = this.again || mine; return; }
    this.sending = true;
    try {
      const { sent, refused } = await deliver(this.job);
      if (sent || refused.length) { this.connected = true; this.stranger = false; }
      const shown = (sent || refused.length || mine) && await this.refresh(sent > 0);
      if (shown || refused.length) banner(refused.map((r) => `not accepted: ${told({ ...r, line: 0 })}`).join("\n"));
      const own = /** @type {HTMLInputElement | null} */ (this.querySelector("#line"));
      if (refused.length && own && !own.value) own.value = refused[0].line.split("\n")[0];
    } catch (failed) {
      this.connected = false;
      const n = (await waiting(this.job)).length;
      if (/^40[13]$/.test(/** @type {Error} */ (failed).message)) {
        this.stranger = true;
        banner(away(n, true));
        return;
      }
      banner(away(n, false));
      clearTimeout(this.later);
      this.later = setTimeout(() => this.send(), 2500);
    } finally {
      this.sending = false;
      await this.waits();
      // said while this was under way: it may have gone along already, and then the page is new
      if (this.again) { this.again = false; if ((await waiting(this.job)).length) this.send(true); }
    }
  }

  /** Whether figures are half typed: then news from others wait. */
  typing() {
    return [...this.querySelectorAll("number-pad input, #line, #cause, #done, input[data-line]")].some((i) => i instanceof HTMLInputElement && i.value);
  }

  /** The page anew from the laptop. @param {boolean} mine after an answer of this page it starts at the top. @returns {Promise<boolean>} whether it is shown */
  async refresh(mine) {
    const wait = mine ? "kept. The new plan is shown after this answer" : "something new was said on another device: it is shown after your answer";
    if (!mine && this.typing()) { banner(wait); return false; }
    try {
      const answer = await fetch(location.href, { headers: { accept: "text/html" } });
      if (!answer.ok) { banner(`the page could not be planned anew (${answer.status}): load it again`); return false; }
      const page = anew(await answer.text());
      const job = page.querySelector("live-job");
      if (!job) return false;
      if (this.typing()) { banner(wait); return false; } // begun while the answer was on its way: not under the finger
      if (!mine && job.innerHTML === this.shown) return true;
      this.shown = job.innerHTML;
      const inside = this.contains(document.activeElement);
      const typed = /** @type {HTMLInputElement | null} */ (this.querySelector("#line"))?.value || "";
      this.replaceChildren(...job.childNodes);
      this.dataset.entries = job.getAttribute("data-entries") || "";
      const own = /** @type {HTMLInputElement | null} */ (this.querySelector("#line"));
      if (own && typed) own.value = typed;
      if (mine) window.scrollTo(0, 0);
      const head = this.querySelector("h2");
      if (inside && head) { head.tabIndex = -1; head.focus({ preventScroll: true }); }
      return true;
    } catch { return false; /* the page that is open stays usable */ }
  }

  listen() {
    const scheme = location.protocol === "https:" ? "wss" : "ws";
    const wire = new WebSocket(`${scheme}://${location.host}/job/${encodeURIComponent(this.job)}/live`);
    wire.onmessage = (m) => { if (String(JSON.parse(m.data).entries) !== this.dataset.entries && !this.sending) this.refresh(false); };
    wire.onopen = () => { if (!this.connected && !this.sending) banner(""); this.connected = true; this.stranger = false; this.send(); };
    wire.onclose = async () => {
      this.connected = false;
      this.stranger = await fetch(`/api/jobs/${encodeURIComponent(this.job)}`).then((a) => a.status === 401 || a.status === 403, () => false);
      const n = (await waiting(this.job)).length;
      if (this.isConnected && !this.sending && !this.connected) banner(away(n, this.stranger));
      setTimeout(() => this.isConnected && this.listen(), 2000);
    };
  }
}
