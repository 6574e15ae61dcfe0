import assert from "node:assert/strict";
import { test } from "node:test";
import { Session } from "../src/session.js";
import { sampled } from "../src/traces.js";
import { baseDocument, stateDocument } from "./documents.js";

test("evenly spaced values are read between them, and nowhere else", () => {
  const values = Float64Array.of(10, 12, NaN, 16);
  assert.equal(sampled(values, 2, 100, 101), 11);
  assert.equal(sampled(values, 2, 100, 100), 10);
  assert.equal(sampled(values, 2, 100, 106), NaN);
  for (const outside of [99.9, 106.1, 103]) {
    assert.ok(Number.isNaN(sampled(values, 2, 100, outside)), String(outside));
  }
});

test("a lap's time at the end of its last sector is its lap time", () => {
  const session = new Session(baseDocument(), stateDocument());
  for (const lap of session.timedLaps()) {
    const trace = session.traceOf(lap);
    assert.ok(trace);
    const [first, second] = session.state.gates.slice(1).map((gate) => gate.chainage_m);
    const split = Number(lap.sectors[0].time_s);
    const next = split + Number(lap.sectors[1].time_s);
    assert.ok(Math.abs(trace.time(0)) < 0.002);
    assert.ok(Math.abs(trace.time(first) - split) < 0.01, `${trace.time(first)} ${split}`);
    assert.ok(Math.abs(trace.time(second) - next) < 0.01);
    assert.ok(trace.speed(first) > 5);
  }
});

test("where the finish gate has moved a lap runs on into the next one's trace", () => {
  const session = new Session(baseDocument(), stateDocument());
  const [first, second] = session.timedLaps();
  const before = session.traceOf(first);
  const after = session.traceOf(second);
  assert.ok(before && after);
  const datum = 60;
  const begun = before.time(datum);
  const moved = {
    ...first,
    start_s: Number(first.start_s) + begun,
    time_s: Number(first.time_s) - begun + after.time(datum),
  };
  session.setState({ ...stateDocument(), datum_m: datum, laps: [moved] });
  const trace = session.traceOf(moved);
  assert.ok(trace);
  assert.ok(Math.abs(trace.time(0)) < 1e-6);
  assert.ok(Math.abs(trace.time(100) - (before.time(160) - begun)) < 1e-6);
  // 20 m before the finish gate, which stands 60 m into the next lap's trace.
  const late = session.length - 20;
  assert.ok(Math.abs(trace.speed(late) - after.speed(40)) < 1e-6);
  assert.ok(trace.time(late) < moved.time_s);
  assert.ok(trace.time(late) > trace.time(100));
});

test("a lap that no trace begins near has none", () => {
  const session = new Session(baseDocument(), stateDocument());
  const [lap] = session.timedLaps();
  assert.equal(session.traceOf({ ...lap, start_s: Number(lap.start_s) + 1e5 }), null);
  assert.equal(session.traceOf({ ...lap, recording: 7 }), null);
});
