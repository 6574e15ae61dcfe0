import assert from "node:assert/strict";
import { test } from "node:test";
import {
  controlsOf,
  drawnLine,
  dropped,
  inserted,
  insertedAfter,
  moved,
  runsOf,
  stretchesOf,
} from "../src/drawn_stretches.js";
import { placeOn, splineThrough } from "../src/spline.js";

/** @import { Path } from "../src/drawn_stretches.js" */

const STRAIGHT = 100;
const RADIUS = 20;
const LAP = 2 * STRAIGHT + 2 * Math.PI * RADIUS;

/**
 * Two straights and two half circles, anticlockwise from the beginning of the lower straight.
 *
 * @type {Path}
 */
const oval = {
  length: LAP,
  closed: true,
  at(chainage) {
    const at = ((chainage % LAP) + LAP) % LAP;
    const half = at % (LAP / 2);
    const turned = at >= LAP / 2 ? -1 : 1;
    const angle = Math.max(0, half - STRAIGHT) / RADIUS;
    const along = Math.min(half, STRAIGHT) - STRAIGHT / 2;
    const x = along + RADIUS * Math.sin(angle);
    const y = -RADIUS * Math.cos(angle);
    return {
      x: turned * x,
      y: turned * y,
      east: turned * Math.cos(angle),
      north: turned * Math.sin(angle),
    };
  },
};

/** @type {Path} */
const course = { ...oval, length: 260, closed: false };

/** @param {{ x: number, y: number }} a @param {{ x: number, y: number }} b */
const apart = (a, b) => Math.hypot(a.x - b.x, a.y - b.y);

test("a spline by chord length follows a circle that it is led into and out of", () => {
  const places = [0, 1, 2, 3, 4].map((n) => oval.at(STRAIGHT + (n * Math.PI * RADIUS) / 4));
  const [first, last] = [places[0], places[4]];
  const spline = splineThrough(
    places,
    { x: first.east, y: first.north },
    { x: last.east, y: last.north },
  );
  const middle = { x: STRAIGHT / 2, y: 0 };
  for (let n = 0; n < 4; n++) {
    for (const share of [0.25, 0.5, 0.75]) {
      // Five points on half a circle: 0.3 % of the radius.
      assert.ok(Math.abs(apart(placeOn(spline, n, share), middle) - RADIUS) < 0.1);
    }
  }
});

test("slopes of a spline through points of a cubic are those of the cubic", () => {
  const x = [0, 1, 3, 4, 7];
  // By chord length along a straight: x is the parameter, and y is left out.
  const spline = splineThrough(
    x.map((value) => ({ x: value, y: 0 })),
    { x: 1, y: 0 },
    { x: 1, y: 0 },
  );
  spline.slopes.forEach((slope) => assert.ok(Math.abs(slope.x - 1) < 1e-12));
});

test("control points lie nearer to each other in bends, and a spline through them follows", () => {
  for (const path of [oval, course]) {
    const controls = controlsOf(path);
    const bases = controls.map(({ base }) => /** @type {number} */ (base));
    const gaps = bases.slice(1).map((base, n) => base - bases[n]);
    assert.ok(controls.length < 40);
    assert.ok(Math.max(...gaps) <= 60);
    const inBend = gaps.filter((_, n) => bases[n] > STRAIGHT && bases[n + 1] < LAP / 2);
    assert.ok(Math.max(...inBend) < 25);
    // A point that is moved to where it is moves nothing that can be seen.
    for (const n of [1, 4, 7]) {
      for (const place of drawnLine(path, moved(path, controls, n, controls[n])).places) {
        const away = Array.from({ length: 1000 }, (_, k) =>
          apart(path.at((k * path.length) / 1000), place),
        );
        assert.ok(Math.min(...away) < 0.4);
      }
    }
  }
});

