// One's own sector gates on the plain page: laid, moved and taken away by hand, without a server.
// The track's own come back at a word, and a gate set keeps those laid here.

import { find } from "./elements.js";
import { focusGate } from "./gate_marks.js";
import { dayAt, lapAt } from "./own_times.js";

/**
 * @import { Session } from "./session.js"
 * @import { Gate, Sector, StateDocument } from "./state_document.js"
 */

const FORMAT = "trackkit-gates";
const VERSION = "1.0";
/** Of positions, about a millimetre. */
const DEGREE_DECIMALS = 8;
/** Nearer to the gates that laps begin and end at than this, metres, no gate is laid. */
const LEAST_APART_M = 1;

export class OwnGates {
  /** @param {Session} session */
  constructor(session) {
    this.session = session;
    /** The track's own gates and the times at them. */
    this.official = session.state;
    /** @type {Set<string>} gates whose names were typed */
    this.named = new Set();
    this.count = 0;
    this.add = find("#own-add", HTMLButtonElement);
    this.back = find("#own-back", HTMLButtonElement);
    this.keep = find("#own-save", HTMLButtonElement);
    this.status = find("#status", HTMLElement);
    this.add.addEventListener("click", () => this.place());
    this.back.addEventListener("click", () => this.takeBack());
    this.keep.addEventListener("click", () => this.save());
    session.on(["state"], () => this.draw());
    this.draw();
  }

  draw() {
    const own = this.session.state !== this.official;
    this.back.hidden = !own;
    this.keep.hidden = !own;
  }

  /**
   * Whether a gate can be moved here.
   *
   * @param {string} id
   */
  holds(id) {
    return this.session.gate(id)?.kind === "sector";
  }

  whenDone() {
    return Promise.resolve();
  }

  /**
   * Hold a gate at a place.
   *
   * @param {string} id
   * @param {number} base  chainage
   * @param {number} width  metres
   * @param {string} _merge
   * @param {boolean} last  whether it is let go there
   */
  slideTo(id, base, width, _merge, last) {
    const { session } = this;
    const at = this.within(session.toBase(session.rounded(base)));
    session.slide({ gate: id, base: at, width });
    this.lay(this.moved(id, at, width));
    if (last) {
      session.slide(null);
      this.lay(session.state.gates);
    }
    return Promise.resolve();
  }

  /**
   * @param {string} id
   * @param {number} base  chainage
   * @param {number} width  metres
   * @param {string} merge
   * @param {boolean} last
   */
  stretchTo(id, base, width, merge, last) {
    return this.slideTo(id, base, this.session.roundedWidth(width), merge, last);
  }

  /**
   * @param {string} id
   * @param {number} by  metres
   */
  nudge(id, by) {
    const gate = this.session.gate(id);
    if (gate) {
      const { base, width } = this.session.gatePlace(gate);
      void this.slideTo(id, this.session.line.wrap(base + by), width, "", true);
      this.say(`${this.session.gate(id)?.name} moved.`);
    }
  }

  /**
   * @param {string} id
   * @param {number} shown  chainage as it was typed
   */
  moveTo(id, shown) {
    const gate = this.session.gate(id);
    if (gate && Number.isFinite(shown)) {
      void this.slideTo(id, this.session.toBase(shown), gate.width_m, "", true);
    }
  }

  /**
   * @param {string} id
   * @param {number} width  metres, as it was typed
   */
  widthTo(id, width) {
    const gate = this.session.gate(id);
    if (gate && Number.isFinite(width)) {
      void this.stretchTo(id, this.session.gatePlace(gate).base, width, "", true);
    }
  }

  /**
   * @param {string} id
   * @param {string} name
   */
  rename(id, name) {
    if (name.trim()) {
      this.named.add(id);
      const called = name.trim();
      this.lay(
        this.session.state.gates.map((gate) => (gate.id === id ? { ...gate, name: called } : gate)),
      );
    }
  }

  /** @param {string} id */
  remove(id) {
    const { name } = /** @type {Gate} */ (this.session.gate(id));
    this.lay(this.session.state.gates.filter((gate) => gate.id !== id));
    this.say(`${name} removed.`);
    this.add.focus();
    return Promise.resolve();
  }

  /** Lay a gate at the cursor, or in the middle of the longest sector. */
  place() {
    const { session } = this;
    const { sectors, gates } = session.state;
    const longest = sectors.slice().sort((a, b) => b.length_m - a.length_m)[0];
    const from = session.gate(longest.from);
    const middle = session.toBase(Number(from?.chainage_m) + longest.length_m / 2);
    const base = this.within(session.place ?? middle);
    this.count += 1;
    const id = `own-${this.count}`;
    const like = gates.find(({ kind }) => kind === "sector") ?? gates[0];
    const gate = { ...like, id, kind: "sector", name: "", findings: [], surveyed: false };
    this.lay([...gates, this.laid(gate, base, like.width_m)]);
    focusGate(id);
    this.say(`${session.gate(id)?.name} placed.`);
  }

  takeBack() {
    this.named.clear();
    this.session.day = this.session.base.day;
    this.session.setState({ ...this.official, edit: this.session.state.edit + 1 });
    this.official = this.session.state;
    this.draw();
    this.say("The gates are those of the track again.");
    this.add.focus();
  }

