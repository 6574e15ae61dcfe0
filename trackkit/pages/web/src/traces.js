// Laps against chainage: time since the lap began, speed, accelerations, distance beside the line.

import { keyOf } from "./lap_keys.js";
import { unpack } from "./packing.js";

/**
 * @import { BaseDocument, LapTrace } from "./base_document.js"
 * @import { Lap } from "./state_document.js"
 * @import { Line } from "./line.js"
 *
 * @typedef {object} Row  a lap that has a trace
 * @property {string} key  of the lap, see `keyOf`
 * @property {number} recording
 * @property {number} session
 * @property {number} number
 * @property {number} start  seconds
 * @property {number} time  seconds; NaN of a way to a lap or from one
 * @property {number | null} begun  when it passed the gate that laps begin at, since the start
 * @property {number | null} ended  when it passed that which they end at
 * @property {number} from  chainage of the first value
 * @property {Float64Array} times
 * @property {Float64Array} speeds
 * @property {Float64Array} offsets  metres to the left of the centreline
 * @property {Float64Array} along  accelerations, metres a second squared
 * @property {Float64Array} across
 *
 * @typedef {"times" | "speeds" | "offsets" | "along" | "across"} Values
 *
 * @typedef {object} Trace
 * @property {(shown: number) => number} speed  metres a second at a shown chainage, or NaN
 * @property {(shown: number) => number} time  seconds since the lap began there, or NaN
 * @property {(shown: number) => number} offset  metres to the left of the centreline
 * @property {(shown: number) => number} along  acceleration in the direction of travel
 * @property {(shown: number) => number} across  acceleration to the left of it
 */

/**
 * Linear interpolation in evenly spaced values; NaN outside and beside a missing one.
 *
 * @param {Float64Array} values
 * @param {number} step
 * @param {number} first
 * @param {number} at
 */
export function sampled(values, step, first, at) {
  const place = (at - first) / step;
  const index = Math.min(Math.floor(place), values.length - 2);
  if (!(place >= 0) || place > values.length - 1 + 1e-9 || index < 0) {
    return NaN;
  }
  const share = place - index;
  return values[index] * (1 - share) + values[index + 1] * share;
}

/**
 * Traces were laid out with the finish gate where it was when the page was made; when it has
 * moved, a lap runs from one trace into its neighbour.
 */
export class Traces {
  /**
   * @param {BaseDocument} base
   * @param {Line} line
   */
  constructor(base, line) {
    this.line = line;
    this.grid = base.grid_m;
    this.rows = base.laps.flatMap((lap) => rowOf(lap) ?? []);
    /** Ways to first laps, and from last ones. */
    this.ways = base.laps.flatMap((lap) => wayOf(lap) ?? []);
  }

  /**
   * The trace of a lap as laps are now, or null where none was laid out.
   *
   * @param {Lap} lap
   * @param {number} datum  where shown chainages begin, metres along the line
   * @returns {Trace | null}
   */
  of(lap, datum) {
    if (lap.start_s === null || lap.time_s === null) {
      return null;
    }
    const { length, closed } = this.line;
    const ahead = !closed ? 0 : datum > 0.5 * length ? datum - length : datum;
    const own = this.rows.filter((row) => row.recording === lap.recording);
    const home = this.home(own, lap.start_s, 0.5 * lap.time_s, ahead);
    if (home === null) {
      return null;
    }
    const start = lap.start_s;
    /** @param {number} shown @param {Values} what @returns {[Row | null, number]} */
    const read = (shown, what) => {
      const place = shown + ahead;
      const turn = closed ? Math.floor(place / length) : 0;
      const row = turn === 0 ? home : own.find((other) => isTurn(other, home, turn));
      if (!row) {
        return [null, NaN];
      }
      // The last value of a lap lies up to a step before its end.
      const last = row.from + (row.times.length - 1) * this.grid;
      const over = Math.max(place - turn * length - last, 0);
      if (over >= this.grid) {
        return [row, NaN];
      }
      const value = sampled(row[what], this.grid, row.from, place - turn * length - over);
      const after = what === "times" && over ? over / row.speeds[row.speeds.length - 1] : 0;
      return [row, value + after];
    };
    return {
      speed: (shown) => read(shown, "speeds")[1],
      offset: (shown) => read(shown, "offsets")[1],
      along: (shown) => read(shown, "along")[1],
      across: (shown) => read(shown, "across")[1],
      time: (shown) => {
        const [row, time] = read(shown, "times");
        return row ? row.start + time - start : NaN;
      },
    };
  }

  /**
   * The row in which a lap begins: the one that passes the datum nearest to its start.
   *
   * @param {Row[]} rows
   * @param {number} start  of the lap, seconds
   * @param {number} most  seconds apart
   * @param {number} datum
   */
  home(rows, start, most, datum) {
    /** @type {Row | null} */
    let home = null;
    let least = most;
    for (const row of rows) {
      const place = datum < 0 ? datum + this.line.length : datum;
      const into = sampled(row.times, this.grid, row.from, place);
      const passed = row.start + (Number.isFinite(into) ? into : 0) - (datum < 0 ? row.time : 0);
      const off = Math.abs(passed - start);
      if (off < least || (off === least && home === null)) {
        least = off;
        home = row;
      }
    }
    return home;
  }
}

/**
 * Whether a row is of the lap that comes so many laps after another.
 *
 * @param {Row} row
 * @param {Row} home
 * @param {number} turn
 */
function isTurn(row, home, turn) {
  return row.session === home.session && row.number === home.number + turn;
}

/**
 * @param {LapTrace} lap
 * @returns {Row | null}
 */
function rowOf(lap) {
  const { start_s: start, time_s: time } = lap;
  return start === null || time === null
    ? null
    : laidOut(lap, { start, time, begun: 0, ended: time });
}

/**
 * @param {LapTrace} lap
 * @returns {Row | null}
 */
function wayOf(lap) {
  const { way } = lap;
  return (
    way && laidOut(lap, { start: way.start_s, time: NaN, begun: way.begun_s, ended: way.ended_s })
  );
}

/**
 * @param {LapTrace} lap
 * @param {Pick<Row, "start" | "time" | "begun" | "ended">} when
 * @returns {Row | null}
 */
function laidOut(lap, when) {
  return (
    lap.trace && {
      ...when,
      key: keyOf(lap),
      recording: lap.recording,
      session: lap.session,
      number: lap.number,
      from: lap.from_m,
      times: summed(unpack(lap.trace.time_s)),
      speeds: unpack(lap.trace.speed_mps),
      offsets: unpack(lap.trace.offset_m),
      along: unpack(lap.trace.along_mps2),
      across: unpack(lap.trace.across_mps2),
    }
  );
}

/**
 * Times from steps between those that are known.
 *
 * @param {Float64Array} steps
 */
function summed(steps) {
  let time = 0;
  return steps.map((step) => (Number.isFinite(step) ? (time += step) : NaN));
}
