import assert from "node:assert/strict";
import { test } from "node:test";
import { metresPerDegree } from "../src/ellipsoid.js";
import { Line } from "../src/line.js";
import { answers, baseDocument, pack } from "./documents.js";

/** @import { Position } from "../src/line.js" */

/**
 * @param {Position} a
 * @param {Position} b
 * @returns {number} metres
 */
function apart([lonA, latA], [lonB, latB]) {
  const degree = metresPerDegree((latA + latB) / 2);
  return Math.hypot((lonB - lonA) * degree.east, (latB - latA) * degree.north);
}

/**
 * A circle driven anticlockwise from its eastern end, or as much of it as is asked for.
 *
 * @param {number} radius  metres
 * @param {{ lon?: number, lat?: number, turn?: number }} [options]
 */
function circle(radius, { lon = 162, lat = 45, turn = 2 * Math.PI } = {}) {
  const count = 90;
  const degree = metresPerDegree(lat);
  const angles = Array.from({ length: count + 1 }, (_, n) => (n * turn) / count);
  const length = radius * turn;
  const chainage = angles.map((angle) => radius * angle);
  // A chord is shorter than its arc: the derivative by chord length is that much longer.
  const half = turn / count / 2;
  const pace = angles.map(() => half / Math.sin(half));
  return new Line(
    {
      length_m: length,
      band_m: [10, 10],
      accuracy: null,
      left_m: pack(Array(401).fill(4), 0.01),
      right_m: pack(Array(401).fill(6), 0.01),
      spline: {
        chainage_m: pack(chainage, 1e-5),
        lon: pack(
          angles.map((angle) => lon + (radius * Math.cos(angle)) / degree.east),
          1e-9,
        ),
        lat: pack(
          angles.map((angle) => lat + (radius * Math.sin(angle)) / degree.north),
          1e-9,
        ),
        bearing_deg: pack(
          angles.map((angle) => (360 - (angle * 180) / Math.PI) % 360),
          1e-5,
        ),
        pace: pack(pace, 1e-8),
      },
    },
    turn === 2 * Math.PI,
  );
}

test("degrees have the lengths that handbooks give for WGS 84", () => {
  // Length of a degree of latitude and of longitude at 0, 45 and 60 degrees (from memory).
  for (const [latitude, north, east] of [
    [0, 110574, 111320],
    [45, 111132, 78847],
    [60, 111412, 55800],
  ]) {
    const degree = metresPerDegree(latitude);
    assert.ok(Math.abs(degree.north - north) < 1, `north at ${latitude}: ${degree.north}`);
    assert.ok(Math.abs(degree.east - east) < 1, `east at ${latitude}: ${degree.east}`);
  }
});

test("ends of a gate lie where Python places them", () => {
  const base = baseDocument();
  const line = new Line(base.line, base.track.closed);
  assert.ok(answers.square_ends.length > 200);
  for (const [chainage, width, [left, right]] of answers.square_ends) {
    const ends = line.squareEnds(chainage, width);
    const off = Math.max(apart(ends[0], left), apart(ends[1], right));
    // Positions in files are rounded to about 1 mm.
    assert.ok(off < 0.0005, `${width} m at ${chainage} m: ${1000 * off} mm`);
  }
});

test("a circle is read to within a millimetre between its points", () => {
  const radius = 40;
  const line = circle(radius);
  const middle = /** @type {Position} */ ([162, 45]);
  for (let chainage = 0; chainage < line.length; chainage += 1.37) {
    const place = line.at(chainage);
    assert.ok(Math.abs(apart([place.lon, place.lat], middle) - radius) < 0.001);
    const angle = chainage / radius;
    assert.ok(Math.abs(place.east + Math.sin(angle)) < 1e-4);
    assert.ok(Math.abs(place.north - Math.cos(angle)) < 1e-4);
    // Left of an anticlockwise circle is its inside.
    assert.ok(Math.abs(apart(line.beside(place, 7), middle) - (radius - 7)) < 0.001);
  }
});

test("what lies beside the line is that far from it", () => {
  const line = circle(40);
  const place = line.at(33);
  for (const aside of [-12, 0.5, 20]) {
    assert.ok(Math.abs(line.aside(place, line.beside(place, aside)) - aside) < 1e-6);
  }
});

test("chainages go round a closed line and stay on an open one", () => {
  const closed = circle(40);
  assert.ok(Math.abs(closed.wrap(-10) - (closed.length - 10)) < 1e-9);
  assert.equal(closed.wrap(closed.length - 1e-9), 0);
  const open = circle(40, { turn: Math.PI });
  assert.equal(open.wrap(-10), 0);
  assert.equal(open.wrap(1e6), open.length);
});

test("the way between two chainages is the shorter one round a closed line", () => {
  const closed = circle(40);
  assert.ok(Math.abs(closed.between(closed.length - 5, 5) - 10) < 1e-9);
  assert.ok(Math.abs(closed.between(5, closed.length - 5) + 10) < 1e-9);
  const open = circle(40, { turn: Math.PI });
  assert.equal(open.between(100, 5), -95);
});

test("the nearest place is nearest, and on request only near where one was", () => {
  const line = circle(40);
  const { x, y } = line.at(90);
  const nearest = line.nearest(x, y);
  assert.ok(Math.abs(nearest.chainage - 90) < 0.05);
  assert.ok(nearest.distance < 0.01);
  // Across the circle, held to the stretch from 10 m before the finish to 10 m behind it.
  const held = line.nearest(x, y, 0, 10);
  assert.ok(Math.abs(line.between(0, held.chainage)) <= 11);
});

test("an end of an open line is nearest to what lies beyond it", () => {
  const open = circle(40, { turn: Math.PI });
  const end = open.at(open.length);
  const nearest = open.nearest(end.x + 30 * end.east, end.y + 30 * end.north);
  assert.ok(Math.abs(nearest.chainage - open.length) < 0.01);
});

test("longitudes of either side of the antimeridian lie together", () => {
  const line = circle(40, { lon: 180, lat: -27 });
  assert.ok(Math.abs(line.nearLongitude(-179.9999) - 180.0001) < 1e-9);
  assert.ok(Math.abs(line.nearLongitude(179.9999) - 179.9999) < 1e-9);
});
