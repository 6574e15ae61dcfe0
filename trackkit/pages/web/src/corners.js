// Lists of corners and straights. Their chainages follow the finish gate.

import { element } from "./elements.js";
import { lengthText } from "./figures.js";

/**
 * @import { Editing } from "./editing.js"
 * @import { NamedCorner, Session } from "./session.js"
 */

export class CornerTables {
  /**
   * @param {Session} session
   * @param {Editing | null} editing  what changes names; null where nothing can be changed
   */
  constructor(session, editing) {
    this.session = session;
    this.editing = editing;
    this.corners = document.querySelector("#corners tbody");
    this.straights = document.querySelector("#straights tbody");
    /** @type {Map<string, HTMLInputElement>} fields of names by the corner's id */
    this.fields = new Map();
    this.listed = "";
    session.on(["state"], () => this.draw());
    this.draw();
  }

  draw() {
    const { base, datum, corners } = this.session;
    const listed = JSON.stringify([datum, corners.map(({ number, name }) => [number, name])]);
    if (listed === this.listed) {
      return;
    }
    this.listed = listed;
    const focused = document.activeElement;
    this.corners?.replaceChildren(...corners.map((corner) => this.row(corner)));
    if (focused instanceof HTMLInputElement && focused.isConnected) {
      focused.focus({ preventScroll: true });
    }
    this.straights?.replaceChildren(
      ...base.straights.map(({ from_m, length_m }) =>
        element(
          "tr",
          {},
          this.place(from_m),
          element("td", { class: "n" }, lengthText(length_m, 0)),
        ),
      ),
    );
  }

  /** @param {NamedCorner} corner */
  row(corner) {
    const { number, turn, min_radius_m, apex_m } = corner;
    return element(
      "tr",
      {},
      element("th", { scope: "row" }, String(number)),
      element("td", {}, this.name(corner)),
      element("td", {}, turn),
      element("td", { class: "n" }, lengthText(min_radius_m, 0)),
      this.place(apex_m),
    );
  }

  /**
   * @param {NamedCorner} corner
   * @returns {HTMLElement}
   */
  name({ id, number, name }) {
    const { editing } = this;
    if (!editing) {
      return element("bdi", {}, name);
    }
    let field = this.fields.get(id);
    if (!field) {
      const made = element("input", {
        class: "name",
        autocomplete: "off",
        maxlength: this.session.base.limits.fact_length,
      });
      made.addEventListener("change", () => editing.setFact(`corner:${id}`, made.value));
      // What was refused does not stay behind as if it were so.
      made.addEventListener("blur", () => void editing.whenDone().then(() => this.write(id)));
      this.fields.set(id, made);
      field = made;
    }
    field.setAttribute("aria-label", `Name of corner ${number}`);
    field.value = name;
    return field;
  }

  /** @param {string} id */
  write(id) {
    const corner = this.session.corners.find((one) => one.id === id);
    const field = this.fields.get(id);
    if (corner && field && !field.matches(":focus")) {
      field.value = corner.name;
    }
  }

  /** @param {number} base */
  place(base) {
    return element("td", { class: "n" }, lengthText(this.session.shown(base), 0));
  }
}
