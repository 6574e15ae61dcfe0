// Which laps and sectors are marked as a driver's best: the fastest, and those equal to it, which
// are slower by no more than one sigma of their difference.

import { keyOf } from "./lap_keys.js";

/**
 * @import { KeyedLap, Session } from "./session.js"
 *
 * @typedef {{ time_s: number | null, sigma_s: number | null }} Timed
 *
 * @typedef {"best" | "equal"} Mark
 */

/**
 * The marks of one column: of lap times, or of a sector, whose place is from 0.
 *
 * @param {Session} session
 * @param {number | null} sector
 * @returns {Map<string, Mark>}  by the laps' keys
 */
export function bestsOf(session, sector) {
  const laps = new Map(session.laps().map((lap) => [lap.key, lap]));
  /** @param {string} key @returns {Timed} */
  const timed = (key) => {
    const lap = laps.get(key);
    const own = sector === null ? lap : lap?.sectors[sector];
    return own ?? { time_s: null, sigma_s: null };
  };
  /** @type {Map<string, Mark>} */
  const marks = new Map();
  for (const { recordings } of session.drivers) {
    const fronts = recordings
      .map((recording) => frontOf(session, recording, sector))
      .filter((front) => front.length)
      .sort((a, b) => Number(timed(a[0]).time_s) - Number(timed(b[0]).time_s));
    const [best] = fronts;
    if (best) {
      best.forEach((key, n) => marks.set(key, n ? "equal" : "best"));
      // Errors of two recordings are independent.
      const { time_s: time, sigma_s: sigma } = timed(best[0]);
      fronts.slice(1).forEach((front) => {
        const behind = Number(timed(front[0]).time_s) - Number(time);
        if (behind <= Math.hypot(Number(sigma), Number(timed(front[0]).sigma_s))) {
          marks.set(front[0], "equal");
        }
      });
    }
  }
  return marks;
}

/**
 * Keys of the laps of a recording in front, the fastest first; where gates can be moved, the
 * fastest alone.
 *
 * @param {Session} session
 * @param {number} recording
 * @param {number | null} sector
 * @returns {string[]}
 */
function frontOf(session, recording, sector) {
  const bests = session.day?.bests[recording];
  if (bests) {
    const front = sector === null ? bests.laps : bests.sectors[sector];
    if (front) {
      return front.map(([part, number]) => keyOf({ recording, session: part, number }));
    }
  }
  /** @param {KeyedLap} lap */
  const time = (lap) => (sector === null ? lap.time_s : lap.sectors[sector]?.time_s) ?? Infinity;
  const own = session
    .laps()
    .filter((lap) => lap.recording === recording && lap.counts && time(lap) < Infinity)
    .sort((a, b) => time(a) - time(b));
  return own.slice(0, 1).map((lap) => lap.key);
}
