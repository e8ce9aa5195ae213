// @ts-check
/** A recording brought in pieces: goes on where it stopped when the network comes back. */

import { told } from "./problem.js";

const WAIT_MS = 1500;

/** @param {number} ms */
const pause = (ms) => new Promise((done) => setTimeout(done, ms));

class BringRecording extends HTMLElement {
  connectedCallback() {
    this.querySelector("form")?.addEventListener("submit", (e) => { e.preventDefault(); this.bring(); });
  }

  /** @param {string} words */
  say(words) { const out = this.querySelector(".far"); if (out) out.textContent = words; }

  /** The same file chosen again goes on under the same key. @param {File} file */
  key(file) {
    const known = `amptrail-recording ${this.dataset.job} ${file.name} ${file.size} ${file.lastModified}`;
    let key = localStorage.getItem(known);
    if (!key) {
      const bytes = crypto.getRandomValues(new Uint8Array(9));
      key = Array.from(bytes, (b) => b.toString(16).padStart(2, "0")).join("");
      localStorage.setItem(known, key);
    }
    return key;
  }

  async bring() {
    const file = /** @type {HTMLInputElement} */ (this.querySelector("input[type=file]")).files?.[0];
    const button = /** @type {HTMLButtonElement} */ (this.querySelector("button"));
    const shown = /** @type {HTMLElement} */ (this.querySelector(".bringing"));
    const bar = /** @type {HTMLProgressElement} */ (this.querySelector("progress"));
    if (!file) return;
    shown.hidden = false;
    if (!file.size) { this.say("this file is empty: copy it from the scope again"); return; }
    if (file.size > Number(this.dataset.most)) { this.say(`this file has ${(file.size / 1e9).toFixed(1)} GB, more than is taken: is it the right one?`); return; }
    button.disabled = true;
    const key = this.key(file), part = Number(this.dataset.part);
    const at = `/job/${encodeURIComponent(this.dataset.job || "")}/recordings/${key}`;
    let here = 0;
    while (here < file.size) {
      bar.value = here / file.size;
      this.say(`${(here / 1e6).toFixed(1)} of ${(file.size / 1e6).toFixed(1)} MB`);
      try {
        const asked = `?file=${encodeURIComponent(file.name)}&offset=${here}&size=${file.size}`;
        const answer = await fetch(at + asked, { method: "PUT", body: file.slice(here, here + part) });
        const got = await answer.json().catch(() => ({}));
        if (answer.ok || answer.status === 409) { here = got.here; continue; }
        const why = got.problems?.[0];
        this.say(why ? told(why) : got.detail || `not taken (${answer.status})`);
        button.disabled = false;
        return;
      } catch { this.say("no connection to the laptop: goes on by itself"); await pause(WAIT_MS); }
    }
    bar.value = 1;
    this.say("it is here, being read …");
    location.href = `/job/${encodeURIComponent(this.dataset.job || "")}/recording/${key}`;
  }
}

customElements.define("bring-recording", BringRecording);
