// Everything that a page about one track holds; views listen to what changes.

import { Channels } from "./channels.js";
import { Comparison } from "./comparison.js";
import { Cursor } from "./cursor.js";
import { DrawnLaps } from "./drawn_laps.js";
import { driversOf } from "./drivers.js";
import { chooseLaps, lapName, styleOf } from "./lap_choice.js";
import { keyOf } from "./lap_keys.js";
import { Line } from "./line.js";
import { Quality } from "./quality.js";
import { Traces } from "./traces.js";
import { units } from "./units.js";

/**
 * @import { BaseDocument, Corner, GateKind } from "./base_document.js"
 * @import { Finding, Gate, Lap, StateDocument } from "./state_document.js"
 * @import { Position } from "./line.js"
 *
 * @typedef {Lap & { key: string }} KeyedLap  a lap with a key that stays its own while gates move
 *
 * @typedef {Corner & { id: string }} NamedCorner  where it is on the base line, called as it is now
 *
 * @typedef {object} Sliding  where a gate is while it is dragged
 * @property {string} gate  its id
 * @property {number} base  chainage
 * @property {number} width  metres
 *
 * @typedef {object} GatePlace
 * @property {number} base  chainage
 * @property {number} width  metres
 * @property {[Position, Position]} ends  left first
 *
 * @typedef {"state" | "selected" | "place" | "laps" | "sliding" | "finding" | "disk" | "conflict"
 *   | "draft" | "view" | "anew"} Topic
 */

/**
 * Chainages come in two kinds. "Base" chainages count along the line as the page was given it;
 * "shown" ones count from where the finish gate is now. Only `shown` and `toBase` convert.
 */
export class Session {
  /**
   * @param {BaseDocument} base
   * @param {StateDocument} state
   */
  constructor(base, state) {
    this.base = base;
    this.state = state;
    this.line = new Line(base.line, base.track.closed);
    this.baseQuality = base.quality && new Quality(base.quality, this.line);
    this.quality = this.baseQuality;
    this.traces = new Traces(base, this.line);
    this.channels = new Channels(base.recordings);
    this.comparison = base.comparison && new Comparison(base.comparison);
    this.drivers = driversOf(base.recordings);
    /** What is said first of the laps; own gates change it. */
    this.day = base.day;
    /** @type {string | null} id of a gate */
    this.selected = null;
    /** @type {string[]} keys of laps drawn against chainage */
    this.chosen = [];
    /** @type {[string, string] | null} keys of a lap and of the reference lap */
    this.compared = null;
    /** @type {[number, number] | null} base chainages that views turn to */
    this.viewed = null;
    /** @type {Sliding | null} */
    this.sliding = null;
    /** @type {number | null} number of the finding to be read */
    this.finding = null;
    /** @type {Map<Topic, (() => void)[]>} */
    this.listeners = new Map();
    this.drawn = new DrawnLaps(this);
    this.cursor = new Cursor(this);
    this.takeQuality();
    chooseLaps(this);
  }

  /** @returns {number | null} base chainage that is pointed at, in either view */
  get place() {
    return this.cursor.place;
  }

  /** What places are worth is the base document's until the pit lane is another one. */
  takeQuality() {
    const { quality } = this.state;
    this.quality = quality ? new Quality(quality, this.line) : this.baseQuality;
  }

  /**
   * @param {Topic[]} topics
   * @param {() => void} listener
   */
  on(topics, listener) {
    for (const topic of topics) {
      this.listeners.set(topic, [...(this.listeners.get(topic) ?? []), listener]);
    }
  }

  /** @param {Topic} topic */
  tell(topic) {
    this.listeners.get(topic)?.forEach((listener) => listener());
  }

  /**
   * The corners in racing order from the finish gate as it is now, with their names.
   *
   * @returns {NamedCorner[]}
   */
  get corners() {
    // Corners of a track that was never in a file may be without ids, and those stay as they are.
    const named = this.state.corners.filter(({ id }) => id);
    const called = new Map(named.map((corner) => [corner.id, corner]));
    return this.base.corners
      .map((corner) => ({ ...corner, ...called.get(corner.id) }))
      .sort((a, b) => a.number - b.number);
  }

  /** @param {StateDocument} state */
  setState(state) {
    this.state = state;
    this.takeQuality();
    if (this.selected && !this.gate(this.selected)) {
      this.selected = null;
    }
    chooseLaps(this);
    this.tell("state");
  }

  /** @param {string | null} id */
  select(id) {
    if (this.selected !== id) {
      this.selected = id;
      this.tell("selected");
    }
  }

  /** @param {number | null} place  base chainage */
  point(place) {
    this.cursor.move(place);
  }

  /**
   * Turn chart and map to a piece of the lap.
   *
   * @param {number} from  base chainage
   * @param {number} to
   */
  view(from, to) {
    this.viewed = [from, to];
    this.tell("view");
    this.cursor.pinned = true;
    this.point(from);
  }

  /** @param {Sliding | null} sliding */
  slide(sliding) {
    this.sliding = sliding;
    this.tell("sliding");
  }

  /** @param {number} finding  its number */
  read(finding) {
    this.finding = finding;
    this.tell("finding");
  }

  /** Where shown chainages begin, metres along the line. */
  get datum() {
    return this.line.closed ? this.state.datum_m : 0;
  }

  get length() {
    return this.line.length;
  }

  /** @param {number} base */
  shown(base) {
    return this.line.wrap(base - this.datum);
  }

