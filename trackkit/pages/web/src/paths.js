// Lines and bands on the screen, as paths of a canvas.

/** @import { WorldPoints } from "./mercator.js" */

/** Darker than anything drawn, below light colours. */
export const CASING = "#16181a";

/** @param {...WorldPoints} lines */
export function pathOf(...lines) {
  const path = new Path2D();
  for (const { x, y } of lines) {
    path.moveTo(x[0], y[0]);
    for (let n = 1; n < x.length; n++) {
      path.lineTo(x[n], y[n]);
    }
  }
  return path;
}

/**
 * Quadrilaterals between neighbouring cross-sections, all turned the same way, so that the band
 * stays whole where a tight corner's inside folds over itself or a bridge crosses it.
 *
 * @param {WorldPoints} left
 * @param {WorldPoints} right
 */
export function bandOf(left, right) {
  const band = new Path2D();
  for (let n = 0; n < left.x.length - 1; n++) {
    const ring = [
      [left.x[n], left.y[n]],
      [left.x[n + 1], left.y[n + 1]],
      [right.x[n + 1], right.y[n + 1]],
      [right.x[n], right.y[n]],
    ];
    let area = 0;
    ring.forEach(([x, y], k) => {
      const [u, v] = ring[(k + 1) % 4];
      area += x * v - u * y;
    });
    if (area < 0) {
      ring.reverse();
    }
    band.moveTo(ring[0][0], ring[0][1]);
    ring.slice(1).forEach(([x, y]) => band.lineTo(x, y));
    band.closePath();
  }
  return band;
}
