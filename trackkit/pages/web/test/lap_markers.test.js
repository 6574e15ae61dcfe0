// Markers of laps that are at one place.

import assert from "node:assert/strict";
import { test } from "node:test";

import { apart } from "../src/lap_markers.js";

test("markers at one place stand apart, and the first stays", () => {
  const places = Array.from({ length: 8 }, (_, n) => ({ x: 100 + n, y: 50 }));
  const spots = apart(places);
  assert.deepEqual(spots[0], places[0]);
  spots.forEach((spot, n) => {
    for (const other of spots.slice(n + 1)) {
      assert.ok(Math.hypot(spot.x - other.x, spot.y - other.y) >= 22);
    }
  });
});

test("markers that hide nothing stay", () => {
  const places = [
    { x: 0, y: 0 },
    { x: 40, y: 0 },
  ];
  assert.deepEqual(apart(places), places);
});
