// The units that people read on this page; Python says which, and their factors.

/** @typedef {import("./base_document.js").BaseDocument["units"]} Units */

/** @type {Units} */
let shown = {
  speed: "km/h",
  speed_per_mps: 3.6,
  length: "m",
  length_name: "metres",
  length_per_m: 1,
  long_length: "km",
  long_per_m: 0.001,
};

/** @param {Units} chosen */
export function showIn(chosen) {
  shown = chosen;
}

/** Put the unit of length into the texts of the page that are marked for it. */
export function nameUnits() {
  for (const node of document.querySelectorAll("[data-unit]")) {
    node.textContent = shown[node.getAttribute("data-unit") === "name" ? "length_name" : "length"];
  }
}

/** @returns {Units} */
export function units() {
  return shown;
}

/**
 * A length in the unit that is read, as a field holds it.
 *
 * @param {number} metres
 * @param {number} digits
 */
export function inField(metres, digits) {
  return (shown.length_per_m * metres).toFixed(digits);
}

/**
 * Metres of a length that was typed.
 *
 * @param {number} length
 */
export function metresOf(length) {
  return length / shown.length_per_m;
}

/** What the map's scale bar is to show. */
export function scaleUnits() {
  const metric = shown.length === "m";
  return { metric, imperial: !metric };
}
