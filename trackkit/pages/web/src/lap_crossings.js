// When laps crossed gates that were laid anywhere on the page, from the traces that it holds.

import { keyOf } from "./lap_keys.js";
import { sampled } from "./traces.js";

/**
 * @import { Lap } from "./state_document.js"
 * @import { Position } from "./line.js"
 * @import { Session } from "./session.js"
 * @import { Row } from "./traces.js"
 *
 * @typedef {object} GateLine  a gate as it lies across the line
 * @property {number} at  chainage
 * @property {Position[]} ends  left first
 *
 * @typedef {object} Passing
 * @property {number} at  chainage
 * @property {number} time  seconds since the lap began
 * @property {number} speed  metres a second
 * @property {number} east  racing direction, of length 1
 * @property {number} north
 */

const ROUNDS = 4;

/**
 * A value between evenly spaced ones, on the cubic through the four nearest (Lagrange's formula;
 * from memory). Times bend too much between two places for a straight line.
 *
 * @param {Float64Array} values
 * @param {number} step
 * @param {number} first
 * @param {number} at
 */
export function cubic(values, step, first, at) {
  const place = (at - first) / step;
  const n = Math.min(Math.max(Math.floor(place) - 1, 0), values.length - 4);
  const x = place - n;
  if (n < 0 || x < -1e-9 || x > 4) {
    return NaN;
  }
  const [a, b, c, d] = values.subarray(n, n + 4);
  return (
    (-a * (x - 1) * (x - 2) * (x - 3)) / 6 +
    (b * x * (x - 2) * (x - 3)) / 2 -
    (c * x * (x - 1) * (x - 3)) / 2 +
    (d * x * (x - 1) * (x - 2)) / 6
  );
}

/**
 * How a lap passed a gate; null where it missed it, or the recording does not tell.
 *
 * @param {Session} session
 * @param {Lap} lap
 * @param {GateLine} gate
 * @returns {Passing | null}
 */
export function passing(session, lap, gate) {
  const { traces, line } = session;
  const row = rowOf(session, lap);
  if (!row) {
    return null;
  }
  const place = line.at(gate.at);
  const [left, right] = gate.ends.map((end) => ({
    aside: line.aside(place, end),
    ahead: line.ahead(place, end),
  }));
  const skew = (left.ahead - right.ahead) / (left.aside - right.aside);
  const middle = left.ahead - skew * left.aside;
  let at = gate.at;
  let aside = 0;
  for (let round = 0; round < ROUNDS; round++) {
    aside = sampled(row.offsets, traces.grid, row.from, at);
    at = gate.at + middle + skew * aside;
  }
  const time = cubic(row.times, traces.grid, row.from, at);
  const speed = sampled(row.speeds, traces.grid, row.from, at);
  const hit = aside <= left.aside && aside >= right.aside;
  const { east, north } = place;
  return hit && Number.isFinite(time) ? { at, time, speed, east, north } : null;
}

/**
 * @param {Session} session
 * @param {Lap} lap
 * @returns {Row | undefined}
 */
export function rowOf({ traces }, lap) {
  const key = keyOf(lap);
  return [...traces.rows, ...traces.ways].find((row) => row.key === key);
}
