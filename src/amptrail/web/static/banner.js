// @ts-check
/** One line under the header that says how it stands with the laptop. */

/** @param {string} words */
export function banner(words) {
  const b = document.getElementById("link-state");
  if (b) { b.textContent = words; b.hidden = !words; }
}
