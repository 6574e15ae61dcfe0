import assert from "node:assert/strict";
import { test } from "node:test";
import { boxAt, candidates, chooseSpots, overlap, spaced } from "../src/labels.js";

/** @import { Box, Item, Point, Room } from "../src/labels.js" */

/** @type {Room} */
const OPEN = { edge: [0, 0, 400, 300], taken: [], track: [], margin: 0 };

/**
 * @param {number} x
 * @param {number} y
 * @param {Partial<Item>} [changes]
 * @returns {Item}
 */
function item(x, y, changes = {}) {
  return { x, y, width: 60, height: 20, away: null, half: 5, rank: 4, always: false, ...changes };
}

test("labels cover neither each other nor what is taken", () => {
  const items = Array.from({ length: 12 }, (_, n) => item(150 + 9 * n, 150 + 4 * (n % 3)));
  /** @type {Box} */
  const control = [140, 100, 260, 140];
  const spots = chooseSpots(items, { ...OPEN, taken: [control] });
  const boxes = spots.flatMap((spot, n) => (spot ? [boxAt(items[n], spot, 0)] : []));
  assert.ok(boxes.length > 5);
  boxes.forEach((box, n) => {
    assert.ok(!overlap(box, control));
    assert.ok(!boxes.slice(n + 1).some((other) => overlap(box, other)));
  });
});

test("a label is put away from the track", () => {
  /** @type {Point[]} */
  const track = Array.from({ length: 100 }, (_, n) => [200 + 3 * n, 150]);
  const [spot] = chooseSpots([item(200, 150)], { ...OPEN, edge: [0, 0, 600, 300], track });
  assert.ok(spot);
  assert.ok(!track.some(([x, y]) => overlap([x, y, x, y], boxAt(item(0, 0), spot, 0))));
});

test("a label goes where it is to be looked for first", () => {
  // Up and to the right is 45 degrees clockwise from up.
  const [spot] = chooseSpots([item(200, 150, { away: Math.PI / 4 })], OPEN);
  assert.ok(spot && spot.x > 200 && spot.y < 150);
});

test("without room a label waits, unless it is always shown", () => {
  const room = { ...OPEN, taken: [/** @type {Box} */ ([-500, -500, 900, 900])] };
  const items = [item(200, 150), item(200, 150, { always: true })];
  const [waiting, shown] = chooseSpots(items, room);
  assert.equal(waiting, null);
  assert.deepEqual(shown, candidates(items[1])[0]);
});

test("the least rank chooses first", () => {
  const items = [item(200, 150, { rank: 4, away: 0 }), item(200, 150, { rank: -1, away: 0 })];
  const spots = chooseSpots(items, OPEN);
  const [first] = candidates(items[1]);
  assert.deepEqual([spots[1]?.x, spots[1]?.y], [first.x, first.y]);
  assert.notDeepEqual(spots[0], spots[1]);
});

test("points along a line are at most five pixels apart, and only near the view", () => {
  /** @type {Point[]} */
  const line = [
    [0, 0],
    [100, 0],
    [100, 300],
  ];
  const places = spaced(line, [0, 0, 200, 200]);
  assert.ok(places.length > 60);
  assert.ok(places.every(([x, y]) => x <= 260 && y <= 260));
  const along = places.filter(([, y]) => y === 0).map(([x]) => x);
  assert.ok(along.slice(1).every((x, n) => x - along[n] <= 5 + 1e-9));
});
