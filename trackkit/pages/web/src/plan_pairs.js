// Places on a plan that are paired with places on the ground, with undo and redo. Where the plan
// lies by them is for the server to say.

/**
 * @import { Position } from "./line.js"
 *
 * @typedef {"affine" | "projective"} Fit
 * @typedef {[number, number]} PlanPlace  x and y from the plan's left and top edge
 *
 * @typedef {object} Pair
 * @property {number} x  in the plan's unit
 * @property {number} y
 * @property {Position} at
 * @property {string} [name]
 *
 * @typedef {object} Step  the pairs after a change
 * @property {Pair[]} pairs
 * @property {Fit} fit
 * @property {string} what  was done
 */

export class PlanPairs {
  /**
   * @param {Pair[]} pairs
   * @param {Fit} fit
   */
  constructor(pairs, fit) {
    /** @type {Step[]} as they were at first, and after each change */
    this.steps = [{ pairs, fit, what: "" }];
    this.shown = 0;
    this.forget();
  }

  get pairs() {
    return this.steps[this.shown].pairs;
  }

  get fit() {
    return this.steps[this.shown].fit;
  }

  /** What is picked on one side, and waits for the other. */
  get waits() {
    return this.plan !== null || this.ground !== null;
  }

  forget() {
    /** @type {PlanPlace | null} */
    this.plan = null;
    /** @type {Position | null} */
    this.ground = null;
  }

  /**
   * Pick a place on the plan; it takes the place of one that waits there.
   *
   * @param {PlanPlace} place
   * @returns {boolean} whether that makes a pair
   */
  pickOnPlan(place) {
    this.plan = place;
    return this.join();
  }

  /**
   * Pick a place on the ground; it takes the place of one that waits there.
   *
   * @param {Position} place
   * @returns {boolean} whether that makes a pair
   */
  pickOnGround(place) {
    this.ground = place;
    return this.join();
  }

  join() {
    if (!this.plan || !this.ground) {
      return false;
    }
    this.add({ x: this.plan[0], y: this.plan[1], at: this.ground });
    return true;
  }

  /** @param {Pair} pair */
  add(pair) {
    this.forget();
    this.change([...this.pairs, pair], this.fit, `paired place ${this.pairs.length + 1}`);
  }

  /** @param {number} n */
  drop(n) {
    const kept = this.pairs.filter((_, number) => number !== n);
    this.change(kept, this.fit, `removed pair ${n + 1}`);
  }

  /** @param {Fit} fit */
  choose(fit) {
    if (fit !== this.fit) {
      this.change(this.pairs, fit, `chose the ${fit} fit`);
    }
  }

  /**
   * @param {Pair[]} pairs
   * @param {Fit} fit
   * @param {string} what
   */
  change(pairs, fit, what) {
    this.steps.length = this.shown + 1;
    this.steps.push({ pairs, fit, what });
    this.shown += 1;
  }

  /** What undo takes back, or null. */
  get undoes() {
    return this.shown > 0 ? this.steps[this.shown].what : null;
  }

  /** What redo does again, or null. */
  get redoes() {
    return this.steps[this.shown + 1]?.what ?? null;
  }

  undo() {
    if (this.undoes !== null) {
      this.forget();
      this.shown -= 1;
    }
  }

  redo() {
    if (this.redoes !== null) {
      this.forget();
      this.shown += 1;
    }
  }

  /**
   * What to do next.
   *
   * @param {Record<Fit, number>} fewest  pairs that each fit needs
   */
  hint(fewest) {
    if (this.plan) {
      return "Now the same place on the map.";
    }
    if (this.ground) {
      return "Now the same place on the plan.";
    }
    const missing = fewest[this.fit] - this.pairs.length;
    if (missing <= 0) {
      return "Click another place on the plan, then on the map, or lay the plan.";
    }
    const more = this.pairs.length ? ` ${missing} more ${missing === 1 ? "pair" : "pairs"}` : "";
    const needs = more || ` ${missing} pairs`;
    const verb = missing === 1 ? "lays" : "lay";
    return `Click a place on the plan, then the same place on the map.${needs} ${verb} it.`;
  }
}
