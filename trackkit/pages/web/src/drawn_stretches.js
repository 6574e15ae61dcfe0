// A line that is moved by hand through control points: between two of them that nobody has touched
// it stays as it was, elsewhere it is the spline through them.

import { placeOn, splineThrough } from "./spline.js";

/**
 * @import { Point, Spline } from "./spline.js"
 *
 * @typedef {object} PathPlace  a place of a line and its direction there, of length 1
 * @property {number} x  metres on the plane of the track's line
 * @property {number} y
 * @property {number} east
 * @property {number} north
 *
 * @typedef {object} Path  the centreline or an edge, addressed by chainages of the centreline
 * @property {number} length
 * @property {boolean} closed
 * @property {(chainage: number) => PathPlace} at
 *
 * @typedef {object} Control  a control point
 * @property {number} x
 * @property {number} y
 * @property {number | null} base  its chainage on the line as it was; null where it was moved
 * @property {boolean} kept  whether the line from here to the next one is as it was
 *
 * @typedef {object} Run  a stretch that is drawn
 * @property {number[]} points  numbers of its points in order, those at its ends included
 * @property {boolean} whole  whether it is all of a lap
 *
 * @typedef {object} Drawn  a line as it is drawn
 * @property {Point[]} places  along it
 * @property {number[]} after  of each, the number of the control point before it
 * @property {(number | null)[]} base  of each, its chainage where the line is as it was
 *
 * @typedef {object} Stretch  as the server takes it
 * @property {number | null} from  chainage that it goes on from; null where the line begins with it
 * @property {number | null} to
 * @property {Point[]} points
 */

/** A spline through the points lies this near to the line, metres. */
const WITHIN_M = 0.1;
const MOST_APART_M = 60;
const LEAST_APART_M = 1.5;
/** Times that what lies between two points may be as long as what is beside it. */
const MOST_LONGER = 2.1;
const DRAWN_EVERY_M = 1.5;
/** Places that a long line is drawn through where it stays. */
const MOST_DRAWN = 4000;
/** A spline that closes on itself is laid through so many points on either side of its seam. */
const OVER_SEAM = 12;

/**
 * Choose control points of a line: as few as follow it, nearer to each other where it bends more.
 *
 * @param {Path} path
 * @returns {Control[]}
 */
export function controlsOf(path) {
  const count = Math.max(path.closed ? 4 : 2, Math.ceil(path.length / MOST_APART_M));
  /** @type {number[]} */
  const places = [];
  for (let n = 0; n < count; n++) {
    places.push(...halved(path, (path.length * n) / count, (path.length * (n + 1)) / count));
  }
  if (!path.closed) {
    places.push(path.length);
  }
  return graded(path, places).map((base) => {
    const { x, y } = path.at(base);
    return { x, y, base, kept: true };
  });
}

/**
 * Halve what is much longer than what lies beside it: a spline would swing there.
 *
 * @param {Path} path
 * @param {number[]} places
 * @returns {number[]}
 */
function graded(path, places) {
  const ends = path.closed ? [...places, path.length] : places;
  const gaps = ends.slice(1).map((end, n) => end - ends[n]);
  const count = gaps.length;
  const beside = (/** @type {number} */ n) =>
    path.closed ? gaps[(n + count) % count] : (gaps[n] ?? Infinity);
  const more = gaps.flatMap((gap, n) =>
    gap > MOST_LONGER * Math.min(beside(n - 1), beside(n + 1)) ? [ends[n] + gap / 2] : [],
  );
  return more.length
    ? graded(
        path,
        [...places, ...more].sort((a, b) => a - b),
      )
    : places;
}

/**
 * Chainages from one on up to another, which is left out.
 *
 * @param {Path} path
 * @param {number} from
 * @param {number} to
 * @returns {number[]}
 */
function halved(path, from, to) {
  if (to - from <= 2 * LEAST_APART_M || follows(path, from, to)) {
    return [from];
  }
  const middle = (from + to) / 2;
  return [...halved(path, from, middle), ...halved(path, middle, to)];
}

/**
 * Whether one piece of a spline follows a line between two places.
 *
 * @param {Path} path
 * @param {number} from
 * @param {number} to
 */
