// A cubic spline by chord length through points of a plane, as the server draws stretches by hand.

/**
 * @typedef {{ x: number, y: number }} Point
 *
 * @typedef {object} Spline
 * @property {Point[]} points
 * @property {number[]} at  chord length from the first point to each, metres
 * @property {Point[]} slopes  by metre of chord
 */

/**
 * Lay a spline through points.
 *
 * @param {Point[]} points  two or more
 * @param {Point | null} first  slope at the first point; null where it ends without bending
 * @param {Point | null} last
 * @returns {Spline}
 */
export function splineThrough(points, first, last) {
  const at = [0];
  for (let n = 1; n < points.length; n++) {
    const { x, y } = points[n - 1];
    at.push(at[n - 1] + Math.max(Math.hypot(points[n].x - x, points[n].y - y), 1e-6));
  }
  const x = slopesOf(
    at,
    points.map((point) => point.x),
    first && first.x,
    last && last.x,
  );
  const y = slopesOf(
    at,
    points.map((point) => point.y),
    first && first.y,
    last && last.y,
  );
  return { points, at, slopes: x.map((slope, n) => ({ x: slope, y: y[n] })) };
}

/**
 * Slopes at the knots of a spline whose second derivative is continuous (tridiagonal equations;
 * de Boor, A Practical Guide to Splines, chapter 4; from memory).
 *
 * @param {number[]} at
 * @param {number[]} value
 * @param {number | null} first
 * @param {number | null} last
 * @returns {number[]}
 */
function slopesOf(at, value, first, last) {
  const end = at.length - 1;
  const step = at.slice(1).map((to, n) => to - at[n]);
  const rise = step.map((size, n) => (value[n + 1] - value[n]) / size);
  const below = Array(end + 1).fill(0);
  const middle = Array(end + 1).fill(1);
  const above = Array(end + 1).fill(0);
  const right = Array(end + 1).fill(0);
  [right[0], right[end]] = [first ?? 0, last ?? 0];
  if (first === null) {
    [middle[0], above[0], right[0]] = [2, 1, 3 * rise[0]];
  }
  if (last === null) {
    [middle[end], below[end], right[end]] = [2, 1, 3 * rise[end - 1]];
  }
  for (let n = 1; n < end; n++) {
    below[n] = step[n];
    middle[n] = 2 * (step[n - 1] + step[n]);
    above[n] = step[n - 1];
    right[n] = 3 * (step[n] * rise[n - 1] + step[n - 1] * rise[n]);
  }
  for (let n = 1; n <= end; n++) {
    const share = below[n] / middle[n - 1];
    middle[n] -= share * above[n - 1];
    right[n] -= share * right[n - 1];
  }
  for (let n = end; n >= 0; n--) {
    right[n] = (right[n] - (n < end ? above[n] * right[n + 1] : 0)) / middle[n];
  }
  return right;
}

/**
 * A place of a spline.
 *
 * @param {Spline} spline
 * @param {number} n  of the point before it
 * @param {number} share  of the way to the next point
 * @returns {Point}
 */
export function placeOn({ points, at, slopes }, n, share) {
  const step = at[n + 1] - at[n];
  const [from, to] = [points[n], points[n + 1]];
  const rest = 1 - share;
  const [a, b] = [rest * rest * (1 + 2 * share), share * share * (1 + 2 * rest)];
  const [c, d] = [share * rest * rest * step, -share * share * rest * step];
  return {
    x: a * from.x + b * to.x + c * slopes[n].x + d * slopes[n + 1].x,
    y: a * from.y + b * to.y + c * slopes[n].y + d * slopes[n + 1].y,
  };
}