  /** @param {number} shown */
  toBase(shown) {
    return this.line.wrap(shown + this.datum);
  }

  /** How many steps, of the last decimal of the unit that is read, a metre has. */
  get stepsPerMetre() {
    return units().length_per_m * 10 ** this.base.decimals.place;
  }

  /**
   * A place as it is sent: a shown chainage with the decimals that are shown, and never beyond the
   * end of the line.
   *
   * @param {number} base
   */
  rounded(base) {
    const steps = this.stepsPerMetre;
    const place = Math.round(this.shown(base) * steps) / steps;
    if (place <= this.length) {
      return place;
    }
    return this.line.closed ? 0 : Math.floor(this.length * steps) / steps;
  }

  /**
   * A width as it is sent: with the decimals that are shown, and one that a gate may have.
   *
   * @param {number} width  metres
   */
  roundedWidth(width) {
    const steps = this.stepsPerMetre;
    const [least, most] = this.base.limits.gate_width_m;
    return Math.max(least, Math.min(most, Math.round(width * steps) / steps));
  }

  /**
   * Whether two chainages or widths read differently.
   *
   * @param {number} a
   * @param {number} b
   */
  differ(a, b) {
    return Math.abs(a - b) > 0.49 / this.stepsPerMetre;
  }

  /**
   * @param {string | null} id
   * @returns {Gate | null}
   */
  gate(id) {
    return this.state.gates.find((gate) => gate.id === id) ?? null;
  }

  /**
   * @param {string} kind
   * @returns {GateKind}
   */
  kind(kind) {
    const unknown = { kind, name: kind, offered: false, single: false, required: false };
    return this.base.gate_kinds.find((offered) => offered.kind === kind) ?? unknown;
  }

  /**
   * Where a gate is now: under the pointer while it is dragged, else where the track has it.
   *
   * @param {Gate} gate
   * @returns {GatePlace}
   */
  gatePlace(gate) {
    if (this.sliding?.gate === gate.id) {
      const { base, width } = this.sliding;
      return { base, width, ends: this.line.squareEnds(base, width) };
    }
    return {
      base: this.toBase(gate.chainage_m),
      width: gate.width_m,
      ends: [this.near(gate.left), this.near(gate.right)],
    };
  }

  /**
   * @param {Position} position
   * @returns {Position}
   */
  near([lon, lat]) {
    return [this.line.nearLongitude(lon), lat];
  }

  /**
   * Where a finding belongs: its own position, its chainage, or the gate it is about.
   *
   * @param {Finding} finding
   * @returns {Position | null}
   */
  findingPlace(finding) {
    if (finding.position) {
      return this.near(finding.position);
    }
    const gate = this.gate(finding.feature);
    if (finding.chainage_m === null && !gate) {
      return null;
    }
    const at =
      finding.chainage_m === null
        ? this.gatePlace(/** @type {Gate} */ (gate)).base
        : this.toBase(finding.chainage_m);
    const { lon, lat } = this.line.at(at);
    return [lon, lat];
  }

  /**
   * Findings about a gate, as far as they were checked.
   *
   * @param {Gate} gate
   */
  findingsOf(gate) {
    return gate.findings.flatMap((n) => this.state.findings?.[n] ?? []);
  }

  /**
   * The worst severity of what is said of a gate and was not accepted.
   *
   * @param {Gate} gate
   */
  worstFinding(gate) {
    const open = this.findingsOf(gate).filter((finding) => !finding.accepted);
    return (
      ["error", "warning", "note"].find((severity) =>
        open.some((finding) => finding.severity === severity),
      ) ?? null
    );
  }

  /**
   * One sigma of a crossing, seconds; NaN where it is not known.
   *
   * @param {number} base
   */
  qualityAt(base) {
    return this.quality ? this.quality.at(base) : NaN;
  }

  /** @returns {KeyedLap[]} */
  laps() {
    return this.state.laps.map((lap) => ({ key: keyOf(lap), ...lap }));
  }

  timedLaps() {
    return this.laps().filter((lap) => lap.time_s !== null);
  }

  /**
   * The lap that is compared, and the reference lap.
   *
   * @returns {(KeyedLap | undefined)[]}
   */
  comparedLaps() {
    const laps = this.timedLaps();
    return (this.compared ?? []).map((key) => laps.find((lap) => lap.key === key));
  }

  /** The key of the lap that others are compared with. */
  get reference() {
    return this.compared?.[1] ?? null;
  }

  /**
   * @param {Lap} lap
   * @param {Lap} other
   */
  pair(lap, other) {
    return this.comparison?.pair(lap, other) ?? null;
  }

  /** @param {number} recording */
  driverOf(recording) {
    const driver = this.drivers.find(({ recordings }) => recordings.includes(recording));
    return /** @type {import("./drivers.js").Driver} */ (driver);
  }

  /** @param {string} key  of a lap */
  styleOf(key) {
    return styleOf(this, key);
  }

  /** @param {Lap} lap */
  lapName(lap) {
    return lapName(this, lap);
  }

  /** @param {Lap} lap */
  traceOf(lap) {
    return this.traces.of(lap, this.datum);
  }

  /**
   * @param {string} key
   * @param {boolean} on
   */
  showLap(key, on) {
    this.chosen = this.chosen.filter((other) => other !== key).concat(on ? [key] : []);
    this.tell("laps");
  }

  /**
   * @param {string} first
   * @param {string} second
   */
  compare(first, second) {
    this.compared = [first, second];
    this.chosen = [...new Set([...this.chosen, first, second])];
    this.tell("laps");
  }
}
