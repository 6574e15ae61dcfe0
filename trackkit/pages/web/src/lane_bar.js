// What is said of the pit lane in its panel, and the bar over the map while it is drawn or edited.

import { element, find } from "./elements.js";
import { lengthText } from "./figures.js";
import { inField, metresOf, units } from "./units.js";

/**
 * @import { Session } from "./session.js"
 *
 * @typedef {"none" | "draw" | "edit"} Mode
 *
 * @typedef {object} Beside  where a point is beside the track
 * @property {number} shown  chainage
 * @property {number} aside  metres to the left of the line
 *
 * @typedef {object} Deeds  what buttons and fields do
 * @property {() => void} begin
 * @property {() => void} edit
 * @property {() => void} remove
 * @property {() => void} add
 * @property {() => void} after
 * @property {() => void} drop
 * @property {() => void} done
 * @property {() => void} leave
 * @property {() => void} typed
 */

export class LaneBar {
  /**
   * @param {Session} session
   * @param {Deeds} deeds
   */
  constructor(session, deeds) {
    this.digits = session.base.decimals.place;
    /** @type {Mode} */
    this.mode = "none";
    this.node = find("#lane-bar", HTMLElement);
    this.facts = find("#lane-facts", HTMLElement);
    this.title = find("#lane-bar-title", HTMLElement);
    this.keys = find("#lane-keys", HTMLElement);
    this.at = find("#lane-at", HTMLInputElement);
    this.aside = find("#lane-aside", HTMLInputElement);
    this.side = find("#lane-side", HTMLSelectElement);
    this.draw = button("#lane-draw", deeds.begin);
    this.edit = button("#lane-edit", deeds.edit);
    this.remove = button("#lane-remove", deeds.remove);
    this.add = button("#lane-add", deeds.add);
    this.after = button("#lane-after", deeds.after);
    this.drop = button("#lane-drop", deeds.drop);
    this.cancel = button("#lane-cancel", deeds.leave);
    button("#lane-done", deeds.done);
    this.at.step = String(10 ** -this.digits);
    this.aside.step = this.at.step;
    const { length_name: named } = units();
    this.aside.ariaLabel = `${named[0].toUpperCase()}${named.slice(1)} beside the line`;
    for (const field of [this.at, this.aside, this.side]) {
      field.addEventListener("change", deeds.typed);
      field.addEventListener("keydown", (event) => {
        if (/** @type {KeyboardEvent} */ (event).key === "Enter" && this.mode === "draw") {
          deeds.add();
        }
      });
    }
    this.node.addEventListener("keydown", ({ key }) => {
      if (key === "Escape") {
        deeds.leave();
      }
    });
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

  /**
   * @param {"draw" | "edit"} mode
   * @param {string} hint  what can be done
   * @param {string} keys  and with which keys
   */
  open(mode, hint, keys) {
    this.mode = mode;
    this.title.textContent = mode === "draw" ? "Drawing the pit lane" : "Editing the pit lane";
    this.keys.replaceChildren(`${hint} `, element("span", { class: "by-key" }, keys));
    this.add.hidden = mode !== "draw";
    this.cancel.hidden = mode !== "draw";
    this.after.hidden = mode !== "edit";
    this.node.hidden = false;
  }

  /**
   * On a narrow page the buttons that open the bar are far below the map, and the bar with it.
   *
   * @param {HTMLElement} map  which the bar is over or below
   */
  bringUp(map) {
    const { bottom } = this.node.getBoundingClientRect();
    if (map.getBoundingClientRect().top < 0 || bottom > innerHeight) {
      this.node.scrollIntoView({ block: "end" });
    }
  }

  /** @param {boolean} hasLane */
  close(hasLane) {
    this.mode = "none";
    this.node.hidden = true;
    (hasLane ? this.edit : this.draw).focus({ preventScroll: true });
  }

  focus() {
    this.node.focus({ preventScroll: true });
  }

  get height() {
    return this.node.offsetHeight;
  }

  /**
   * Write where the chosen point is, and offer what can be done with it.
   *
   * @param {Beside | null} point
   * @param {number} count  of points
   * @param {Mode} mode
   */
  fill(point, count, mode) {
    if (point) {
      this.at.value = inField(point.shown, this.digits);
      this.aside.value = inField(Math.abs(point.aside), this.digits);
      this.side.value = point.aside >= 0 ? "left" : "right";
    }
    this.drop.disabled = !point || count < (mode === "draw" ? 1 : 3);
    this.after.disabled = !point;
  }

  /**
   * What the fields say, or null where one of them says nothing; that one gets the focus.
   *
   * @returns {Beside | null}
   */
  typed() {
    const [shown, aside] = [this.at.valueAsNumber, this.aside.valueAsNumber];
    if (!Number.isFinite(shown) || !Number.isFinite(aside)) {
      (Number.isFinite(shown) ? this.aside : this.at).focus();
      return null;
    }
    const [at, away] = [metresOf(shown), metresOf(aside)];
    return { shown: at, aside: this.side.value === "left" ? away : -away };
  }

  /** Be ready for the next point. */
  next() {
    this.at.focus();
    this.at.select();
  }
}

/**
 * @param {string} selector
 * @param {() => void} deed
 */
function button(selector, deed) {
  const node = find(selector, HTMLButtonElement);
  node.addEventListener("click", deed);
  return node;
}
