// Finds room for labels on the map: each tries places around its point, nearest first, and takes
// the one that covers the least of the track. It stays within the view, off other labels, and
// nearer to its own gate than to any other. One that finds no room there waits until the map is
// zoomed; a gate's goes farther away, with a line that leads back to the gate.

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
 * @property {[Point, Point] | null} bar  ends of the gate that it names, or null
 * @property {number} rank  least first
 * @property {boolean} always  whether it is shown even where there is no room
 *
 * @typedef {object} Spot  a middle for a label
 * @property {number} x
 * @property {number} y
 * @property {number} cost
 * @property {[Point, Point] | null} leader  a line from the label to what it names
 *
 * @typedef {object} Room  where labels may go
 * @property {Box} edge  of the map
 * @property {Box[]} taken
 * @property {Point[]} track  points along it
 * @property {number} margin  to keep from them
 * @property {Point[][]} bars  points along each gate
 */

const GAPS_PX = [4, 9, 15, 23, 34];
const RADIANS = Math.PI / 180;
const ALL_ROUND = [0, 45, 90, 135, 180, 225, 270, 315].map((turn) => turn * RADIANS);
/** What a place costs is counted in points of the track that it covers. */
const TOO_MUCH = 60;
/** Nearer to another gate than this a label would be taken for that one's. */
const BESIDE_PX = 8;
/** Farther from its gate than this a label needs a line that leads there. */
const LEADER_FROM_PX = 12;
/** Between two places that are tried where there is no room near by. */
const PITCH_PX = 9;
const COST_PER_PX = 0.2;
/** Beyond the edge that labels keep within, the map shows as much more. */
const RIM_PX = 3;
/** How near a leader may come to a gate that it is not of. */
const APART_PX = 3;
/** For a leader through another gate, and through another label: where gates pile up it must. */
const THROUGH_GATE = 100;
const THROUGH_LABEL = 1000;

/**
 * Choose places for labels.
 *
 * @param {Item[]} items
 * @param {Omit<Room, "bars">} room
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
    const others = items.flatMap((other) =>
      other !== item && other.bar ? [alongBar(other.bar)] : [],
    );
    const here = { ...room, taken, bars: others };
    const spot = bestSpot(item, here) ?? (item.always ? farSpot(item, here) : null);
    if (spot) {
      taken.push(boxAt(item, spot, 1), ...alongLeader(spot.leader));
      spots[n] = spot;
    } else if (item.always) {
      // A gate that can be dragged, or reached with Tab, is never without its label.
      spots[n] = lastSpot(item, room.edge);
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
function bestSpot(item, room) {
  /** @type {Spot | null} */
  let best = null;
  for (const candidate of candidates(item)) {
    const spot = allowed(item, candidate, room);
    if (spot) {
      const cost = spot.cost + covered(item, spot, room);
      if (!best || cost < best.cost) {
        best = { ...spot, cost };
      }
    }
  }
  return best && best.cost < TOO_MUCH ? best : null;
}

/**
 * The nearest place anywhere in view, for a label that has no room beside its gate.
 *
 * @param {Item} item
 * @param {Room} room
 * @returns {Spot | null}
 */
function farSpot(item, room) {
  const { edge } = room;
  const own = ownPoints(item).filter(([x, y]) => contains(edge, x, y));
  if (!own.length) {
    return null;
  }
  const [x, y] = own[Math.floor(own.length / 2)];
  const [left, top, right, bottom] = grown(edge, -1);
  /** @type {Spot[]} */
  const places = [];
  for (let across = left + item.width / 2; across <= right - item.width / 2; across += PITCH_PX) {
    for (let down = top + item.height / 2; down <= bottom - item.height / 2; down += PITCH_PX) {
      const cost = COST_PER_PX * Math.hypot(across - x, down - y);
      places.push({ x: across, y: down, cost, leader: null });
    }
  }
  /** @type {Spot | null} */
  let best = null;
  for (const place of places.sort((a, b) => a.cost - b.cost)) {
    if (best && place.cost >= best.cost) {
      break;
    }
    const spot = allowed(item, place, room, best?.cost);
    if (spot) {
      const cost = spot.cost + covered(item, spot, room);
      best = !best || cost < best.cost ? { ...spot, cost } : best;
    }
  }
  return best;
}

/**
 * A place where nothing is free: beyond the view for what is beyond it.
 *
 * @param {Item} item
 * @param {Box} edge
 * @returns {Spot}
 */
function lastSpot(item, edge) {
  const places = candidates(item);
  if (ownPoints(item).some(([x, y]) => contains(edge, x, y))) {
    return places[0];
  }
  const outside = places.find((spot) => !overlap(boxAt(item, spot, 0), grown(edge, RIM_PX)));
  return outside ?? { ...places[0], ...beyond(item, edge) };
}

/**
 * Where a label is wholly beyond the edge that its point is beyond.
 *
 * @param {Item} item
 * @param {Box} edge
 */
