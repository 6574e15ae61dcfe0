import assert from "node:assert/strict";
import { test } from "node:test";
import { unpack } from "../src/packing.js";
import { pack } from "./documents.js";

test("16 bits are read little endian, as steps from the least", () => {
  // 1, 258 and 65535 in two bytes each, by hand.
  const data = btoa(String.fromCharCode(1, 0, 2, 1, 255, 255));
  const values = unpack({ scale: 0.5, zero: 10, type: "u16", count: 3, data });
  assert.deepEqual([...values], [10.5, 139, NaN]);
});

test("32 bits hold what spans more, and a missing value", () => {
  const values = unpack(pack([-1e6, 1e6, NaN, 0.25], 0.01));
  assert.equal(values.length, 4);
  assert.ok(Math.abs(values[1] - 1e6) < 0.005);
  assert.ok(Number.isNaN(values[2]));
  assert.ok(Math.abs(values[3] - 0.25) < 0.005);
});
