// Colours are said once, in the style sheet, where light, dark and paper differ.

const NAMES = /** @type {const} */ ({
  ink: "--ink",
  soft: "--soft",
  rule: "--rule",
  band: "--band",
  bandEdge: "--band-edge",
  line: "--line",
  halo: "--halo",
  pit: "--pit",
  doubt: "--doubt",
  thin: "--thin",
  carried: "--carried",
  drawn: "--drawn",
  driver1: "--driver-1",
  driver2: "--driver-2",
  driver3: "--driver-3",
  driver4: "--driver-4",
  driver5: "--driver-5",
  driver6: "--driver-6",
  driver7: "--driver-7",
  driver8: "--driver-8",
  panel: "--panel",
  quality: "--quality",
});

/** @typedef {Record<keyof typeof NAMES, string>} Colours */

/** @returns {Colours} */
export function colours() {
  const style = getComputedStyle(document.documentElement);
  const named = Object.entries(NAMES).map(([name, property]) => [
    name,
    style.getPropertyValue(property).trim(),
  ]);
  return Object.fromEntries(named);
}