function beyond({ x, y, width, height }, [left, top, right, bottom]) {
  if (x <= left || x >= right) {
    return { x: x <= left ? Math.min(x, left - width) : Math.max(x, right + width), y };
  }
  return { x, y: y <= top ? Math.min(y, top - height) : Math.max(y, bottom + height) };
}

/**
 * The same place with its leader, where a label may stand there; null where it may not.
 *
 * @param {Item} item
 * @param {Spot} spot
 * @param {Room} room
 * @param {number} [most]  that it may cost
 * @returns {Spot | null}
 */
function allowed(item, spot, { edge, taken, bars }, most = Infinity) {
  const box = boxAt(item, spot, 1);
  const own = ownPoints(item);
  const inside = own.some(([x, y]) => contains(edge, x, y));
  if (inside ? !within(box, edge) : overlap(box, grown(edge, RIM_PX))) {
    return null;
  }
  if (taken.some((other) => overlap(box, other))) {
    return null;
  }
  const [near, apart] = nearest(box, own);
  const least = item.bar ? Math.max(BESIDE_PX, Math.min(apart + 2, 4 * BESIDE_PX)) : 2;
  if (bars.some((points) => nearest(box, points)[1] < least)) {
    return null;
  }
  if (!item.bar || apart <= LEADER_FROM_PX) {
    return { ...spot, leader: null };
  }
  /** @type {[Point, Point]} */
  const leader = [inBox(box, near), near];
  const cost = spot.cost + 1 + crossings(leader, { taken, bars }, most - spot.cost);
  return cost > most ? null : { ...spot, leader, cost };
}

/**
 * What it costs that a leader crosses labels and gates.
 *
 * @param {[Point, Point]} leader
 * @param {Pick<Room, "taken" | "bars">} room
 * @param {number} most  that matters
 */
function crossings(leader, { taken, bars }, most) {
  let cost = 0;
  for (const part of alongLeader(leader)) {
    if (taken.some((other) => overlap(part, other))) {
      cost += THROUGH_LABEL;
    } else if (bars.some((points) => nearest(part, points)[1] < APART_PX)) {
      cost += THROUGH_GATE;
    }
    if (cost > most) {
      break;
    }
  }
  return cost;
}

/**
 * How many points of the track a label covers.
 *
 * @param {Item} item
 * @param {Spot} spot
 * @param {Room} room
 */
function covered(item, spot, { track, margin }) {
  const wide = grown(boxAt(item, spot, 1), margin);
  return track.reduce((sum, [x, y]) => sum + Number(contains(wide, x, y)), 0);
}

/** @param {Item} item @returns {Point[]} */
function ownPoints({ bar, x, y }) {
  return bar ? alongBar(bar) : [[x, y]];
}

/** @param {[Point, Point]} bar @returns {Point[]} */
function alongBar([[x0, y0], [x1, y1]]) {
  const count = Math.min(40, Math.max(2, Math.ceil(Math.hypot(x1 - x0, y1 - y0) / 4)));
  return Array.from({ length: count + 1 }, (_, n) => [
    x0 + ((x1 - x0) * n) / count,
    y0 + ((y1 - y0) * n) / count,
  ]);
}

/**
 * What a leader covers between the label and the gate, as small boxes.
 *
 * @param {[Point, Point] | null} leader
 * @returns {Box[]}
 */
function alongLeader(leader) {
  return leader
    ? alongBar(leader)
        .slice(1)
        .filter(([x, y]) => Math.hypot(x - leader[1][0], y - leader[1][1]) > 7)
        .map(([x, y]) => [x - 1, y - 1, x + 1, y + 1])
    : [];
}

/**
 * Which of some points is nearest to a box, and how far from it, pixels.
 *
 * @param {Box} box
 * @param {Point[]} points
 * @returns {[Point, number]}
 */
export function nearest(box, points) {
  /** @type {[Point, number]} */
  let best = [points[0], Infinity];
  for (const point of points) {
    const [x, y] = inBox(box, point);
    const apart = Math.hypot(point[0] - x, point[1] - y);
    if (apart < best[1]) {
      best = [point, apart];
    }
  }
  return best;
}

/**
 * The place in a box that is nearest to a point.
 *
 * @param {Box} box
 * @param {Point} point
 * @returns {Point}
 */
function inBox([left, top, right, bottom], [x, y]) {
  return [Math.min(Math.max(x, left), right), Math.min(Math.max(y, top), bottom)];
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
        return { x: item.x + x * reach, y: item.y + y * reach, cost, leader: null };
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
 * @param {Box} inner
 * @param {Box} outer
 */
function within(inner, outer) {
  return (
    inner[0] >= outer[0] && inner[1] >= outer[1] && inner[2] <= outer[2] && inner[3] <= outer[3]
  );
}

/**
 * @param {Pick<Item, "width" | "height">} item
 * @param {Pick<Spot, "x" | "y">} spot
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
