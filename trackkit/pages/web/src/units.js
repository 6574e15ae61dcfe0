// The units that people read on this page; Python says which, and their factors.

/** @typedef {import("./base_document.js").BaseDocument["units"]} Units */

/** @type {Units} */
let shown = { speed: "km/h", speed_per_mps: 3.6, length: "m", length_per_m: 1 };

/** @param {Units} chosen */
export function showIn(chosen) {
  shown = chosen;
}

/** @returns {Units} */
export function units() {
  return shown;
}
