// Lists of corners and straights. Their chainages follow the finish gate.

import { element } from "./elements.js";
import { metres } from "./figures.js";

/** @import { Session } from "./session.js" */

export class CornerTables {
  /** @param {Session} session */
  constructor(session) {
    this.session = session;
    this.corners = document.querySelector("#corners tbody");
    this.straights = document.querySelector("#straights tbody");
    this.datum = NaN;
    session.on(["state"], () => this.draw());
    this.draw();
  }

  draw() {
    const { base, datum } = this.session;
    if (datum === this.datum) {
      return;
    }
    this.datum = datum;
    this.corners?.replaceChildren(
      ...base.corners.map(({ number, name, turn, min_radius_m, apex_m }) =>
        element(
          "tr",
          {},
          element(
            "th",
            { scope: "row" },
            String(number),
            name ? element("bdi", {}, ` ${name}`) : null,
          ),
          element("td", {}, turn),
          element("td", { class: "n" }, metres(min_radius_m, 0)),
          this.place(apex_m),
        ),
      ),
    );
    this.straights?.replaceChildren(
      ...base.straights.map(({ from_m, length_m }) =>
        element("tr", {}, this.place(from_m), element("td", { class: "n" }, metres(length_m, 0))),
      ),
    );
  }

  /** @param {number} base */
  place(base) {
    return element("td", { class: "n" }, metres(this.session.shown(base), 0));
  }
}
