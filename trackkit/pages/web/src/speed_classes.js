// Classes of speed that fixes are coloured by.

import { units } from "./units.js";

/**
 * The class of each speed: how many bounds it reaches.
 *
 * @param {ArrayLike<number>} speeds  metres a second
 * @param {number[]} bounds  in the unit of speed that people read
 */
export function speedClasses(speeds, bounds) {
  const { speed_per_mps } = units();
  return Uint8Array.from(
    speeds,
    (value) => bounds.filter((bound) => speed_per_mps * value >= bound).length,
  );
}
