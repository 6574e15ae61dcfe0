import assert from "node:assert/strict";
import { test } from "node:test";
import { placeInLine, pointAfter, thinned } from "../src/lane_shape.js";

/** @param {[number, number][]} pairs */
const points = (pairs) => pairs.map(([x, y]) => ({ x, y }));

test("points on a straight are left out, and its ends and bends stay", () => {
  const line = points([
    [0, 0],
    [10, 0.2],
    [20, 0],
    [30, 0],
    [30, 10],
    [30.1, 20],
    [30, 30],
  ]);
  assert.deepEqual(thinned(line, 0.3), [0, 3, 6]);
  assert.deepEqual(thinned(line, 0.15), [0, 1, 3, 6]);
});

test("what is left of a wavy line is nowhere farther from it than it may be", () => {
  const line = Array.from({ length: 400 }, (_, n) => ({ x: n, y: 20 * Math.sin(n / 40) }));
  const kept = thinned(line, 0.5);
  assert.ok(kept.length < 40);
  line.forEach(({ x, y }, n) => {
    const after = kept.findIndex((k) => k >= n);
    const [from, to] = [line[kept[Math.max(after - 1, 0)]], line[kept[after]]];
    const share = to.x === from.x ? 0 : (x - from.x) / (to.x - from.x);
    const across = y - from.y - share * (to.y - from.y);
    // Square to the piece it is less than straight up.
    assert.ok(Math.abs(across) * Math.cos(Math.atan2(to.y - from.y, to.x - from.x)) <= 0.5 + 1e-9);
  });
});

test("a point goes between the two that it is nearest to, or beyond either end", () => {
  const line = points([
    [0, 0],
    [100, 0],
    [100, 80],
  ]);
  assert.equal(placeInLine(line, { x: 40, y: 9 }), 1);
  assert.equal(placeInLine(line, { x: 95, y: 60 }), 2);
  assert.equal(placeInLine(line, { x: -20, y: 5 }), 0);
  assert.equal(placeInLine(line, { x: 104, y: 120 }), 3);
  assert.equal(placeInLine(points([[1, 1]]), { x: 0, y: 0 }), 1);
});

test("a point is added halfway to the next one, and beyond the last one straight on", () => {
  const line = points([
    [0, 0],
    [30, 40],
  ]);
  assert.deepEqual(pointAfter(line, 0, 20), { x: 15, y: 20 });
  const { x, y } = pointAfter(line, 1, 20);
  assert.ok(Math.hypot(x - 42, y - 56) < 1e-9);
});
