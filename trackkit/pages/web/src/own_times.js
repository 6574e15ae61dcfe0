// Sectors of laps at gates that were laid on the page, and what is the best of them.

import { passing, rowOf } from "./lap_crossings.js";

/**
 * @import { Day } from "./base_document.js"
 * @import { GateLine, Passing } from "./lap_crossings.js"
 * @import { Session } from "./session.js"
 * @import { Lap } from "./state_document.js"
 */

/**
 * A lap with its sectors between gates.
 *
 * @param {Session} session
 * @param {Lap} lap
 * @param {GateLine[]} gates  in racing order, without those that laps begin and end at
 * @param {boolean} sectorsOnly  whether it missed nothing else than sector gates
 * @returns {Lap}
 */
export function lapAt(session, lap, gates, sectorsOnly) {
  const row = rowOf(session, lap);
  if (!row) {
    const none = { time_s: null, sigma_s: null };
    return { ...lap, sectors: Array.from({ length: gates.length + 1 }, () => ({ ...none })) };
  }
  const { grid } = session.traces;
  const last = row.speeds.length - 1;
  /** @param {number} n @param {number | null} time @returns {Passing | null} */
  const atGate = (n, time) => {
    const at = row.from + n * grid;
    return time === null ? null : { at, speed: row.speeds[n], ...directionAt(session, at), time };
  };
  const passed = [
    atGate(0, row.begun),
    ...gates.map((gate) => passing(session, lap, gate)),
    atGate(last, row.ended),
  ];
  const errors = session.comparison?.errors[lap.recording];
  const sectors = passed.slice(1).map((after, n) => {
    const before = passed[n];
    if (!before || !after) {
      return { time_s: null, sigma_s: null };
    }
    const [from, to] = [before, after].map((one) => ({ ...one, when: row.start + one.time }));
    const known = gates.length ? errors?.between(from, to) : Number(lap.sigma_s);
    return {
      time_s: after.time - before.time,
      sigma_s: Number.isFinite(known) ? Number(known) : null,
    };
  });
  const complete = lap.kind === "flying" && sectorsOnly && passed.every(Boolean);
  const counts = complete && (lap.complete ? lap.counts : !lap.remarks.length);
  return { ...lap, sectors, complete, counts };
}

/**
 * @param {Session} session
 * @param {number} at  chainage
 */
function directionAt({ line }, at) {
  const { east, north } = line.at(at);
  return { east, north };
}

/**
 * The summaries of drivers with the theoretical best of sectors as they are now, and the marks of
 * lap times; which sectors are equal to the best is not worked out here.
 *
 * @param {Session} session
 * @param {Lap[]} laps
 * @returns {Day | null}
 */
export function dayAt(session, laps) {
  const { day } = session.base;
  if (!day) {
    return null;
  }
  const summaries = day.summaries.map((summary) => {
    const driver = session.drivers.find(({ name }) => name === summary.driver);
    const own = laps.filter(
      (lap) => lap.counts && (!driver || driver.recordings.includes(lap.recording)),
    );
    const bests = (own[0]?.sectors ?? []).map((_, n) =>
      own.reduce(
        (best, { sectors }) =>
          Number(sectors[n].time_s) < Number(best.time_s) ? sectors[n] : best,
        own[0].sectors[n],
      ),
    );
    const known = bests.length > 0 && bests.every(({ time_s: time }) => time !== null);
    return {
      ...summary,
      laps_counted: own.length,
      theoretical_best_s: known ? bests.reduce((sum, best) => sum + Number(best.time_s), 0) : null,
      theoretical_best_sigma_s: known
        ? Math.hypot(...bests.map(({ sigma_s: sigma }) => Number(sigma)))
        : null,
    };
  });
  return { summaries, bests: day.bests.map((bests) => ({ ...bests, sectors: [] })) };
}
