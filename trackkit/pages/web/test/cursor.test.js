import assert from "node:assert/strict";
import { test } from "node:test";
import { Session } from "../src/session.js";
import { baseDocument, stateDocument } from "./documents.js";

function opened() {
  const session = new Session(baseDocument(), stateDocument());
  return { session, cursor: session.cursor, laps: session.drawn.all };
}

test("laps drawn begin with the reference lap", () => {
  const { session, laps } = opened();
  assert.ok(laps.length > 1);
  assert.equal(laps[0].lap.key, session.reference);
  assert.deepEqual(
    laps.map(({ letter }) => letter),
    ["A", "B", "C"].slice(0, laps.length),
  );
});

test("a clock is the inverse of a lap's times", () => {
  const { session, laps } = opened();
  for (const { lap, trace, clock } of laps) {
    for (let place = 1; place < session.length - 3; place += 7.3) {
      assert.ok(Math.abs(clock.at(trace.time(place)) - place) < 0.05);
    }
    assert.ok(Math.abs(clock.end - Number(lap.time_s)) < 0.01, `${clock.end} ${lap.time_s}`);
    assert.ok(Number.isNaN(clock.at(-1)));
    assert.ok(Number.isNaN(clock.at(clock.end + 1)));
  }
});

test("by distance all laps are read at one place, by time each at its own", () => {
  const { session, cursor, laps } = opened();
  cursor.move(400);
  assert.ok(Math.abs(cursor.time - laps[0].trace.time(400)) < 1e-9);
  assert.deepEqual(
    laps.map((lap) => cursor.placeOf(lap)),
    laps.map(() => 400),
  );
  cursor.layOutBy("time");
  assert.equal(session.place, 400);
  for (const lap of laps) {
    assert.ok(Math.abs(lap.trace.time(cursor.placeOf(lap)) - cursor.time) < 0.005);
  }
  assert.ok(Math.abs(cursor.placeOf(laps[1]) - 400) > 0.01);
});

test("steps go by metres and by seconds, and stop at both ends", () => {
  const { session, cursor, laps } = opened();
  cursor.move(100);
  cursor.step(1);
  assert.equal(session.place, 101);
  const before = cursor.time;
  cursor.stepTime(0.1);
  assert.ok(Math.abs(cursor.time - before - 0.1) < 1e-9);
  assert.ok(Math.abs(laps[0].trace.time(Number(session.place)) - cursor.time) < 0.005);
  cursor.step(Infinity);
  assert.ok(Math.abs(Number(session.place) - session.length) < 0.01);
  cursor.step(-Infinity);
  assert.equal(session.place, 0);
  cursor.stepTime(-1);
  assert.ok(Number(session.place) < 0.2);
});

test("a pointer that passes moves the cursor until it is pinned", () => {
  const { session, cursor } = opened();
  cursor.pass(50);
  assert.equal(session.place, 50);
  cursor.pass(null);
  assert.equal(session.place, 50);
  cursor.pin(true);
  cursor.pass(90);
  assert.equal(session.place, 50);
  cursor.pin(false);
  cursor.pass(90);
  assert.equal(session.place, 90);
});
