// Where a point that is dragged comes to rest, if that is asked for: on what was recorded, or on
// the line as it was.

import { unpack } from "./packing.js";

/**
 * @import { Position } from "./line.js"
 * @import { MapView } from "./map.js"
 * @import { Session } from "./session.js"
 */

const REACH_PX = 12;

/**
 * The nearest fix or place of the line within reach, or the place itself.
 *
 * @param {Session} session
 * @param {MapView} view
 * @param {Position} at
 * @returns {Position}
 */
export function snapped(session, view, at) {
  const { line } = session;
  const [x, y] = [line.east(at[0]), line.north(at[1])];
  const onLine = line.nearest(x, y);
  let least = REACH_PX * view.metresPerPixel();
  let best = at;
  if (onLine.distance < least) {
    const { lon, lat } = line.at(onLine.chainage);
    least = onLine.distance;
    best = [lon, lat];
  }
  for (const { fixes } of session.base.recordings) {
    const [lon, lat] = fixes ? [unpack(fixes.lon), unpack(fixes.lat)] : [[], []];
    for (let n = 0; n < lon.length; n++) {
      const away = Math.hypot(line.east(lon[n]) - x, line.north(lat[n]) - y);
      if (away < least) {
        least = away;
        best = [lon[n], lat[n]];
      }
    }
  }
  return best;
}
