// Laps compared: what one lost to another by section, and how well their difference is known.

import { unpack } from "./packing.js";
import { PlaceErrors } from "./place_errors.js";

/**
 * @import { BaseDocument, ComparedLaps, Section } from "./base_document.js"
 * @import { Lap } from "./state_document.js"
 * @import { Trace } from "./traces.js"
 *
 * @typedef {Pick<Lap, "recording" | "session" | "number">} LapNumbers
 *
 * @typedef {object} Compared  laps of one recording at the places that all are timed at
 * @property {Map<string, number>} rows  by the numbers of session and lap
 * @property {number} together
 * @property {Float64Array} passed
 * @property {Float64Array} sigma
 * @property {Float64Array} pairSigma
 *
 * @typedef {object} SectionLoss
 * @property {Section} section
 * @property {number} from  chainage
 * @property {number} to
 * @property {number} time  seconds lost, negative where they were won
 * @property {number} sigma
 */

export class Comparison {
  /** @param {NonNullable<BaseDocument["comparison"]>} document */
  constructor(document) {
    this.places = document.place_m;
    this.sections = document.sections;
    this.stretches = document.place_m.length - 1 + document.sections.length;
    this.recordings = document.recordings.map((laps) => laps && comparedOf(laps));
    /** By recording. */
    this.errors = document.recordings.map((laps) => laps?.errors && new PlaceErrors(laps.errors));
  }

  /**
   * Two laps that both were driven from line to line, or null.
   *
   * @param {LapNumbers} lap
   * @param {LapNumbers} other
   * @returns {Pair | null}
   */
  pair(lap, other) {
    const [own, others] = [this.recordings[lap.recording], this.recordings[other.recording]];
    const [n, k] = [own?.rows.get(nameOf(lap)), others?.rows.get(nameOf(other))];
    if (!own || !others || n === undefined || k === undefined) {
      return null;
    }
    return new Pair(this, { laps: own, row: n }, { laps: others, row: k });
  }
}

export class Pair {
  /**
   * @param {Comparison} comparison
   * @param {{ laps: Compared, row: number }} own
   * @param {{ laps: Compared, row: number }} other
   */
  constructor(comparison, own, other) {
    this.comparison = comparison;
    this.own = own;
    this.other = other;
  }

  /**
   * By how much later the lap reached a place than the other one, seconds.
   *
   * @param {number} place  its number
   */
  behind(place) {
    const count = this.comparison.places.length;
    const [own, other] = [this.own, this.other];
    return own.laps.passed[own.row * count + place] - other.laps.passed[other.row * count + place];
  }

  /**
   * One sigma of the difference of the two laps in a stretch. Errors of two recordings are
   * independent; those of one are taken as correlated as they are.
   *
   * @param {number} stretch  its number
   */
  sigma(stretch) {
    const { stretches } = this.comparison;
    const { own, other } = this;
    if (own.laps === other.laps && own.row === other.row) {
      return 0;
    }
    const [first, second] = [Math.min(own.row, other.row), Math.max(own.row, other.row)];
    const { together, pairSigma } = own.laps;
    if (own.laps === other.laps && second < together) {
      const row = first * together - (first * (first + 1)) / 2 + (second - first - 1);
      return pairSigma[row * stretches + stretch];
    }
    return Math.hypot(
      own.laps.sigma[own.row * stretches + stretch],
      other.laps.sigma[other.row * stretches + stretch],
    );
  }

  /**
   * Where the lap lost time to the other, the largest loss first; what a recording does not tell
   * is left out.
   *
   * @returns {SectionLoss[]}
   */
  losses() {
    const { places, sections } = this.comparison;
    return sections
      .map((section, n) => ({
        section,
        from: places[section.from],
        to: places[section.to],
        time: this.behind(section.to) - this.behind(section.from),
        sigma: this.sigma(places.length - 1 + n),
      }))
      .filter(({ time }) => Number.isFinite(time))
      .sort((a, b) => b.time - a.time);
  }

  /** The difference of the lap times, and its sigma. */
  whole() {
    const last = this.comparison.places.length - 1;
    return { time: this.behind(last), sigma: this.sigma(last - 1) };
  }

  /**
   * One sigma of the time that the lap is behind the other, at any place: it is in metres along
   * the line that errors change slowly, so these are drawn straight between the places.
   *
   * @param {Trace} trace  of the lap
   * @param {Trace} other
   * @returns {(shown: number) => number}
   */
  band(trace, other) {
    const { places } = this.comparison;
    const speed = (/** @type {number} */ at) => (trace.speed(at) + other.speed(at)) / 2;
    const metres = places.map((at, n) => {
      const sigma = n ? this.sigma(n - 1) : 0;
      // The first and the last place may be a hair beyond what was laid out.
      const near = Math.min(Math.max(at, places[0] + 1), places[places.length - 1] - 1);
      return sigma * speed(near);
    });
    return (shown) => {
      const after = places.findIndex((at) => at >= shown);
      if (after < 1) {
        return after === 0 ? metres[0] / speed(shown) : NaN;
      }
      const share = (shown - places[after - 1]) / (places[after] - places[after - 1]);
      return (metres[after - 1] * (1 - share) + metres[after] * share) / speed(shown);
    };
  }
}

/**
 * @param {ComparedLaps} laps
 * @returns {Compared}
 */
function comparedOf({ laps, together, passed_s, sigma_s, pair_sigma_s }) {
  return {
    rows: new Map(laps.map(([session, number], row) => [`${session}.${number}`, row])),
    together,
    passed: unpack(passed_s),
    sigma: unpack(sigma_s),
    pairSigma: unpack(pair_sigma_s),
  };
}

/** @param {LapNumbers} lap */
function nameOf({ session, number }) {
  return `${session}.${number}`;
}
