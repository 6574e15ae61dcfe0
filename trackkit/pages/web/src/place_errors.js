// How well the time of a lap between any two places is known.

import { timesOf, unpack } from "./packing.js";

/**
 * @import { ComparedLaps } from "./base_document.js"
 *
 * @typedef {object} Passed  a place that a lap passed
 * @property {string} lap  session and number
 * @property {number} at  chainage
 * @property {number} speed  metres a second
 * @property {number} east  racing direction, of length 1
 * @property {number} north
 * @property {number} when  seconds, as laps' beginnings are
 *
 * @typedef {NonNullable<ComparedLaps["errors"]>} Errors
 * @typedef {NonNullable<Errors["between_fixes"]>} BetweenFixes
 * @typedef {[number, number][]} About  places and their shares
 */

/** In the same interval between fixes, and in two that follow each other. */
const LAGS = 2;

/**
 * Errors are those of positions, along the line, over the speeds; what is told of some places is
 * drawn straight between them.
 */
export class PlaceErrors {
  /** @param {Errors} errors  of one recording */
  constructor({ place_m: places, passed_s, error_m2, across, between_fixes, ways }) {
    this.count = places.length;
    this.first = places[0];
    this.last = places[this.count - 1];
    /** Covariances of two places, the upper triangle, row after row. */
    this.triangle = unpack(error_m2);
    /** Correlations of two laps, row after row. */
    this.across = unpack(across);
    /** When laps that these are of pass the places. */
    this.passed = unpack(passed_s);
    this.fixes = between_fixes && new FixTimes(between_fixes);
    this.ways = new Map(ways.map(({ lap, variance_m2 }) => [lap.join(), unpack(variance_m2)]));
  }

  /**
   * One sigma of the time of a lap from one place to another, seconds; NaN where it is not known.
   *
   * @param {Passed} from
   * @param {Passed} to
   */
  between(from, to) {
    return this.sigma([[from, to]]);
  }

  /**
   * One sigma of the sum of times from one place to another, seconds; NaN where it is not known.
   *
   * @param {[Passed, Passed][]} times  of laps of the recording
   */
  sigma(times) {
    const ends = times.flatMap(([from, to]) => [
      { passed: from, sign: -1 },
      { passed: to, sign: 1 },
    ]);
    let sum = 0;
    for (const [n, { passed: a, sign }] of ends.entries()) {
      sum += this.shared(a, a);
      for (const { passed: b, sign: other } of ends.slice(n + 1)) {
        sum += 2 * sign * other * this.shared(a, b);
      }
    }
    return Math.sqrt(Math.max(sum, 0));
  }

  /**
   * Covariance of the times of two places, seconds squared.
   *
   * @param {Passed} a
   * @param {Passed} b
   */
  shared(a, b) {
    const alike = a.east * b.east + a.north * b.north;
    const error = a.lap === b.lap ? this.ofLap(a, b) : this.ofTwo(a, b);
    return (alike * error) / (a.speed * b.speed);
  }

  /**
   * Covariance of errors at two places of a lap, square metres.
   *
   * @param {Passed} a
   * @param {Passed} b
   */
  ofLap(a, b) {
    const [from, to] = a.when <= b.when ? [a, b] : [b, a];
    const more = this.fixes?.more(from.when, to.when) ?? 0;
    if (from.at === to.at) {
      return this.usual(from) + more;
    }
    // Errors go together by the time between them, and a lap may have taken longer.
    const start = this.about(from.at);
    const after = this.about(this.placeAfter(from.at, to.when - from.when));
    const both = between(start, after, (n, k) => this.read(n, k));
    const grown = Math.sqrt(
      (this.usual(from) * this.usual(to)) / (this.ofLaps(start) * this.ofLaps(after)),
    );
    return both * grown + more;
  }

