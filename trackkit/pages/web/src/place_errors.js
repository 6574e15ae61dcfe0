// How well the time of a lap between any two places is known.

import { unpack } from "./packing.js";

/**
 * @import { BaseDocument } from "./base_document.js"
 *
 * @typedef {object} Passed  a place that a lap passed
 * @property {number} at  chainage
 * @property {number} speed  metres a second
 * @property {number} east  racing direction, of length 1
 * @property {number} north
 */

/**
 * Errors are those of positions, along the line, over the speeds; what is told of some places is
 * drawn straight between them.
 */
export class PlaceErrors {
  /** @param {NonNullable<BaseDocument["comparison"]>} document */
  constructor(document) {
    const places = document.error_place_m;
    this.count = places.length;
    this.first = places[0];
    this.step = (places[this.count - 1] - places[0]) / (this.count - 1);
    /** Covariances of two places, the upper triangle, row after row. */
    this.recordings = document.recordings.map((laps) =>
      laps?.error_m2 ? unpack(laps.error_m2) : null,
    );
  }

  /**
   * One sigma of the time of a lap from one place to another, seconds; NaN where it is not known.
   *
   * @param {number} recording
   * @param {Passed} from
   * @param {Passed} to
   */
  between(recording, from, to) {
    const triangle = this.recordings[recording];
    if (!triangle) {
      return NaN;
    }
    const [a, b] = [this.about(from.at), this.about(to.at)];
    let both = 0;
    for (const [n, share] of a) {
      for (const [k, part] of b) {
        both += share * part * this.read(triangle, n, k);
      }
    }
    const alike = from.east * to.east + from.north * to.north;
    const sum =
      this.variance(triangle, a) / from.speed ** 2 +
      this.variance(triangle, b) / to.speed ** 2 -
      (2 * alike * both) / (from.speed * to.speed);
    return Math.sqrt(Math.max(sum, 0));
  }

  /**
   * @param {Float64Array} triangle
   * @param {[number, number][]} about  places and their shares
   */
  variance(triangle, about) {
    return about.reduce((sum, [n, share]) => sum + share * this.read(triangle, n, n), 0);
  }

  /**
   * @param {Float64Array} triangle
   * @param {number} a
   * @param {number} b
   */
  read(triangle, a, b) {
    const [row, column] = a < b ? [a, b] : [b, a];
    return triangle[row * this.count - (row * (row - 1)) / 2 + column - row];
  }

  /**
   * The two places about a chainage, with the share of each.
   *
   * @param {number} at
   * @returns {[number, number][]}
   */
  about(at) {
    const place = Math.min(Math.max((at - this.first) / this.step, 0), this.count - 1);
    const n = Math.min(Math.floor(place), this.count - 2);
    return [
      [n, n + 1 - place],
      [n + 1, place - n],
    ];
  }
}