  /**
   * A place where a sector can end.
   *
   * @param {number} base  chainage
   */
  within(base) {
    const { session } = this;
    const [first, last] = this.ends();
    const shown = session.shown(base);
    return session.toBase(Math.min(Math.max(shown, first + LEAST_APART_M), last - LEAST_APART_M));
  }

  /** Shown chainages that laps begin and end at. */
  ends() {
    const { state, line, length } = this.session;
    const at = (/** @type {string} */ kind) => state.gates.find((gate) => gate.kind === kind);
    return line.closed
      ? [0, length]
      : [at("start")?.chainage_m ?? 0, at("finish")?.chainage_m ?? length];
  }

  /**
   * @param {Gate} gate
   * @param {number} base  chainage
   * @param {number} width  metres
   * @returns {Gate}
   */
  laid(gate, base, width) {
    const { session } = this;
    const [left, right] = session.line.squareEnds(base, width);
    const sigma = session.qualityAt(base);
    return {
      ...gate,
      chainage_m: session.shown(base),
      width_m: width,
      left,
      right,
      surveyed: false,
      findings: [],
      sigma_s: Number.isFinite(sigma) ? sigma : null,
    };
  }

  /**
   * @param {string} id
   * @param {number} base
   * @param {number} width
   */
  moved(id, base, width) {
    return this.session.state.gates.map((gate) =>
      gate.id === id ? this.laid(gate, base, width) : gate,
    );
  }

  /**
   * Show gates with the sectors and laps that they make.
   *
   * @param {Gate[]} gates
   */
  lay(gates) {
    const { session } = this;
    const ordered = this.ordered(gates);
    const lines = ordered
      .filter(({ kind }) => kind === "sector")
      .map((gate) => ({
        at: session.toBase(gate.chainage_m),
        ends: [session.near(gate.left), session.near(gate.right)],
      }));
    const sectorGates = new Set(
      this.official.gates.filter(({ kind }) => kind === "sector").map(({ id }) => id),
    );
    const laps = this.official.laps.map((lap) =>
      lapAt(
        session,
        lap,
        lines,
        lap.missed.every((id) => sectorGates.has(id)),
      ),
    );
    session.day = dayAt(session, laps, lines);
    /** @type {StateDocument} */
    const state = {
      ...session.state,
      edit: session.state.edit + 1,
      gates: ordered,
      sectors: this.sectorsOf(ordered),
      laps,
      best: [],
    };
    session.setState(state);
  }

  /**
   * In racing order, those without a name of their own called by it.
   *
   * @param {Gate[]} gates
   * @returns {Gate[]}
   */
  ordered(gates) {
    const sorted = gates.slice().sort((a, b) => a.chainage_m - b.chainage_m);
    let number = 0;
    return sorted.map((gate, order) => {
      number += gate.kind === "sector" ? 1 : 0;
      const own = gate.kind !== "sector" || this.named.has(gate.id);
      return { ...gate, order, name: own ? gate.name : `Sector ${number} end` };
    });
  }

  /**
   * @param {Gate[]} gates  in racing order
   * @returns {Sector[]}
   */
  sectorsOf(gates) {
    const { session } = this;
    const { closed } = session.line;
    const timed = gates.filter(({ kind }) => kind === "sector");
    const finish = /** @type {Gate} */ (gates.find(({ kind }) => kind === "finish"));
    const start = closed ? finish : (gates.find(({ kind }) => kind === "start") ?? finish);
    const [first, last] = this.ends();
    const ids = [start.id, ...timed.map(({ id }) => id), finish.id];
    const places = [first, ...timed.map((gate) => gate.chainage_m), last];
    return ids.slice(1).map((to, n) => ({
      number: n + 1,
      from: ids[n],
      to,
      length_m: places[n + 1] - places[n],
    }));
  }

  /** The gate set as a file. */
  document() {
    const { session } = this;
    const round = (/** @type {number} */ degrees) => Number(degrees.toFixed(DEGREE_DECIMALS));
    const features = session.state.gates
      .filter(({ kind }) => kind === "sector")
      .map((gate) => ({
        type: "Feature",
        id: gate.id,
        geometry: {
          type: "LineString",
          coordinates: [gate.left, gate.right].map((end) => end.map(round)),
        },
        properties: {
          role: "gate",
          kind: gate.kind,
          ...(this.named.has(gate.id) ? { name: gate.name } : {}),
          chainage_m: Number(gate.chainage_m.toFixed(2)),
          width_m: Number(gate.width_m.toFixed(2)),
        },
      }));
    const { id, licence, credits } = session.base.track;
    const gates = { format: FORMAT, version: VERSION, track: id, licence, credits };
    return { type: "FeatureCollection", gates, features };
  }

  save() {
    const text = `${JSON.stringify(this.document(), null, 1)}\n`;
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type: "application/geo+json" }));
    link.download = `${this.session.base.track.id}-gates.geojson`;
    link.click();
    URL.revokeObjectURL(link.href);
    this.say(`Saved as ${link.download}.`);
  }

  /** @param {string} text */
  say(text) {
    this.status.textContent = text;
  }
}
