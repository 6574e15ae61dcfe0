// Sectors of laps at gates that were laid on the page, and what is the best of them.

import { passing, rowOf } from "./lap_crossings.js";

/**
 * @import { Day } from "./base_document.js"
 * @import { GateLine, Passing } from "./lap_crossings.js"
 * @import { Passed } from "./place_errors.js"
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
  const passed = passedAt(session, lap, gates);
  if (!passed) {
    const none = { time_s: null, sigma_s: null };
    return { ...lap, sectors: Array.from({ length: gates.length + 1 }, () => ({ ...none })) };
  }
  const errors = session.comparison?.errors[lap.recording];
  const sectors = passed.slice(1).map((after, n) => {
    const before = passed[n];
    if (!before || !after) {
      return { time_s: null, sigma_s: null };
    }
    const known = gates.length ? errors?.between(before, after) : Number(lap.sigma_s);
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
 * How a lap passed the gate it begins at, gates that were laid, and that which it ends at; null
 * where it has no trace.
 *
 * @param {Session} session
 * @param {Lap} lap
 * @param {GateLine[]} gates  in racing order, without those that laps begin and end at
 * @returns {((Passing & Passed) | null)[] | null}
 */
function passedAt(session, lap, gates) {
  const row = rowOf(session, lap);
  if (!row) {
    return null;
  }
  const { grid } = session.traces;
  const last = row.speeds.length - 1;
  /** @param {number} n @param {number | null} time @returns {Passing | null} */
  const atGate = (n, time) => {
    const at = row.from + n * grid;
    return time === null ? null : { at, speed: row.speeds[n], ...directionAt(session, at), time };
  };
  return [
    atGate(0, row.begun),
    ...gates.map((gate) => passing(session, lap, gate)),
    atGate(last, row.ended),
  ].map(
    (passed) =>
      passed && { ...passed, when: row.start + passed.time, lap: [lap.session, lap.number].join() },
  );
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
 * @param {GateLine[]} gates  that laps were timed at, without those they begin and end at
 * @returns {Day | null}
 */
export function dayAt(session, laps, gates) {
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
        (best, lap) =>
          Number(lap.sectors[n].time_s) < Number(best.sectors[n].time_s) ? lap : best,
        own[0],
      ),
    );
    const times = bests.map(({ sectors }, n) => sectors[n].time_s);
    const known = times.length > 0 && times.every((time) => time !== null);
    return {
      ...summary,
      laps_counted: own.length,
      theoretical_best_s: known ? times.reduce((sum, time) => sum + Number(time), 0) : null,
      theoretical_best_sigma_s: known ? sigmaOf(session, bests, gates) : null,
    };
  });
  return { summaries, bests: day.bests.map((bests) => ({ ...bests, sectors: [] })) };
}

/**
 * One sigma of the sum of sectors of some laps, seconds; null where it is not known. Errors of one
 * recording go together, those of two do not.
 *
 * @param {Session} session
 * @param {Lap[]} laps  that each sector is of
 * @param {GateLine[]} gates
 */
function sigmaOf(session, laps, gates) {
  const times = laps.map((lap, n) => {
    const passed = passedAt(session, lap, gates) ?? [];
    return {
      recording: lap.recording,
      ends: /** @type {[Passed, Passed]} */ ([passed[n], passed[n + 1]]),
    };
  });
  const sigmas = [...new Set(laps.map(({ recording }) => recording))].map((recording) => {
    const own = times.filter((time) => time.recording === recording).map(({ ends }) => ends);
    const errors = session.comparison?.errors[recording];
    return errors?.sigma(own);
  });
  const sigma = Math.hypot(...sigmas.map((own) => own ?? NaN));
  return Number.isFinite(sigma) ? sigma : null;
}