test("what lies beyond the neighbours of a point that is moved stays exactly", () => {
  const controls = controlsOf(oval);
  const n = 3;
  const to = { x: controls[n].x + 2, y: controls[n].y - 5 };
  const changed = moved(oval, controls, n, to);
  const [from, until] = [controls[n - 1].base ?? 0, controls[n + 1].base ?? 0];
  const drawn = drawnLine(oval, changed);
  drawn.base.forEach((base, k) => {
    if (base === null) {
      assert.ok([n - 1, n].includes(drawn.after[k]));
    } else {
      assert.ok(base <= from + 1e-9 || base >= until - 1e-9);
      assert.ok(apart(oval.at(base), drawn.places[k]) < 1e-9);
    }
  });
  assert.ok(drawn.places.some((place) => apart(place, to) < 1e-9));
  const [stretch, ...more] = stretchesOf(oval, changed);
  assert.deepEqual(more, []);
  assert.deepEqual([stretch.from, stretch.to], [from, until]);
  assert.deepEqual(
    stretch.points.map(({ x, y }) => ({ x, y })),
    [to],
  );
  // What was there is not touched.
  assert.ok(controls.every(({ kept }) => kept));
});

test("the first point of a lap is moved with both its neighbours, over the seam", () => {
  const controls = controlsOf(oval);
  const changed = moved(oval, controls, 0, { x: 0, y: -30 });
  const [stretch] = stretchesOf(oval, changed);
  assert.equal(stretch.from, controls[controls.length - 1].base);
  assert.equal(stretch.to, controls[1].base);
});

test("points that are moved side by side are one stretch, others are several", () => {
  let controls = controlsOf(oval);
  for (const n of [2, 3, 6]) {
    controls = moved(oval, controls, n, { x: controls[n].x + 1, y: controls[n].y + 1 });
  }
  assert.deepEqual(
    runsOf(oval, controls).map(({ points }) => points),
    [
      [1, 2, 3, 4],
      [5, 6, 7],
    ],
  );
});

test("a point that is deleted takes its stretch along, and ends and the last ones stay", () => {
  const controls = controlsOf(oval);
  const fewer = dropped(oval, controls, 2);
  assert.equal(fewer?.length, controls.length - 1);
  assert.deepEqual(
    stretchesOf(oval, fewer ?? []).map(({ from, to, points }) => [from, to, points.length]),
    [[controls[1].base, controls[3].base, 0]],
  );
  const ends = controlsOf(course);
  assert.equal(dropped(course, ends, 0), null);
  assert.equal(dropped(course, ends, ends.length - 1), null);
  assert.equal(dropped(oval, controls.slice(0, 4), 1), null);
});

test("a point that is added lies on the line and moves nothing", () => {
  const controls = controlsOf(oval);
  const place = oval.at(31);
  const added = inserted(oval, controls, { x: place.x, y: place.y + 3 });
  assert.equal(added.controls.length, controls.length + 1);
  assert.ok(Math.abs((added.controls[added.n].base ?? 0) - 31) < 0.01);
  assert.deepEqual(stretchesOf(oval, added.controls), []);
  // Also beyond the last point of a lap, before its first.
  const end = oval.at(LAP - 4);
  const last = inserted(oval, controls, end);
  assert.equal(last.n, controls.length);
  const bent = moved(oval, controls, 3, { x: controls[3].x + 3, y: controls[3].y });
  const between = insertedAfter(oval, bent, 3);
  assert.equal(between.n, 4);
  assert.equal(between.controls[4].base, null);
  const drawn = drawnLine(oval, bent).places;
  assert.ok(drawn.some((at) => apart(at, between.controls[4]) < 0.05));
});

test("a course is drawn from an end that is moved, and a lap as a whole", () => {
  const controls = controlsOf(course);
  const end = moved(course, controls, controls.length - 1, { x: 0, y: 90 });
  const [stretch] = stretchesOf(course, end);
  assert.equal(stretch.to, null);
  assert.equal(stretch.from, controls[controls.length - 2].base);
  assert.equal(stretch.points.length, 1);
  const all = controlsOf(oval).map((control) => ({ ...control, base: null, kept: false }));
  const [whole] = stretchesOf(oval, all);
  assert.deepEqual([whole.from, whole.to, whole.points.length], [null, null, all.length]);
});
