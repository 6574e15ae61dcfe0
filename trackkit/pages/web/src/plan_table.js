// The list of pairs, with what is left at each.

import { element } from "./elements.js";
import { lengthText } from "./figures.js";

/**
 * @import { Left } from "./plan_editor.js"
 * @import { Pair } from "./plan_pairs.js"
 */

export class PlanTable {
  /**
   * @param {HTMLTableElement} table
   * @param {(n: number) => void} drop
   */
  constructor(table, drop) {
    this.body = table.tBodies[0];
    this.region = /** @type {HTMLElement} */ (table.parentElement);
    this.drop = drop;
  }

  /**
   * @param {Pair[]} pairs
   * @param {Left[]} left  at each, or none where they do not lay the plan
   * @param {string} unit  of places on the plan
   */
  draw(pairs, left, unit) {
    const held = Array.from(this.body.rows).findIndex((row) =>
      row.contains(document.activeElement),
    );
    this.region.hidden = pairs.length === 0;
    this.body.replaceChildren(
      ...pairs.map(({ x, y, at: [lon, lat], name }, n) =>
        element(
          "tr",
          { class: left[n]?.bad ? "bad" : null },
          element("th", { scope: "row" }, name || String(n + 1)),
          element("td", { class: "n wide" }, `${x.toFixed(1)}, ${y.toFixed(1)} ${unit}`),
          element("td", { class: "n wide" }, `${lat.toFixed(6)}, ${lon.toFixed(6)}`),
          element("td", { class: "n" }, left[n] ? lengthText(left[n].away_m, 2) : "\u2013"),
          element("td", {}, left[n]?.bad ?? ""),
          element(
            "td",
            {},
            element(
              "button",
              { type: "button", onclick: () => this.drop(n) },
              "Remove",
              element("span", { class: "unseen" }, ` pair ${n + 1}`),
            ),
          ),
        ),
      ),
    );
    // Focus must not be lost with what was drawn before.
    this.focus(held);
  }

  /**
   * @param {number} n
   * @returns {boolean} whether there is such a row
   */
  focus(n) {
    const node = this.body.rows[n]?.querySelector("button");
    node?.focus();
    return Boolean(node);
  }
}