function follows(path, from, to) {
  const [begin, end] = [path.at(from), path.at(to)];
  const piece = splineThrough([begin, end], slope(begin), slope(end));
  return Array.from({ length: 7 }, (_, n) => (n + 1) / 8).every((share) => {
    const place = placeOn(piece, 0, share);
    const { x, y, east, north } = path.at(from + share * (to - from));
    return Math.abs((place.y - y) * east - (place.x - x) * north) <= WITHIN_M;
  });
}

/** @param {PathPlace} place */
function slope({ east, north }) {
  return { x: east, y: north };
}

/**
 * Move a control point.
 *
 * @param {Path} path
 * @param {Control[]} controls
 * @param {number} n
 * @param {Point} to
 * @returns {Control[]}
 */
export function moved(path, controls, n, { x, y }) {
  const changed = [...controls];
  const last = !path.closed && n === controls.length - 1;
  changed[n] = { x, y, base: null, kept: last };
  return withSpanBefore(path, changed, n);
}

/**
 * Take a control point away; the ends of a course stay, and as many points as make a line.
 *
 * @param {Path} path
 * @param {Control[]} controls
 * @param {number} n
 * @returns {Control[] | null}  null where it stays
 */
export function dropped(path, controls, n) {
  const isEnd = !path.closed && (n === 0 || n === controls.length - 1);
  if (isEnd || controls.length <= (path.closed ? 4 : 2)) {
    return null;
  }
  const changed = withSpanBefore(path, [...controls], n);
  changed.splice(n, 1);
  return changed;
}

/**
 * @param {Path} path
 * @param {Control[]} controls
 * @param {number} n
 */
function withSpanBefore(path, controls, n) {
  const before = n > 0 ? n - 1 : path.closed ? controls.length - 1 : -1;
  if (before >= 0) {
    controls[before] = { ...controls[before], kept: false };
  }
  return controls;
}

/**
 * Put a control point on the line where it is nearest to a place, which moves nothing.
 *
 * @param {Path} path
 * @param {Control[]} controls
 * @param {Point} place
 * @returns {{ controls: Control[], n: number }}  with the new point, and its number
 */
export function inserted(path, controls, place) {
  const drawn = drawnLine(path, controls);
  let least = Infinity;
  /** @type {Control} */
  let control = controls[0];
  let after = 0;
  for (let k = 0; k < drawn.places.length - 1; k++) {
    const [from, to] = [drawn.places[k], drawn.places[k + 1]];
    const [bx, by] = [to.x - from.x, to.y - from.y];
    const along = ((place.x - from.x) * bx + (place.y - from.y) * by) / (bx * bx + by * by || 1);
    const share = Math.min(1, Math.max(0, along));
    const at = { x: from.x + share * bx, y: from.y + share * by };
    const away = Math.hypot(place.x - at.x, place.y - at.y);
    if (away >= least) {
      continue;
    }
    least = away;
    after = drawn.after[k];
    control = { ...at, base: null, kept: false };
    const [begin, end] = [drawn.base[k], drawn.base[k + 1]];
    if (controls[after].kept && begin !== null && end !== null) {
      const base = begin + share * (end - begin);
      const { x, y } = path.at(base);
      control = { x, y, base: path.closed ? base % path.length : base, kept: true };
    }
  }
  const changed = [...controls];
  changed.splice(after + 1, 0, control);
  return { controls: changed, n: after + 1 };
}

/**
 * Put a control point halfway to the next one; after the last one of a course, before it.
 *
 * @param {Path} path
 * @param {Control[]} controls
 * @param {number} n
 */
export function insertedAfter(path, controls, n) {
  const from = !path.closed && n === controls.length - 1 ? n - 1 : n;
  const drawn = drawnLine(path, controls);
  const own = drawn.places.filter((_, k) => drawn.after[k] === from);
  return inserted(path, controls, own[Math.floor(own.length / 2)]);
}

/**
 * The stretches that are drawn, in order.
 *
 * @param {Path} path
 * @param {Control[]} controls
 * @returns {Run[]}
 */
export function runsOf(path, controls) {
  const count = controls.length;
  const first = path.closed ? controls.findIndex(({ base }) => base !== null) : 0;
  if (first < 0) {
    return [{ points: [...controls.keys(), 0], whole: true }];
  }
  /** @type {Run[]} */
  const runs = [];
  /** @type {number[] | null} */
  let points = null;
  for (let k = 0; k < (path.closed ? count : count - 1); k++) {
    const [n, next] = [(first + k) % count, (first + k + 1) % count];
    if (controls[n].kept) {
      continue;
    }
    points = [...(points ?? [n]), next];
    if (controls[next].base !== null || (!path.closed && next === count - 1)) {
      runs.push({ points, whole: false });
      points = null;
    }
  }
  return runs;
}

