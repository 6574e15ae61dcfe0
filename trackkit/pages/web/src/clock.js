// Where a lap is by the time since it began.

/** @import { Trace } from "./traces.js" */

/** Metres between two places that a clock is read at; straight between them. */
const STEP_M = 2;

export class Clock {
  /**
   * @param {Trace} trace
   * @param {number} length  of the line, metres
   */
  constructor(trace, length) {
    /** @type {number[]} */
    this.places = [];
    /** @type {number[]} rising */
    this.times = [];
    const count = Math.ceil(length / STEP_M);
    for (let n = 0; n <= count; n++) {
      // A lap ends where the next one begins, and is still its own just before.
      const place = Math.min((n * length) / count, length - 1e-3);
      const time = trace.time(place);
      if (time > (this.times[this.times.length - 1] ?? -Infinity)) {
        this.places.push(place);
        this.times.push(time);
      }
    }
  }

  /** The last time that is read, seconds; 0 where there is none. */
  get end() {
    return this.times[this.times.length - 1] ?? 0;
  }

  /**
   * The shown chainage at a time, NaN before the lap and after it.
   *
   * @param {number} time  seconds since the lap began
   */
  at(time) {
    const { times, places } = this;
    if (!(time >= times[0] - 0.2) || time > this.end + 1e-6) {
      return NaN;
    }
    let low = 0;
    let high = times.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (times[middle] <= time) {
        low = middle;
      } else {
        high = middle;
      }
    }
    const way = times[high] - times[low];
    const share = way > 0 ? Math.min(Math.max((time - times[low]) / way, 0), 1) : 0;
    return places[low] + share * (places[high] - places[low]);
  }
}
