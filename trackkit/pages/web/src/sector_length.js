// How long sectors are.

/**
 * @import { Session } from "./session.js"
 * @import { Sector } from "./state_document.js"
 */

/**
 * Length of a sector, also while a gate of it is dragged.
 *
 * @param {Session} session
 * @param {Sector} sector
 */
export function sectorLength(session, sector) {
  const [from, to] = [session.gate(sector.from), session.gate(sector.to)];
  if (!session.sliding || !from || !to) {
    return sector.length_m;
  }
  const way = session.gatePlace(to).base - session.gatePlace(from).base;
  const length = session.line.closed ? session.line.wrap(way) : way;
  return length < 1e-6 && from === to ? session.length : length;
}
