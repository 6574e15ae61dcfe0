import assert from "node:assert/strict";
import { test } from "node:test";
import { roundTimes } from "../src/lap_chart.js";

test("levels are round times within what is shown, three to five of them or so", () => {
  assert.deepEqual(roundTimes({ low: 0, high: 54.8 }).times, [0, 20, 40]);
  assert.deepEqual(roundTimes({ low: 0, high: 98 }).times, [0, 20, 40, 60, 80]);
  assert.deepEqual(roundTimes({ low: 89.3, high: 106 }).times, [90, 95, 100, 105]);
  assert.deepEqual(roundTimes({ low: 0, high: 7 * 60 }).times, [0, 120, 240, 360]);
});

test("however little laps differ, and however long they are, there are two levels at least", () => {
  for (let room = 0.1; room < 7000; room *= 1.07) {
    for (const low of [0, 13.37, 61.99]) {
      const { step, times } = roundTimes({ low, high: low + room });
      assert.ok(times.length >= 2 && times.length <= 5, `${times.length} of ${room}`);
      for (const time of times) {
        assert.ok(time >= low - 1e-6 && time <= low + room + 1e-6);
        assert.ok(Math.abs(time / step - Math.round(time / step)) < 1e-6);
      }
    }
  }
});