  /**
   * Covariance of errors at places of two laps, square metres.
   *
   * @param {Passed} a
   * @param {Passed} b
   */
  ofTwo(a, b) {
    const count = Math.round(Math.sqrt(this.across.length));
    if (!count) {
      return 0;
    }
    const correlation = between(
      this.about(a.at, count),
      this.about(b.at, count),
      (n, k) => this.across[n * count + k],
    );
    // Of laps of which none tells, nothing is taken to be shared.
    return (correlation || 0) * Math.sqrt(this.usual(a) * this.usual(b));
  }

  /**
   * Where the laps that errors are told of were so long after a place; at most at their end.
   *
   * @param {number} at  chainage
   * @param {number} seconds
   */
  placeAfter(at, seconds) {
    const { passed, first, last, count } = this;
    const when = this.about(at).reduce((sum, [n, share]) => sum + share * passed[n], seconds);
    const after = passed.findIndex((time) => time > when);
    if (after < 0) {
      return last;
    }
    const n = Math.max(after, 1);
    const share = (when - passed[n - 1]) / (passed[n] - passed[n - 1]);
    return first + ((n - 1 + share) * (last - first)) / (count - 1);
  }

  /**
   * Variance of the error at a place, without what it owes to the fixes about it, square metres.
   *
   * @param {Passed} passed
   */
  usual({ at, lap }) {
    const way = this.ways.get(lap);
    const own =
      way && this.about(at, way.length).reduce((sum, [n, part]) => sum + part * way[n], 0);
    return own !== undefined && own > 0 ? own : this.ofLaps(this.about(at));
  }

  /** @param {About} about */
  ofLaps(about) {
    return about.reduce((sum, [n, share]) => sum + share * this.read(n, n), 0);
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
   * The two of evenly spaced places about a chainage, with the share of each.
   *
   * @param {number} at
   * @param {number} [count]  of places
   * @returns {About}
   */
  about(at, count = this.count) {
    const step = (this.last - this.first) / (count - 1);
    const place = Math.min(Math.max((at - this.first) / step, 0), count - 1);
    const n = Math.min(Math.floor(place), count - 2);
    return [
      [n, n + 1 - place],
      [n + 1, place - n],
    ];
  }
}

/**
 * What is told of pairs of places, between them.
 *
 * @param {About} rows
 * @param {About} columns
 * @param {(row: number, column: number) => number} read
 */
function between(rows, columns, read) {
  let sum = 0;
  for (const [row, share] of rows) {
    for (const [column, part] of columns) {
      sum += share * part * read(row, column);
    }
  }
  return sum;
}

/** How well positions are known together depends on how long after fixes they are. */
class FixTimes {
  /** @param {BetweenFixes} between */
  constructor({ first_s: first, step_s: steps, more_m2: more }) {
    this.times = timesOf(first, unpack(steps));
    this.levels = unpack(more);
    this.count = Math.round(Math.sqrt(this.levels.length / LAGS));
  }

  /**
   * By how much the covariance of two positions is more than of such that are far apart, square
   * metres.
   *
   * @param {number} from  seconds
   * @param {number} to  not before
   */
  more(from, to) {
    const [first, last] = [this.place(from), this.place(to)];
    const lag = last.fix - first.fix;
    if (lag >= LAGS || !Number.isFinite(first.share + last.share)) {
      return 0;
    }
    const { count, levels } = this;
    return between(
      shares(first.share, count),
      shares(last.share, count),
      (n, k) => levels[(lag * count + n) * count + k],
    );
  }

  /**
   * The fix before a time, and how much of the time to the next has gone by.
   *
   * @param {number} when  seconds
   */
  place(when) {
    const { times } = this;
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
    return { fix: low, share: Math.min(Math.max(share, 0), 1) };
  }
}

/**
 * @param {number} share  of the way from the first of evenly spaced values to the last
 * @param {number} count  of them
 * @returns {About}
 */
function shares(share, count) {
  const place = share * (count - 1);
  const n = Math.min(Math.floor(place), count - 2);
  return [
    [n, n + 1 - place],
    [n + 1, place - n],
  ];
}
