// The centreline as the page was given it, addressed by chainage in metres.

import { metresPerDegree } from "./ellipsoid.js";
import { unpack } from "./packing.js";

/**
 * @import { PackedLine } from "./base_document.js"
 *
 * @typedef {[number, number]} Position  longitude and latitude, degrees
 *
 * @typedef {object} Place  a place on the line
 * @property {number} x  metres east of the first vertex, on the line's plane
 * @property {number} y  metres north of it
 * @property {number} lon
 * @property {number} lat
 * @property {number} east  racing direction on the ground, of length 1
 * @property {number} north
 * @property {number} left  reach of the band to the left, metres
 * @property {number} right
 *
 * @typedef {object} Nearest
 * @property {number} distance  metres
 * @property {number} chainage  metres
 */

const RADIANS = Math.PI / 180;

/**
 * Sums of chainages come out a hair short of a lap where they mean its beginning; nearer than
 * this, metres, they count as there.
 */
const SAME_PLACE_M = 1e-6;

/**
 * Positions are kept on a plane whose degrees have the lengths that they have at the first vertex.
 * It tells near from far; what is laid out in metres beside the line is laid out with the lengths
 * of degrees at that place.
 */
export class Line {
  /**
   * @param {PackedLine} line
   * @param {boolean} closed
   */
  constructor(line, closed) {
    this.closed = closed;
    this.length = line.length_m;
    this.chainage = unpack(line.chainage_m);
    this.lon = unpack(line.lon);
    this.lat = unpack(line.lat);
    this.left = unpack(line.left_m);
    this.right = unpack(line.right_m);
    this.step = evenStep(this.chainage);
    this.scale = metresPerDegree(/** @type {number} */ (this.lat[0]));
    this.x = this.lon.map((value) => this.east(value));
    this.y = this.lat.map((value) => this.north(value));
    // Racing direction on the plane, by metre of the ground.
    const bearing = unpack(line.bearing_deg).map((value) => value * RADIANS);
    const degree = Array.from(this.lat, metresPerDegree);
    this.tangentX = bearing.map((value, n) => (Math.sin(value) * this.scale.east) / degree[n].east);
    this.tangentY = bearing.map(
      (value, n) => (Math.cos(value) * this.scale.north) / degree[n].north,
    );
  }

  /** @param {number} lon */
  east(lon) {
    return (lon - this.lon[0]) * this.scale.east;
  }

  /** @param {number} lat */
  north(lat) {
    return (lat - this.lat[0]) * this.scale.north;
  }

  /**
   * @param {number} x
   * @param {number} y
   * @returns {Position}
   */
  toLonLat(x, y) {
    return [this.lon[0] + x / this.scale.east, this.lat[0] + y / this.scale.north];
  }

  /**
   * Longitudes of files may be counted from the other side of the antimeridian.
   *
   * @param {number} lon
   */
  nearLongitude(lon) {
    return lon - 360 * Math.round((lon - this.lon[0]) / 360);
  }

  /**
   * Bring a chainage onto the line: round the lap if it is closed, else within its ends.
   *
   * @param {number} chainage
   */
  wrap(chainage) {
    if (!this.closed) {
      return Math.min(Math.max(chainage, 0), this.length);
    }
    const at = ((chainage % this.length) + this.length) % this.length;
    return at > this.length - SAME_PLACE_M ? 0 : at;
  }

  /**
   * Shortest way from one chainage to another, metres; behind is negative.
   *
   * @param {number} from
   * @param {number} to
   */
  between(from, to) {
    const way = to - from;
    return this.closed ? way - this.length * Math.round(way / this.length) : way;
  }

  /**
   * Read the line at a chainage: a cubic through the two vertices beside it, in racing direction
   * at both.
   *
   * @param {number} chainage
   * @returns {Place}
   */
  at(chainage) {
    const place = this.wrap(chainage) / this.step;
    const n = Math.min(Math.floor(place), this.x.length - 2);
    const share = place - n;
    const x = hermite(this.x, this.tangentX, n, share, this.step);
    const y = hermite(this.y, this.tangentY, n, share, this.step);
    const [lon, lat] = this.toLonLat(x.value, y.value);
    const degree = metresPerDegree(lat);
    const east = (x.slope * degree.east) / this.scale.east;
    const north = (y.slope * degree.north) / this.scale.north;
    const size = Math.hypot(east, north);
    return {
      x: x.value,
      y: y.value,
      lon,
      lat,
      east: east / size,
      north: north / size,
      left: between(this.left, n, share),
      right: between(this.right, n, share),
    };
  }

