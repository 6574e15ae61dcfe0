// Classes of speed that fixes are coloured by.

/**
 * The class of each speed: how many bounds it reaches.
 *
 * @param {ArrayLike<number>} speeds  metres a second
 * @param {number[]} boundsKmh
 */
export function speedClasses(speeds, boundsKmh) {
  return Uint8Array.from(
    speeds,
    (value) => boundsKmh.filter((bound) => 3.6 * value >= bound).length,
  );
}
