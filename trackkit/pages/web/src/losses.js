// Where the lap lost time to the reference lap: a list by corner and straight, the largest first.

import { strokeOf } from "./drivers.js";
import { element, find } from "./elements.js";
import { decimals, lengthText, millis, signed } from "./figures.js";

/**
 * @import { SectionLoss } from "./comparison.js"
 * @import { KeyedLap, Session } from "./session.js"
 */

/** @type {Record<SectionLoss["section"]["kind"], string>} */
const WAYS = { straight: "straight", "corner entry": "way in", "corner exit": "way out" };

export class LossList {
  /** @param {Session} session */
  constructor(session) {
    this.session = session;
    this.panel = find("#losses", HTMLElement);
    this.body = find("#loss-table tbody", HTMLElement);
    this.foot = find("#loss-table tfoot", HTMLElement);
    this.of = find("#loss-laps", HTMLElement);
    session.on(["state", "laps"], () => this.draw());
    this.draw();
  }

  draw() {
    const { session } = this;
    const [lap, reference] = session.comparedLaps();
    const pair = lap && reference ? session.pair(lap, reference) : null;
    this.panel.hidden = !pair;
    if (!pair || !lap || !reference) {
      return;
    }
    this.of.replaceChildren(this.name(lap), " against ", this.name(reference));
    const losses = pair.losses();
    const most = Math.max(...losses.map(({ time }) => Math.abs(time)), 1e-3);
    this.body.replaceChildren(...losses.map((loss) => this.row(loss, most)));
    const { time, sigma } = pair.whole();
    this.foot.replaceChildren(
      element("tr", {}, element("th", { scope: "row" }, "Whole lap"), ...this.figures(time, sigma)),
    );
  }

  /** @param {KeyedLap} lap */
  name(lap) {
    const { session } = this;
    const words = element("bdi", {}, session.lapName(lap));
    return element("span", { class: "lap-name" }, strokeOf(session.styleOf(lap.key)), words);
  }

  /**
   * @param {SectionLoss} loss
   * @param {number} most
   */
  row({ section, from, to, time, sigma }, most) {
    const name = section.name.slice(0, 1).toUpperCase() + section.name.slice(1);
    const bar = element("span", {
      class: time > 0 ? "bar lost" : "bar won",
      "aria-hidden": "true",
    });
    bar.style.width = `${((100 * Math.abs(time)) / most).toFixed(1)}%`;
    const go = element(
      "button",
      {
        type: "button",
        class: "go",
        title: `Show it, from ${lengthText(from, 0)} to ${lengthText(to, 0)}`,
        onclick: () => this.session.view(from, to),
      },
      element("bdi", {}, name),
      element("span", { class: "soft" }, `, ${WAYS[section.kind]}`),
    );
    const equal = Math.abs(time) <= sigma;
    return element(
      "tr",
      { class: equal ? "equal" : false },
      element("th", { scope: "row" }, go, element("span", { class: "bars" }, bar)),
      ...this.figures(time, sigma),
    );
  }

  /**
   * @param {number} time
   * @param {number} sigma
   */
  figures(time, sigma) {
    const digits = Math.max(2, decimals(sigma, this.session.base.decimals.time));
    return [
      element("td", { class: "n" }, signed(time, digits)),
      element("td", { class: "n soft" }, millis(sigma)),
    ];
  }
}