  /**
   * A position square to the line at a place, `aside` metres to its left.
   *
   * @param {Place} place
   * @param {number} aside
   * @returns {Position}
   */
  beside(place, aside) {
    const degree = metresPerDegree(place.lat);
    return [
      place.lon - (place.north * aside) / degree.east,
      place.lat + (place.east * aside) / degree.north,
    ];
  }

  /**
   * How far to the left of the line a position is, seen from a place on it, metres.
   *
   * @param {Place} place
   * @param {Position} position
   */
  aside(place, [lon, lat]) {
    const degree = metresPerDegree(place.lat);
    return (
      (lat - place.lat) * degree.north * place.east - (lon - place.lon) * degree.east * place.north
    );
  }

  /**
   * Ends of a gate square to the track, left first.
   *
   * @param {number} chainage
   * @param {number} width  metres
   * @returns {[Position, Position]}
   */
  squareEnds(chainage, width) {
    const place = this.at(chainage);
    return [this.beside(place, width / 2), this.beside(place, -width / 2)];
  }

  /**
   * The nearest place on the line to a position on the plane. With `around` only the stretch
   * within `reach` metres of that chainage is looked at, so that a gate that is dragged along one
   * straight does not jump to the next one.
   *
   * @param {number} x
   * @param {number} y
   * @param {number} [around]
   * @param {number} [reach]
   * @returns {Nearest}
   */
  nearest(x, y, around, reach = Infinity) {
    const best = { distance: Infinity, chainage: 0 };
    const count = this.x.length - 1;
    const [first, last] = this.segments(around, reach);
    for (let k = first; k <= last; k++) {
      const n = ((k % count) + count) % count;
      const bx = this.x[n + 1] - this.x[n];
      const by = this.y[n + 1] - this.y[n];
      const ax = x - this.x[n];
      const ay = y - this.y[n];
      const share = Math.min(1, Math.max(0, (ax * bx + ay * by) / (bx * bx + by * by)));
      const distance = Math.hypot(ax - share * bx, ay - share * by);
      if (distance < best.distance) {
        best.distance = distance;
        best.chainage = (n + share) * this.step;
      }
    }
    best.chainage = this.wrap(best.chainage);
    return best;
  }

  /**
   * First and last piece between two vertices within reach of a chainage; on a closed line they
   * may count on beyond either end.
   *
   * @param {number | undefined} around
   * @param {number} reach
   */
  segments(around, reach) {
    const count = this.x.length - 1;
    if (around === undefined) {
      return [0, count - 1];
    }
    const first = Math.floor((around - reach) / this.step);
    const last = Math.ceil((around + reach) / this.step);
    if (this.closed && last - first < count) {
      return [first, last];
    }
    return [Math.max(first, 0), Math.min(last, count - 1)];
  }
}

/**
 * Distance between evenly spaced values, which are rounded each.
 *
 * @param {Float64Array} values
 */
export function evenStep(values) {
  return (values[values.length - 1] - values[0]) / (values.length - 1);
}

/**
 * @param {Float64Array} values
 * @param {number} n
 * @param {number} share
 */
function between(values, n, share) {
  return values[n] * (1 - share) + values[n + 1] * share;
}

/**
 * A cubic Hermite piece: its value, and its slope by metre.
 *
 * @param {Float64Array} values
 * @param {Float64Array} slopes  by metre
 * @param {number} n
 * @param {number} share
 * @param {number} step  metres
 */
function hermite(values, slopes, n, share, step) {
  const rest = 1 - share;
  const rise = values[n + 1] - values[n];
  const from = slopes[n] * step - rise;
  const to = rise - slopes[n + 1] * step;
  const bend = from * rest + to * share;
  return {
    value: values[n] + share * (rise + rest * bend),
    slope: (rise + (rest - share) * bend + share * rest * (to - from)) / step,
  };
}
