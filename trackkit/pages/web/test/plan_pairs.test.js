import assert from "node:assert/strict";
import { test } from "node:test";
import { PlanPairs } from "../src/plan_pairs.js";

const FEWEST = { affine: 3, projective: 4 };
const AT = /** @type {[number, number][]} */ ([
  [5, 24],
  [5.001, 24],
  [5, 24.001],
]);

const none = () => new PlanPairs([], "affine");

test("a place on the plan and one on the ground make a pair, whichever comes first", () => {
  const pairs = none();
  assert.equal(pairs.pickOnPlan([10, 20]), false);
  assert.equal(pairs.pickOnGround(AT[0]), true);
  assert.equal(pairs.pickOnGround(AT[1]), false);
  assert.equal(pairs.pickOnPlan([30, 40]), true);
  assert.deepEqual(pairs.pairs, [
    { x: 10, y: 20, at: AT[0] },
    { x: 30, y: 40, at: AT[1] },
  ]);
  assert.equal(pairs.waits, false);
});

test("a second place on one side takes the place of the first", () => {
  const pairs = none();
  pairs.pickOnPlan([10, 20]);
  pairs.pickOnPlan([11, 21]);
  assert.equal(pairs.pairs.length, 0);
  pairs.pickOnGround(AT[0]);
  assert.deepEqual(pairs.pairs, [{ x: 11, y: 21, at: AT[0] }]);
});

test("what waits can be forgotten", () => {
  const pairs = none();
  pairs.pickOnPlan([10, 20]);
  assert.equal(pairs.waits, true);
  pairs.forget();
  assert.equal(pairs.waits, false);
  assert.equal(pairs.pickOnGround(AT[0]), false);
});

test("adding, removing and the fit are undone and done again one by one", () => {
  const pairs = none();
  for (const [n, at] of AT.entries()) {
    pairs.add({ x: n, y: 0, at });
  }
  pairs.drop(1);
  pairs.choose("projective");
  const done = [];
  while (pairs.undoes !== null) {
    done.push(`${pairs.undoes}: ${pairs.pairs.map(({ x }) => x).join("")} ${pairs.fit}`);
    pairs.undo();
  }
  assert.deepEqual(done, [
    "chose the projective fit: 02 projective",
    "removed pair 2: 02 affine",
    "paired place 3: 012 affine",
    "paired place 2: 01 affine",
    "paired place 1: 0 affine",
  ]);
  pairs.undo();
  assert.deepEqual(pairs.pairs, []);
  while (pairs.redoes !== null) {
    pairs.redo();
  }
  assert.deepEqual(
    pairs.pairs.map(({ x }) => x),
    [0, 2],
  );
  assert.equal(pairs.fit, "projective");
});

test("a change after undo leaves nothing to be done again", () => {
  const pairs = none();
  pairs.add({ x: 1, y: 0, at: AT[0] });
  pairs.undo();
  pairs.add({ x: 2, y: 0, at: AT[1] });
  assert.equal(pairs.redoes, null);
  assert.deepEqual(pairs.pairs, [{ x: 2, y: 0, at: AT[1] }]);
});

test("the same fit chosen again is no change", () => {
  const pairs = none();
  pairs.choose("affine");
  assert.equal(pairs.undoes, null);
});

test("what waits is forgotten by undo", () => {
  const pairs = none();
  pairs.add({ x: 1, y: 0, at: AT[0] });
  pairs.pickOnPlan([5, 5]);
  pairs.undo();
  assert.equal(pairs.waits, false);
});

test("the hint says what is next, and how many pairs are missing", () => {
  const pairs = none();
  assert.match(pairs.hint(FEWEST), /then the same place on the map\. 3 pairs lay it\.$/);
  pairs.pickOnPlan([1, 1]);
  assert.equal(pairs.hint(FEWEST), "Now the same place on the map.");
  pairs.forget();
  pairs.pickOnGround(AT[0]);
  assert.equal(pairs.hint(FEWEST), "Now the same place on the plan.");
  pairs.pickOnPlan([1, 1]);
  pairs.add({ x: 1, y: 0, at: AT[1] });
  assert.match(pairs.hint(FEWEST), / 1 more pair lays it\.$/);
  pairs.add({ x: 0, y: 1, at: AT[2] });
  assert.match(pairs.hint(FEWEST), /or lay the plan\.$/);
  pairs.choose("projective");
  assert.match(pairs.hint(FEWEST), / 1 more pair lays it\.$/);
});
