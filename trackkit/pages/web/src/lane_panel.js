// What is said of the pit lane in its panel, and its buttons.

import { find } from "./elements.js";
import { lengthText } from "./figures.js";
import { button } from "./point_bar.js";

/**
 * @typedef {"none" | "draw" | "edit"} Mode
 *
 * @typedef {object} LaneDeeds  what buttons do
 * @property {() => void} begin
 * @property {() => void} edit
 * @property {() => void} remove
 */

export class LanePanel {
  /** @param {LaneDeeds} deeds */
  constructor(deeds) {
    this.facts = find("#lane-facts", HTMLElement);
    this.draw = button("#lane-draw", deeds.begin);
    this.edit = button("#lane-edit", deeds.edit);
    this.remove = button("#lane-remove", deeds.remove);
  }

  /**
   * @param {{ length_m: number, line: unknown[] } | null} lane
   * @param {Mode} mode
   */
  describe(lane, mode) {
    this.facts.textContent = lane
      ? `${lengthText(lane.length_m)} long, ${lane.line.length} points. ` +
        "Pit entry and pit exit gates go to it."
      : "The file has none. Pit entry and pit exit gates go to the pit lane once there is one.";
    this.draw.hidden = lane !== null || mode !== "none";
    this.edit.hidden = lane === null || mode !== "none";
    this.remove.hidden = lane === null || mode !== "none";
  }

  /** @param {boolean} hasLane */
  opener(hasLane) {
    return hasLane ? this.edit : this.draw;
  }
}
