// The bar over the map while the points of a line are drawn or moved: what can be done, where the
// chosen point is, and buttons for it.

import { element, find } from "./elements.js";
import { inField, metresOf, units } from "./units.js";

/**
 * @import { Session } from "./session.js"
 *
 * @typedef {object} Beside  where a point is beside the track
 * @property {number} shown  chainage
 * @property {number} aside  metres to the left of the line
 *
 * @typedef {object} Deeds  what buttons and fields do
 * @property {(() => void) | null} add  a point where the fields say; null where Add is not offered
 * @property {(() => void) | null} after  a point after the chosen one
 * @property {() => void} drop
 * @property {() => void} done
 * @property {() => void} leave
 * @property {() => void} typed
 *
 * @typedef {object} Said
 * @property {string} title
 * @property {string} hint  what can be done
 * @property {string} keys  and with which keys
 * @property {boolean} cancels  whether Cancel is offered: what was done is not an edit yet
 * @property {boolean} snaps  whether snapping is
 * @property {string} kind  class of the bar
 */

export class PointBar {
  /** @param {Session} session */
  constructor(session) {
    this.digits = session.base.decimals.place;
    /** @type {Deeds | null} */
    this.deeds = null;
    this.node = find("#lane-bar", HTMLElement);
    this.title = find("#lane-bar-title", HTMLElement);
    this.keys = find("#lane-keys", HTMLElement);
    this.at = find("#lane-at", HTMLInputElement);
    this.aside = find("#lane-aside", HTMLInputElement);
    this.side = find("#lane-side", HTMLSelectElement);
    this.snap = find("#lane-snap", HTMLInputElement);
    this.add = button("#lane-add", () => this.deeds?.add?.());
    this.after = button("#lane-after", () => this.deeds?.after?.());
    this.drop = button("#lane-drop", () => this.deeds?.drop());
    this.cancel = button("#lane-cancel", () => this.deeds?.leave());
    button("#lane-done", () => this.deeds?.done());
    this.at.step = String(10 ** -this.digits);
    this.aside.step = this.at.step;
    const { length_name: named } = units();
    this.aside.ariaLabel = `${named[0].toUpperCase()}${named.slice(1)} beside the line`;
    for (const field of [this.at, this.aside, this.side]) {
      field.addEventListener("change", () => this.deeds?.typed());
      field.addEventListener("keydown", (event) => {
        if (/** @type {KeyboardEvent} */ (event).key === "Enter") {
          this.deeds?.add?.();
        }
      });
    }
    this.node.addEventListener("keydown", ({ key }) => {
      if (key === "Escape") {
        this.deeds?.leave();
      }
    });
  }

  /**
   * @param {Said} said
   * @param {Deeds} deeds
   */
  open({ title, hint, keys, cancels, snaps, kind }, deeds) {
    this.deeds = deeds;
    this.title.textContent = title;
    this.keys.replaceChildren(`${hint} `, element("span", { class: "by-key" }, keys));
    this.add.hidden = deeds.add === null;
    this.after.hidden = deeds.after === null;
    this.cancel.hidden = !cancels;
    const label = this.snap.closest("label");
    if (label) {
      label.hidden = !snaps;
    }
    this.node.className = kind;
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

  /** @param {HTMLElement} opener  which gets the focus back */
  close(opener) {
    this.deeds = null;
    this.node.hidden = true;
    opener.focus({ preventScroll: true });
  }

  focus() {
    this.node.focus({ preventScroll: true });
  }

  /**
   * Write where the chosen point is, and offer what can be done with it.
   *
   * @param {Beside | null} point
   * @param {boolean} drops  whether it can be taken away
   */
  fill(point, drops) {
    if (point) {
      this.at.value = inField(point.shown, this.digits);
      this.aside.value = inField(Math.abs(point.aside), this.digits);
      this.side.value = point.aside >= 0 ? "left" : "right";
    }
    this.drop.disabled = !point || !drops;
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
export function button(selector, deed) {
  const node = find(selector, HTMLButtonElement);
  node.addEventListener("click", deed);
  return node;
}
