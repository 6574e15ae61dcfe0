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
  lap1: "--lap-1",
  lap2: "--lap-2",
  lap3: "--lap-3",
  lap4: "--lap-4",
  lap5: "--lap-5",
  lap6: "--lap-6",
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
