// Finds room for labels on the map: each tries places around its point, nearest first, and takes
// the one that covers the least of the track; one that finds no room waits until the map is zoomed.

/**
 * @typedef {[number, number, number, number]} Box  left, top, right, bottom, pixels
 * @typedef {[number, number]} Point  right and down, pixels
 *
 * @typedef {object} Item  a label to be placed
 * @property {number} x  the point that it belongs to
 * @property {number} y
 * @property {number} width  of the label
 * @property {number} height
 * @property {number | null} away  direction to look in first, radians clockwise from up; null: any
 * @property {number} half  how far what is drawn at the point reaches
 * @property {number} rank  least first
 * @property {boolean} always  whether it is shown even where there is no room
 *
 * @typedef {object} Spot  a middle for a label
 * @property {number} x
 * @property {number} y
 * @property {number} cost
 *
 * @typedef {object} Room  where labels may go
 * @property {Box} edge  of the map
 * @property {Box[]} taken
 * @property {Point[]} track  points along it
 * @property {number} margin  to keep from them
 */

const GAPS_PX = [4, 9, 15, 23, 34];
const RADIANS = Math.PI / 180;
const ALL_ROUND = [0, 45, 90, 135, 180, 225, 270, 315].map((turn) => turn * RADIANS);
/** What a place costs is counted in points of the track that it covers. */
const TOO_MUCH = 60;

/**
 * Choose places for labels.
 *
 * @param {Item[]} items
 * @param {Room} room
 * @returns {(Spot | null)[]}  the middle of each, or null where there is no room for it
 */
export function chooseSpots(items, room) {
  const taken = room.taken.slice();
  for (const { x, y, rank } of items) {
    if (rank <= 2) {
      taken.push([x - 6, y - 6, x + 6, y + 6]);
    }
  }
  /** @type {(Spot | null)[]} */
  const spots = items.map(() => null);
  const order = items.map((item, n) => ({ item, n })).sort((a, b) => a.item.rank - b.item.rank);
  for (const { item, n } of order) {
    const spot = bestSpot(item, { ...room, taken });
    if (spot) {
      taken.push(boxAt(item, spot, 1));
      spots[n] = spot;
    } else if (item.always) {
      // A gate that can be dragged, or reached with Tab, is never without its label.
      spots[n] = candidates(item)[0];
      taken.push(boxAt(item, spots[n], 0));
    }
  }
  return spots;
}

/**
 * @param {Item} item
 * @param {Room} room
 * @returns {Spot | null}
 */
function bestSpot(item, { edge, taken, track, margin }) {
  const inside = contains(edge, item.x, item.y);
  /** @type {Spot | null} */
  let best = null;
  for (const spot of candidates(item)) {
    const box = boxAt(item, spot, 1);
    if (taken.some((other) => overlap(box, other))) {
      continue;
    }
    const wide = grown(box, margin);
    const out = inside && !(contains(edge, box[0], box[1]) && contains(edge, box[2], box[3]));
    const covered = track.reduce((sum, [x, y]) => sum + Number(contains(wide, x, y)), 0);
    const cost = spot.cost + covered + (out ? TOO_MUCH : 0);
    if (!best || cost < best.cost) {
      best = { ...spot, cost };
    }
  }
  return best && (best.cost < TOO_MUCH || item.always) ? best : null;
}

/**
 * Middles that a label may have, the best first.
 *
 * @param {Item} item
 * @returns {Spot[]}
 */
export function candidates(item) {
  const { away } = item;
  const ways = away === null ? ALL_ROUND : [away, away + Math.PI];
  const turns = away === null ? [0] : [0, -30, 30, -60, 60, 90];
  return GAPS_PX.flatMap((gap, g) =>
    turns.flatMap((turn) =>
      ways.map((way, side) => {
        const angle = way + turn * RADIANS;
        const x = Math.sin(angle);
        const y = -Math.cos(angle);
        const size = (Math.abs(x) * item.width + Math.abs(y) * item.height) / 2;
        const reach = item.half + gap + size;
        const cost = 2 * g + 0.08 * Math.abs(turn) + (away === null ? 0.1 : 0.8) * side;
        return { x: item.x + x * reach, y: item.y + y * reach, cost };
      }),
    ),
  );
}

/**
 * Points every few pixels along a line, near a box.
 *
 * @param {Point[]} line
 * @param {Box} box
 * @returns {Point[]}
 */
export function spaced(line, box) {
  const near = grown(box, 60);
  /** @type {Point[]} */
  const places = [];
  line.forEach(([x, y], k) => {
    const [px, py] = line[k - 1] ?? [x, y];
    const steps = k ? Math.min(400, Math.ceil(Math.hypot(x - px, y - py) / 5)) : 1;
    for (let n = 1; n <= steps; n++) {
      const at = px + ((x - px) * n) / steps;
      const down = py + ((y - py) * n) / steps;
      if (contains(near, at, down)) {
        places.push([at, down]);
      }
    }
  });
  return places;
}

/**
 * @param {Box} a
 * @param {Box} b
 */
export function overlap(a, b) {
  return a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
}

/**
 * @param {Item} item
 * @param {Spot} spot
 * @param {number} margin
 * @returns {Box}
 */
export function boxAt({ width, height }, { x, y }, margin) {
  return grown([x - width / 2, y - height / 2, x + width / 2, y + height / 2], margin);
}

/**
 * @param {Box} box
 * @param {number} by
 * @returns {Box}
 */
function grown([left, top, right, bottom], by) {
  return [left - by, top - by, right + by, bottom + by];
}

/**
 * @param {Box} box
 * @param {number} x
 * @param {number} y
 */
function contains([left, top, right, bottom], x, y) {
  return x > left && x < right && y > top && y < bottom;
}
