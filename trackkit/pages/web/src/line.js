// The centreline as the page was given it, addressed by chainage in metres.

import { metresPerDegree } from "./ellipsoid.js";
import { unpack } from "./packing.js";

/**
 * @import { PackedLine, Spline } from "./base_document.js"
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
 * @typedef {object} Knot  a point between two pieces of the spline
 * @property {number} chainage
 * @property {number} x
 * @property {number} y
 * @property {number} slopeX  of x by metre of chord
 * @property {number} slopeY
 * @property {number} pace  metres on the ground by metre of chord
 * @property {number} chord  to the next one, metres
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
    this.left = unpack(line.left_m);
    this.right = unpack(line.right_m);
    /** One sigma of its sideways place at the places that are drawn, metres. */
    this.sigma = line.accuracy ? unpack(line.accuracy.sigma_m) : null;
    /** Distance between the places that are drawn, metres. */
    this.step = this.length / (this.left.length - 1);
    const lon = unpack(line.spline.lon);
    const lat = unpack(line.spline.lat);
    /** @type {Position} */
    this.origin = [lon[0], lat[0]];
    this.scale = metresPerDegree(lat[0]);
    this.knots = this.knotsOf(line.spline, lon, lat);
    // A closed line is drawn to its end, which is its beginning.
    this.drawn = Array.from(this.left, (_, n) => this.at(n * this.step));
  }

  /**
   * @param {Spline} spline
   * @param {Float64Array} lon
   * @param {Float64Array} lat
   * @returns {Knot[]}
   */
  knotsOf(spline, lon, lat) {
    const chainage = unpack(spline.chainage_m);
    const bearing = unpack(spline.bearing_deg);
    const pace = unpack(spline.pace);
    return Array.from(chainage, (at, n) => {
      const degree = metresPerDegree(lat[n]);
      const next = Math.min(n + 1, lat.length - 1);
      const middle = metresPerDegree((lat[n] + lat[next]) / 2);
      return {
        chainage: at,
        x: this.east(lon[n]),
        y: this.north(lat[n]),
        slopeX: (pace[n] * Math.sin(bearing[n] * RADIANS) * this.scale.east) / degree.east,
        slopeY: (pace[n] * Math.cos(bearing[n] * RADIANS) * this.scale.north) / degree.north,
        pace: pace[n],
        chord: Math.hypot((lon[next] - lon[n]) * middle.east, (lat[next] - lat[n]) * middle.north),
      };
    });
  }

  /** @param {number} lon */
  east(lon) {
    return (lon - this.origin[0]) * this.scale.east;
  }

  /** @param {number} lat */
  north(lat) {
    return (lat - this.origin[1]) * this.scale.north;
  }

  /**
   * @param {number} x
   * @param {number} y
   * @returns {Position}
   */
  toLonLat(x, y) {
    return [this.origin[0] + x / this.scale.east, this.origin[1] + y / this.scale.north];
  }

  /**
   * Longitudes of files may be counted from the other side of the antimeridian.
   *
   * @param {number} lon
   */
  nearLongitude(lon) {
    return lon - 360 * Math.round((lon - this.origin[0]) / 360);
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
   * Read the line at a chainage.
   *
   * @param {number} chainage
   * @returns {Place}
   */
  at(chainage) {
    const at = this.wrap(chainage);
    const { x, y } = this.splineAt(at);
    const [lon, lat] = this.toLonLat(x.value, y.value);
    const degree = metresPerDegree(lat);
    const east = (x.slope * degree.east) / this.scale.east;
    const north = (y.slope * degree.north) / this.scale.north;
    const size = Math.hypot(east, north);
    const n = Math.min(Math.floor(at / this.step), this.left.length - 2);
    const share = at / this.step - n;
    return {
      x: x.value,
      y: y.value,
      lon,
      lat,
      east: east / size,
      north: north / size,
      left: this.left[n] * (1 - share) + this.left[n + 1] * share,
      right: this.right[n] * (1 - share) + this.right[n + 1] * share,
    };
  }

  /**
   * The piece of the spline that holds a chainage, read there.
   *
   * @param {number} at
   */
  splineAt(at) {
    const { knots } = this;
    let low = 0;
    let high = knots.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (knots[middle].chainage <= at) {
        low = middle;
      } else {
        high = middle;
      }
    }
    const [from, to] = [knots[low], knots[high]];
    const { chord } = from;
    const length = to.chainage - from.chainage;
    const way = length / chord;
    const share = hermite(
      0,
      1,
      way / from.pace,
      way / to.pace,
      (at - from.chainage) / length,
    ).value;
    return {
      x: hermite(from.x, to.x, from.slopeX * chord, to.slopeX * chord, share),
      y: hermite(from.y, to.y, from.slopeY * chord, to.slopeY * chord, share),
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
   * How far ahead along the track a position is, seen from a place on it, metres.
   *
   * @param {Place} place
   * @param {Position} position
   */
  ahead(place, [lon, lat]) {
    const degree = metresPerDegree(place.lat);
    return (
      (lon - place.lon) * degree.east * place.east + (lat - place.lat) * degree.north * place.north
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
    const count = this.drawn.length - 1;
    const [first, last] = this.segments(around, reach);
    for (let k = first; k <= last; k++) {
      const n = ((k % count) + count) % count;
      const [from, to] = [this.drawn[n], this.drawn[n + 1]];
      const bx = to.x - from.x;
      const by = to.y - from.y;
      const ax = x - from.x;
      const ay = y - from.y;
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
    const count = this.drawn.length - 1;
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
 * A cubic Hermite piece: its value and its slope between two ends.
 *
 * @param {number} from
 * @param {number} to
 * @param {number} slopeFrom  by the whole piece
 * @param {number} slopeTo
 * @param {number} share  of the piece
 */
function hermite(from, to, slopeFrom, slopeTo, share) {
  const rest = 1 - share;
  const rise = to - from;
  const a = slopeFrom - rise;
  const b = rise - slopeTo;
  const bend = a * rest + b * share;
  return {
    value: from + share * (rise + rest * bend),
    slope: rise + (rest - share) * bend + share * rest * (b - a),
  };
}
