// How well sums of times of laps are known, by what the errors of a recording share.

import assert from "node:assert/strict";
import { test } from "node:test";

import { PlaceErrors } from "../src/place_errors.js";
import { baseDocument } from "./documents.js";

/**
 * @import { Errors, Passed } from "../src/place_errors.js"
 */

const compared = baseDocument().comparison?.recordings.find((laps) => laps?.errors);
const told = /** @type {Errors} */ (compared?.errors);
const errors = new PlaceErrors(told);

/**
 * A place that a lap passed at 30 m/s, heading east.
 *
 * @param {string} lap
 * @param {number} share  of the lap
 * @param {number} [begun]  seconds
 * @returns {Passed}
 */
function passed(lap, share, begun = 0) {
  const way = share * (errors.last - errors.first);
  return { lap, at: errors.first + way, speed: 30, east: 1, north: 0, when: begun + way / 30 };
}

test("sectors of one lap are known together as well as the lap", () => {
  const [begin, middle, end] = [0, 0.4, 1].map((share) => passed("1,2", share));
  const whole = errors.between(begin, end);
  const parts = errors.sigma([
    [begin, middle],
    [middle, end],
  ]);
  assert.ok(whole > 0);
  assert.ok(Math.abs(parts - whole) < 1e-9);
});

test("sectors of two laps are known better together than if they shared no error", () => {
  /** @type {[Passed, Passed]} */
  const one = [passed("1,2", 0), passed("1,2", 0.4)];
  /** @type {[Passed, Passed]} */
  const other = [passed("1,3", 0.4, 100), passed("1,3", 1, 100)];
  const apart = Math.hypot(errors.between(...one), errors.between(...other));
  assert.ok(errors.sigma([one, other]) < apart);
});
