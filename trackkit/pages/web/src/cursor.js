// The one place, or the one moment, that slider, chart, map and readings are all at.

/**
 * @import { DrawnLap } from "./drawn_laps.js"
 * @import { Session } from "./session.js"
 */

/** How near to the end of the line the cursor comes, metres: its very end is its beginning. */
const END_M = 1e-3;

/**
 * Laid out by distance, all laps are read at the same place; by time, each where it was so many
 * seconds after it began.
 */
export class Cursor {
  /** @param {Session} session */
  constructor(session) {
    this.session = session;
    /** @type {"distance" | "time"} */
    this.by = "distance";
    /** @type {number | null} base chainage; by time that of the first lap drawn */
    this.place = null;
    /** @type {number} seconds since the first lap drawn began, NaN where that is not known */
    this.time = NaN;
    /** Whether it stays where it is while the pointer only passes. */
    this.pinned = false;
    this.playing = false;
    session.on(["state", "laps"], () => (this.time = this.timeAt(this.place)));
  }

  /** @returns {DrawnLap | undefined} the lap that places and times are told of */
  get lead() {
    return this.session.drawn.all[0];
  }

  /** How many seconds can be gone through. */
  get lasts() {
    const laps = this.by === "time" ? this.session.drawn.all : this.session.drawn.all.slice(0, 1);
    return Math.max(0, ...laps.map(({ clock }) => clock.end));
  }

  /** @param {number | null} place  base chainage; null takes the cursor away */
  move(place) {
    if (place === this.place && this.by === "distance") {
      return;
    }
    this.place = place;
    this.time = this.timeAt(place);
    this.session.tell("place");
  }

  /** @param {number | null} place */
  timeAt(place) {
    return place === null ? NaN : (this.lead?.trace.time(this.session.shown(place)) ?? NaN);
  }

  /** @param {number} time  seconds since the laps began */
  moveTo(time) {
    const { lead, session } = this;
    if (!lead || !lead.clock.times.length) {
      return;
    }
    const at = Math.min(Math.max(time, 0), this.lasts);
    const shown = lead.clock.at(Math.min(at, lead.clock.end));
    this.place = session.toBase(shown);
    this.time = at;
    session.tell("place");
  }

  /**
   * Where the pointer passes.
   *
   * @param {number | null} place
   */
  pass(place) {
    if (!this.pinned && !this.playing && place !== null) {
      this.move(place);
    }
  }

  /** @param {boolean} on */
  pin(on) {
    this.pinned = on;
    this.session.tell("place");
  }

  /** @param {number} metres */
  step(metres) {
    const { session, place } = this;
    const shown = place === null ? 0 : session.shown(place) + metres;
    this.move(session.toBase(Math.min(Math.max(shown, 0), session.length - END_M)));
    this.pinned = true;
    session.tell("place");
  }

  /** @param {number} seconds */
  stepTime(seconds) {
    this.pinned = true;
    this.moveTo(this.place === null ? 0 : (this.time || 0) + seconds);
  }

  /** @param {"distance" | "time"} by */
  layOutBy(by) {
    this.by = by;
    const { place } = this;
    if (place !== null) {
      this.place = null;
      this.move(place);
    }
  }

  /** Play the laps in the time that they took, from the beginning again where they are over. */
  play() {
    if (this.playing || !this.lead) {
      return;
    }
    this.playing = true;
    this.pinned = true;
    const from = this.place === null || !(this.time < this.lasts - 0.05) ? 0 : this.time;
    /** @type {number | null} */
    let begun = null;
    const go = (/** @type {number} */ now) => {
      begun ??= now;
      const time = from + (now - begun) / 1000;
      if (!this.playing) {
        return;
      }
      if (time >= this.lasts) {
        this.playing = false;
      }
      this.moveTo(time);
      if (this.playing) {
        requestAnimationFrame(go);
      }
    };
    this.moveTo(from);
    requestAnimationFrame(go);
  }

  pause() {
    this.playing = false;
    this.session.tell("place");
  }

  /**
   * The shown chainage that a lap is read at; NaN before the lap and after it.
   *
   * @param {DrawnLap} lap
   */
  placeOf({ clock }) {
    if (this.place === null) {
      return NaN;
    }
    return this.by === "time" ? clock.at(this.time) : this.session.shown(this.place);
  }
}
