// The lines that are moved by hand, and the edit that is sent of what was drawn of them.

/**
 * @import { Path, Stretch } from "./drawn_stretches.js"
 * @import { Which } from "./line_editor.js"
 * @import { Edit } from "./requests.js"
 * @import { Session } from "./session.js"
 */

const EDGE_STEP_M = 0.5;

/**
 * @param {Session} session
 * @returns {Path}
 */
export function centreOf({ line }) {
  return { length: line.length, closed: line.closed, at: (chainage) => line.at(chainage) };
}

/**
 * @param {Session} session
 * @param {"left" | "right"} side
 * @returns {Path}
 */
export function edgeOf({ line }, side) {
  const at = (/** @type {number} */ chainage) => {
    const place = line.at(chainage);
    const aside = side === "left" ? place.left : -place.right;
    return { x: place.x - place.north * aside, y: place.y + place.east * aside };
  };
  return {
    length: line.length,
    closed: line.closed,
    at: (chainage) => {
      const [from, to] = [at(chainage - EDGE_STEP_M), at(chainage + EDGE_STEP_M)];
      const way = Math.hypot(to.x - from.x, to.y - from.y) || 1;
      return { ...at(chainage), east: (to.x - from.x) / way, north: (to.y - from.y) / way };
    },
  };
}

/**
 * The edit that draws stretches of the centreline, or of an edge, anew.
 *
 * @param {Session} session
 * @param {Which} which
 * @param {Stretch[]} stretches
 * @returns {Edit}
 */
export function sentEdit(session, which, stretches) {
  const shown = (/** @type {number | null} */ base) => (base === null ? null : session.shown(base));
  return {
    ...(which === "line" ? { do: "line" } : { do: "edge", side: which }),
    datum_m: session.state.datum_m,
    stretches: stretches.map(({ from, to, points }) => ({
      from_m: shown(from),
      to_m: shown(to),
      points: points.map(({ x, y }) => session.line.toLonLat(x, y)),
    })),
  };
}
