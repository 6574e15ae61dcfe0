// What recordings hold besides where they were driven, such as engine speed, at its own times.

import { timesOf, unpack } from "./packing.js";

/**
 * @import { BaseDocument } from "./base_document.js"
 *
 * @typedef {object} NamedChannel
 * @property {string} title  its name and unit, by which those of several recordings are the same
 * @property {string} name
 * @property {string} unit
 * @property {number} digits  decimals that tell its values apart
 *
 * @typedef {object} Measured  a channel of one recording
 * @property {Float64Array} times  seconds, rising
 * @property {Float64Array} values
 * @property {number} gap  seconds
 */

export class Channels {
  /** @param {BaseDocument["recordings"]} recordings */
  constructor(recordings) {
    /** @type {NamedChannel[]} */
    this.all = [];
    /** @type {Map<string, Measured>[]} by title, of each recording */
    this.recordings = recordings.map(({ channels = [] }) => {
      const measured = new Map();
      for (const { name, unit, first_s: first, step_s: step, gap_s: gap, value } of channels) {
        const title = unit ? `${name}, ${unit}` : name;
        const values = unpack(value);
        measured.set(title, { times: timesOf(first, unpack(step)), values, gap });
        this.list({ title, name, unit: unit ?? "", digits: digitsOf(values) });
      }
      return measured;
    });
  }

  /** @param {NamedChannel} channel */
  list(channel) {
    const same = this.all.find(({ title }) => title === channel.title);
    if (same) {
      same.digits = Math.max(same.digits, channel.digits);
    } else {
      this.all.push(channel);
    }
  }

  /**
   * @param {string} title
   * @param {number} recording
   */
  has(title, recording) {
    return this.recordings[recording].has(title);
  }

  /**
   * What a channel was at a time, straight between its values; NaN where that is not known.
   *
   * @param {string} title
   * @param {number} recording
   * @param {number} time  seconds, as laps' beginnings are
   */
  at(title, recording, time) {
    const measured = this.recordings[recording].get(title);
    return measured ? between(measured, time) : NaN;
  }
}

/**
 * @param {Measured} measured
 * @param {number} time
 */
function between({ times, values, gap }, time) {
  let low = 0;
  let high = times.length - 1;
  if (!(time >= times[low] && time <= times[high])) {
    return NaN;
  }
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (times[middle] <= time) {
      low = middle;
    } else {
      high = middle;
    }
  }
  const step = times[high] - times[low];
  if (time === times[low] || step === 0) {
    return values[low];
  }
  if (time === times[high]) {
    return values[high];
  }
  const share = (time - times[low]) / step;
  return step > gap ? NaN : values[low] * (1 - share) + values[high] * share;
}

/** Of what values span, the step in which they are packed, and room for rounding. */
const PACKED = 1 / 50_000;

/**
 * Decimals that tell about a thousandth of what values span; none for whole numbers, such as gears.
 *
 * @param {Float64Array} values
 */
function digitsOf(values) {
  const known = values.filter(Number.isFinite);
  const span =
    known.reduce((a, b) => Math.max(a, b), -Infinity) -
    known.reduce((a, b) => Math.min(a, b), Infinity);
  if (known.every((value) => Math.abs(value - Math.round(value)) <= PACKED * span)) {
    return 0;
  }
  return span > 0 ? Math.min(3, Math.max(0, Math.ceil(2 - Math.log10(span)))) : 0;
}
