// The shape of the pit lane's line while it is edited: on the line's plane, metres.

/** @typedef {{ x: number, y: number }} Point */

/**
 * Leave out the points of a line that lie within some metres of the rest (Douglas and Peucker,
 * 1973; from memory): what hundreds of fixes drew is edited by a few points.
 *
 * @param {Point[]} points
 * @param {number} within  metres
 * @returns {number[]}  which of them stay, first and last among them
 */
export function thinned(points, within) {
  const last = points.length - 1;
  const kept = new Set([0, last]);
  /** @type {[number, number][]} */
  const open = [[0, last]];
  for (let piece = open.pop(); piece; piece = open.pop()) {
    const [from, to] = piece;
    let farthest = within;
    let at = -1;
    for (let n = from + 1; n < to; n++) {
      const away = distance(points[n], points[from], points[to]).away;
      if (away > farthest) {
        farthest = away;
        at = n;
      }
    }
    if (at > 0) {
      kept.add(at);
      open.push([from, at], [at, to]);
    }
  }
  return [...kept].sort((a, b) => a - b);
}

/**
 * The piece of a line that is nearest to a point.
 *
 * @param {Point[]} points  two or more
 * @param {Point} point
 * @returns {number}  of the piece's first point
 */
export function nearestPiece(points, point) {
  let best = 0;
  let least = Infinity;
  for (let n = 0; n < points.length - 1; n++) {
    const { away } = distance(point, points[n], points[n + 1]);
    if (away < least) {
      least = away;
      best = n;
    }
  }
  return best;
}

/**
 * Where in a line a point is to be put: before its first one, after its last one, or between the
 * two that it is nearest to.
 *
 * @param {Point[]} points
 * @param {Point} point
 * @returns {number}  its number in the line
 */
export function placeInLine(points, point) {
  if (points.length < 2) {
    return points.length;
  }
  const piece = nearestPiece(points, point);
  const { share } = distance(point, points[piece], points[piece + 1]);
  if (piece === 0 && share <= 0) {
    return 0;
  }
  return share >= 1 && piece === points.length - 2 ? points.length : piece + 1;
}

/**
 * A list with one more in it.
 *
 * @template T
 * @param {T[]} list
 * @param {number} n  its number in the list
 * @param {T} one
 */
export function inserted(list, n, one) {
  return [...list.slice(0, n), one, ...list.slice(n)];
}

/**
 * A point halfway from one to the next or, after the last one, straight on.
 *
 * @param {Point[]} points  one or more
 * @param {number} n
 * @param {number} ahead  metres beyond the last one
 * @returns {Point}
 */
export function pointAfter(points, n, ahead) {
  const { x, y } = points[n];
  const next = points[n + 1];
  const other = next ?? points[n - 1] ?? { x: x - 1, y };
  const way = Math.max(Math.hypot(other.x - x, other.y - y), 1e-6);
  const share = next ? 0.5 : -ahead / way;
  return { x: x + share * (other.x - x), y: y + share * (other.y - y) };
}

/**
 * @param {Point} point
 * @param {Point} from
 * @param {Point} to
 * @returns {{ away: number, share: number }}  metres; share of the way where it is beside
 */
function distance(point, from, to) {
  const bx = to.x - from.x;
  const by = to.y - from.y;
  const length = bx * bx + by * by;
  const along = length ? ((point.x - from.x) * bx + (point.y - from.y) * by) / length : 0;
  const share = Math.min(1, Math.max(0, along));
  const away = Math.hypot(point.x - from.x - share * bx, point.y - from.y - share * by);
  return { away, share };
}