/**
 * @param {Path} path
 * @param {Control[]} controls
 * @param {Run} run
 * @returns {{ spline: Spline, before: number }}  pieces of the spline before the run's own
 */
function splineOf(path, controls, { points, whole }) {
  if (whole) {
    const own = points.slice(0, -1);
    const over = Math.min(OVER_SEAM, own.length);
    const around = [...own.slice(-over), ...own, ...own.slice(0, over + 1)];
    const places = around.map((n) => controls[n]);
    return { spline: splineThrough(places, null, null), before: over };
  }
  const [begin, end] = [controls[points[0]], controls[points[points.length - 1]]];
  const slopes = [begin, end].map(({ base }) => (base === null ? null : slope(path.at(base))));
  const places = points.map((n) => controls[n]);
  return { spline: splineThrough(places, slopes[0], slopes[1]), before: 0 };
}

/** @param {number} way  metres */
function placesOver(way) {
  return Math.max(2, Math.ceil(way / DRAWN_EVERY_M));
}

/** @type {WeakMap<Path, Map<string, Point[]>>} what was read of lines that stay */
const read = new WeakMap();

/**
 * Places of a line from one on, over a way of it; those of a long line are read once.
 *
 * @param {Path} path
 * @param {number} from
 * @param {number} way
 * @returns {Point[]}
 */
function keptPlaces(path, from, way) {
  const known = read.get(path) ?? new Map();
  read.set(path, known);
  const key = `${from} ${way}`;
  if (!known.has(key)) {
    const every = Math.max(DRAWN_EVERY_M, path.length / MOST_DRAWN);
    const count = Math.max(2, Math.ceil(way / every));
    known.set(
      key,
      Array.from({ length: count }, (_, k) => path.at(from + (way * k) / count)),
    );
  }
  return known.get(key);
}

/**
 * The line as it is drawn; that of a lap ends where it begins.
 *
 * @param {Path} path
 * @param {Control[]} controls
 * @returns {Drawn}
 */
export function drawnLine(path, controls) {
  const pieces = new Map();
  for (const run of runsOf(path, controls)) {
    const { spline, before } = splineOf(path, controls, run);
    run.points.slice(0, -1).forEach((n, k) => pieces.set(n, { spline, piece: before + k }));
  }
  /** @type {Drawn} */
  const drawn = { places: [], after: [], base: [] };
  const spans = path.closed ? controls.length : controls.length - 1;
  for (let n = 0; n < spans; n++) {
    const next = controls[(n + 1) % controls.length];
    const piece = pieces.get(n);
    const from = controls[n].base ?? 0;
    const way = piece
      ? piece.spline.at[piece.piece + 1] - piece.spline.at[piece.piece]
      : ahead(path, from, next.base ?? 0);
    const places = piece
      ? Array.from({ length: placesOver(way) }, (_, k) =>
          placeOn(piece.spline, piece.piece, k / placesOver(way)),
        )
      : keptPlaces(path, from, way);
    places.forEach((place, k) => {
      drawn.places.push(place);
      drawn.after.push(n);
      drawn.base.push(piece ? null : from + (way * k) / places.length);
    });
    if (n === spans - 1) {
      drawn.places.push({ x: next.x, y: next.y });
      drawn.after.push(n);
      drawn.base.push(piece ? null : from + way);
    }
  }
  return drawn;
}

/**
 * @param {Path} path
 * @param {number} from
 * @param {number} to
 */
function ahead(path, from, to) {
  const way = to - from;
  return path.closed && way <= 0 ? way + path.length : way;
}

/**
 * What was drawn, as the server takes it.
 *
 * @param {Path} path
 * @param {Control[]} controls
 * @returns {Stretch[]}
 */
export function stretchesOf(path, controls) {
  return runsOf(path, controls).map(({ points, whole }) => {
    if (whole) {
      return { from: null, to: null, points: points.slice(0, -1).map((n) => controls[n]) };
    }
    const [from, to] = [controls[points[0]].base, controls[points[points.length - 1]].base];
    const inner = points.slice(from === null ? 0 : 1, to === null ? points.length : -1);
    return { from, to, points: inner.map((n) => controls[n]) };
  });
}
