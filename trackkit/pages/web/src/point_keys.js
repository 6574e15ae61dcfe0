// Keys of a point of a line that has the focus: arrows move it, Insert adds one, Delete removes it.

import { metresOf, units } from "./units.js";

/** @type {Record<string, [number, number]>} east and north, in the unit that is read */
const STEPS = {
  ArrowRight: [1, 0],
  ArrowLeft: [-1, 0],
  ArrowUp: [0, 1],
  ArrowDown: [0, -1],
};
const NUDGES_APART_MS = 1200;

/** What the bar says of them. */
export function pointKeys() {
  return (
    `With a point in focus: arrow keys move it by 1\u00a0${units().length} (with Shift by 10), ` +
    "Insert adds one after it, Delete removes it."
  );
}

/**
 * @typedef {object} PointHand  what moves points
 * @property {(n: number, east: number, north: number, merge: string) => void} step  by metres;
 *   steps of one key are undone together
 * @property {(n: number) => void} drop
 * @property {(n: number) => void} addAfter
 * @property {() => void} leave
 */

export class PointKeys {
  /** @param {PointHand} hand */
  constructor(hand) {
    this.hand = hand;
    this.nudged = { n: -1, at: 0, merge: "" };
  }

  /**
   * @param {number} n
   * @param {KeyboardEvent} event
   * @returns {boolean}  whether the key was one for the point
   */
  pressed(n, event) {
    const step = STEPS[event.key];
    if (event.ctrlKey || event.metaKey || event.altKey) {
      return false;
    }
    if (step) {
      const by = metresOf(event.shiftKey ? 10 : 1);
      this.hand.step(n, by * step[0], by * step[1], this.merge(n));
    } else if (event.key === "Delete" || event.key === "Backspace") {
      this.hand.drop(n);
    } else if (event.key === "Insert" || event.key === "+") {
      this.hand.addAfter(n);
    } else if (event.key === "Escape") {
      this.hand.leave();
    } else {
      return false;
    }
    return true;
  }

  /**
   * Steps that follow one another quickly are undone together.
   *
   * @param {number} n
   */
  merge(n) {
    const now = performance.now();
    const again = this.nudged.n === n && now - this.nudged.at <= NUDGES_APART_MS;
    const merge = again ? this.nudged.merge : `point-${n}-${Math.round(now)}`;
    this.nudged = { n, at: now, merge };
    return merge;
  }
}
