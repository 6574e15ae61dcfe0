import assert from "node:assert/strict";
import { test } from "node:test";
import { digitsOf, levelStep, stepBetween } from "../src/chart_rows.js";
import { worldOf } from "../src/mercator.js";
import { speedClasses } from "../src/speed_classes.js";

test("the web's Mercator projection is a square with the equator in its middle", () => {
  // EPSG:3857 ends at 85.0511287798066 degrees of latitude, where the world is square.
  const { x, y } = worldOf([0, 180, -180], [0, 85.0511287798066, -85.0511287798066]);
  assert.deepEqual([...x], [0.5, 1, 0]);
  [0.5, 0, 1].forEach((value, n) => assert.ok(Math.abs(y[n] - value) < 1e-12));
});

test("speeds are put into the class whose lower bound they reach", () => {
  const speeds = [0, 9.99, 10, 25].map((mps) => mps);
  assert.deepEqual([...speedClasses(speeds, [36, 72, 90])], [0, 0, 1, 3]);
});

test("levels are 1, 2 or 5 times a power of ten", () => {
  assert.equal(levelStep(0.7), 1);
  assert.equal(levelStep(12), 20);
  assert.equal(levelStep(34), 50);
  assert.ok(Math.abs(levelStep(0.034) - 0.05) < 1e-12);
  assert.equal(levelStep(5), 5);
});

test("levels a step apart read differently", () => {
  assert.deepEqual([0.002, 0.01, 0.05, 0.1, 0.5, 1, 20].map(digitsOf), [3, 2, 2, 1, 1, 0, 0]);
});

test("however low a row is, two of its levels at least are told", () => {
  for (const [low, high] of [
    [-0.11, 0.33],
    [-0.02, 0.02],
    [38.1, 44.9],
    [-3, 1000],
  ]) {
    for (const most of [0, 1, 2, 5]) {
      const step = stepBetween(low, high, most);
      const levels = Math.floor(high / step) - Math.ceil(low / step) + 1;
      assert.ok(levels >= 2 && levels <= 12, `${low} ${high} ${most} ${levels}`);
      const apart = 0.45 * (high - low);
      const spread = stepBetween(low, high, most, apart);
      const ends = [Math.ceil(low / spread), Math.floor(high / spread)];
      assert.ok(spread * (ends[1] - ends[0]) >= apart, `${low} ${high} ${most} ${ends}`);
    }
  }
});
