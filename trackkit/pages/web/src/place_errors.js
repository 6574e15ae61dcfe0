// How well the time of a lap between any two places is known.

import { timesOf, unpack } from "./packing.js";

/**
 * @import { ComparedLaps } from "./base_document.js"
 *
 * @typedef {object} Passed  a place that a lap passed
 * @property {number} at  chainage
 * @property {number} speed  metres a second
 * @property {number} east  racing direction, of length 1
 * @property {number} north
 * @property {number} when  seconds, as laps' beginnings are
 */

/**
 * @typedef {NonNullable<NonNullable<ComparedLaps["errors"]>["between_fixes"]>} BetweenFixes
 */

/**
 * Errors are those of positions, along the line, over the speeds; what is told of some places is
 * drawn straight between them.
 */
export class PlaceErrors {
  /** @param {NonNullable<ComparedLaps["errors"]>} errors  of one recording */
  constructor({ place_m: places, passed_s, error_m2, between_fixes }) {
    this.count = places.length;
    this.first = places[0];
    this.step = (places[this.count - 1] - places[0]) / (this.count - 1);
    /** Covariances of two places, the upper triangle, row after row. */
    this.triangle = unpack(error_m2);
    /** When laps that these are of pass the places. */
    this.passed = unpack(passed_s);
    this.fixes = between_fixes && new FixTimes(between_fixes);
  }

  /**
   * One sigma of the time of a lap from one place to another, seconds; NaN where it is not known.
   *
   * @param {Passed} from
   * @param {Passed} to
   */
  between(from, to) {
    const [a, b] = [this.about(from.at), this.about(to.at)];
    // Errors go together by the time between them, and a lap may have taken longer.
    const after = this.about(this.placeAfter(from.at, to.when - from.when));
    let both = 0;
    for (const [n, share] of a) {
      for (const [k, part] of after) {
        both += share * part * this.read(n, k);
      }
    }
    both *= Math.sqrt(this.usual(b) / this.usual(after));
    const alike = from.east * to.east + from.north * to.north;
    const sum =
      this.variance(a, from.when) / from.speed ** 2 +
      this.variance(b, to.when) / to.speed ** 2 -
      (2 * alike * both) / (from.speed * to.speed);
    return Math.sqrt(Math.max(sum, 0));
  }

  /**
   * Where the laps that errors are told of were so long after a place; at most at their end.
   *
   * @param {number} at  chainage
   * @param {number} seconds
   */
  placeAfter(at, seconds) {
    const { passed, first, step, count } = this;
    const when = this.about(at).reduce((sum, [n, share]) => sum + share * passed[n], seconds);
    const after = passed.findIndex((time) => time > when);
    if (after < 0) {
      return first + (count - 1) * step;
    }
    const n = Math.max(after, 1);
    const share = (when - passed[n - 1]) / (passed[n] - passed[n - 1]);
    return first + (n - 1 + share) * step;
  }

  /** @param {[number, number][]} about  places and their shares */
  usual(about) {
    return about.reduce((sum, [n, share]) => sum + share * this.read(n, n), 0);
  }

  /**
   * @param {[number, number][]} about  places and their shares
   * @param {number} when  seconds
   */
  variance(about, when) {
    return this.usual(about) + (this.fixes?.more(when) ?? 0);
  }

  /**
   * @param {number} a
   * @param {number} b
   */
  read(a, b) {
    const [row, column] = a < b ? [a, b] : [b, a];
    return this.triangle[row * this.count - (row * (row - 1)) / 2 + column - row];
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

/** How well a position is known depends on how long after a fix it is. */
class FixTimes {
  /** @param {BetweenFixes} between */
  constructor({ first_s: first, step_s: steps, more_m2: more }) {
    this.times = timesOf(first, unpack(steps));
    this.levels = more;
  }

  /**
   * By how much the variance of a position is more than usual, square metres.
   *
   * @param {number} when  seconds
   */
  more(when) {
    const { times, levels } = this;
    let low = 0;
    let high = times.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (times[middle] <= when) {
        low = middle;
      } else {
        high = middle;
      }
    }
    const share = (when - times[low]) / (times[high] - times[low]);
    const place = Math.min(Math.max(share, 0), 1) * (levels.length - 1);
    const n = Math.min(Math.floor(place), levels.length - 2);
    return Number.isFinite(place) ? levels[n] + (place - n) * (levels[n + 1] - levels[n]) : 0;
  }
}
