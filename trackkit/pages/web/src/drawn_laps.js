// The laps that are drawn, each with its trace and how it is drawn; the reference lap comes first.

import { Clock } from "./clock.js";

/**
 * @import { LapStyle } from "./drivers.js"
 * @import { KeyedLap, Session } from "./session.js"
 * @import { Trace } from "./traces.js"
 *
 * @typedef {object} DrawnLap
 * @property {KeyedLap} lap
 * @property {Trace} trace
 * @property {Clock} clock
 * @property {LapStyle} style
 * @property {string} letter  that it has on the map and in the readings; none where they are many
 */

const LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ";

export class DrawnLaps {
  /** @param {Session} session */
  constructor(session) {
    this.session = session;
    /** @type {DrawnLap[] | null} */
    this.kept = null;
    session.on(["state", "laps"], () => (this.kept = null));
  }

  /** @returns {DrawnLap[]} */
  get all() {
    this.kept ??= this.laidOut();
    return this.kept;
  }

  laidOut() {
    const { session } = this;
    const laps = new Map(session.timedLaps().map((lap) => [lap.key, lap]));
    const { reference, chosen } = session;
    const keys = [
      ...chosen.filter((key) => key === reference),
      ...chosen.filter((key) => key !== reference),
    ];
    const drawn = keys.flatMap((key) => {
      const lap = laps.get(key);
      const trace = lap && session.traceOf(lap);
      return trace ? [{ lap, trace }] : [];
    });
    return drawn.map(({ lap, trace }, n) => ({
      lap,
      trace,
      clock: new Clock(trace, session.length),
      style: session.styleOf(lap.key),
      letter: drawn.length > LETTERS.length ? "" : LETTERS[n],
    }));
  }
}
