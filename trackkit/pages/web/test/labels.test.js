import assert from "node:assert/strict";
import { test } from "node:test";
import { boxAt, candidates, chooseSpots, nearest, overlap, spaced } from "../src/labels.js";

/** @import { Box, Item, Point, Room } from "../src/labels.js" */

/** @type {Omit<Room, "bars">} */
const OPEN = { edge: [0, 0, 400, 300], taken: [], track: [], margin: 0 };

/**
 * @param {number} x
 * @param {number} y
 * @param {Partial<Item>} [changes]
 * @returns {Item}
 */
function item(x, y, changes = {}) {
  const usual = { width: 60, height: 20, away: null, half: 5, bar: null, rank: 4, always: false };
  return { x, y, ...usual, ...changes };
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

/**
 * A gate with a bar that lies across the page.
 *
 * @param {number} x
 * @param {number} y
 * @param {Partial<Item>} [changes]
 */
function gate(x, y, changes = {}) {
  /** @type {[Point, Point]} */
  const bar = [
    [x - 10, y],
    [x + 10, y],
  ];
  return item(x, y, { bar, half: 10, away: Math.PI / 2, rank: 2, always: true, ...changes });
}

/** @param {[Point, Point]} bar @returns {Point[]} */
const points = ([[x0, y0], [x1, y1]]) =>
  Array.from({ length: 41 }, (_, n) => [x0 + ((x1 - x0) * n) / 40, y0 + ((y1 - y0) * n) / 40]);

test("labels of gates are nearer to their own than to another, in view, and apart", () => {
  // Linear congruences, so that the same gates come every time (from memory).
  let seed = 7;
  const drawn = () => (seed = (seed * 16807) % 2147483647) / 2147483647;
  for (let round = 0; round < 25; round++) {
    const count = 2 + Math.floor(7 * drawn());
    const [cx, cy] = [20 + 360 * drawn(), 20 + 260 * drawn()];
    const spread = 15 + 200 * drawn();
    const gates = Array.from({ length: count }, () => {
      const x = Math.min(Math.max(cx + spread * (drawn() - 0.5), 12), 388);
      const y = Math.min(Math.max(cy + spread * (drawn() - 0.5), 12), 288);
      return gate(x, y, { away: 2 * Math.PI * drawn() });
    });
    const spots = chooseSpots(gates, OPEN);
    spots.forEach((spot, n) => {
      assert.ok(spot, `round ${round}: a gate without a label`);
      const box = boxAt(gates[n], spot, 0);
      assert.ok(box[0] >= 0 && box[1] >= 0 && box[2] <= 400 && box[3] <= 300, `round ${round}`);
      spots.slice(n + 1).forEach((other, k) => {
        assert.ok(other && !overlap(box, boxAt(gates[n + 1 + k], other, 0)), `round ${round}`);
      });
      const apart = gates.map(({ bar }) => nearest(box, points(/** @type {any} */ (bar)))[1]);
      const others = apart.filter((_, k) => k !== n);
      assert.ok(Math.min(...others) >= 8, `round ${round}: beside another gate`);
      assert.ok(spot.leader || apart[n] <= Math.min(...others), `round ${round}: whose is it?`);
    });
  }
});

test("a leader ends at the gate it is of, and crosses neither label nor gate", () => {
  const gates = [0, 1, 2, 3, 4].map((n) => gate(200 + 9 * n, 150 + 6 * n));
  const spots = chooseSpots(gates, OPEN);
  assert.ok(spots.some((spot) => spot?.leader));
  spots.forEach((spot, n) => {
    if (spot?.leader) {
      const [, [x, y]] = spot.leader;
      assert.ok(Math.abs(y - gates[n].y) < 1e-9 && Math.abs(x - gates[n].x) <= 10);
      spots.forEach((other, k) => {
        const box = other && k !== n ? boxAt(gates[k], other, 0) : null;
        const way = points(/** @type {any} */ (spot.leader));
        assert.ok(!box || !way.some(([a, b]) => overlap([a, b, a, b], box)));
      });
    }
  });
});

test("the label of a gate beyond the view is beyond it too", () => {
  for (const [x, y] of [
    [-30, 100],
    [430, 100],
    [200, -25],
    [200, 330],
  ]) {
    for (const away of [0, 1, 2, 3, 4, 5]) {
      const beyond = gate(x, y, { away });
      const [spot] = chooseSpots([beyond], OPEN);
      assert.ok(spot && !overlap(boxAt(beyond, spot, 0), OPEN.edge));
    }
  }
});
