// The session first: each driver's three best laps, median, theoretical and continuous best, and
// how many laps count.

import { strokeOf } from "./drivers.js";
import { element, find } from "./elements.js";
import { decimals, duration, millis } from "./figures.js";
import { lapNumber } from "./lap_choice.js";

/**
 * @import { Summary } from "./base_document.js"
 * @import { KeyedLap, Session } from "./session.js"
 */

export class SummaryPanel {
  /** @param {Session} session */
  constructor(session) {
    this.session = session;
    const panel = document.querySelector("#summary");
    if (panel instanceof HTMLElement && session.day) {
      panel.hidden = false;
      session.on(["state"], () => this.draw());
      this.draw();
    }
  }

  draw() {
    const { session } = this;
    const laps = new Map(session.laps().map((lap) => [lap.key, lap]));
    find("#summaries", HTMLElement).replaceChildren(
      ...(session.day?.summaries ?? []).map((summary) => this.row(summary, laps)),
    );
  }

  /**
   * @param {Summary} summary
   * @param {Map<string, KeyedLap>} laps
   */
  row(summary, laps) {
    const driver = this.session.drivers.find(({ name }) => name === summary.driver);
    const several = this.session.drivers.length > 1;
    const name = summary.driver ?? "All drivers";
    const stroke = driver && several ? strokeOf({ ...driver, width: 2 }) : null;
    const heading = several ? element("h3", {}, stroke, element("bdi", {}, name)) : null;
    const { laps: timed, laps_counted: counted } = summary;
    return element(
      "div",
      { class: "driver-summary" },
      heading,
      element(
        "dl",
        {},
        ...pairOf("Best laps", this.bests(summary, laps)),
        ...pairOf("Median lap", duration(summary.median_s, 3)),
        ...this.best(
          "Theoretical best",
          summary.theoretical_best_s,
          summary.theoretical_best_sigma_s,
        ),
        ...this.best("Continuous best", summary.continuous_best_s, summary.continuous_best_sigma_s),
        ...pairOf("Laps that count", `${counted} of ${timed} with a time`),
      ),
    );
  }

  /**
   * The best laps, each a button that compares it; an equals sign where two cannot be told apart.
   *
   * @param {Summary} summary
   * @param {Map<string, KeyedLap>} laps
   */
  bests(summary, laps) {
    if (!summary.best_laps.length) {
      return "none";
    }
    const { session } = this;
    return summary.best_laps.flatMap(({ recording, session: part, number, equal_to_next }, n) => {
      const lap = laps.get(`${recording}:${part}:${number}`);
      if (!lap) {
        return [];
      }
      const digits = decimals(lap.sigma_s, session.base.decimals.time);
      const last = n === summary.best_laps.length - 1;
      const next = equal_to_next
        ? element("span", { title: "closer than one sigma of their difference" }, " = ")
        : ", ";
      const words =
        summary.driver === null ? session.lapName(lap) : `lap ${lapNumber(session, lap)}`;
      return [
        element(
          "button",
          { type: "button", class: "plain", onclick: () => session.showLap(lap.key, true) },
          element("span", { class: "n" }, duration(lap.time_s, digits)),
          element("span", { class: "soft" }, ` (${words})`),
        ),
        last ? "" : next,
      ];
    });
  }

  /**
   * @param {string} term
   * @param {number | null} seconds
   * @param {number | null} sigma
   */
  best(term, seconds, sigma) {
    if (seconds === null) {
      return [];
    }
    const text = duration(seconds, decimals(sigma, this.session.base.decimals.time));
    const soft = element("span", { class: "soft" }, ` ${millis(sigma)}`);
    return pairOf(term, [text, sigma === null ? "" : soft]);
  }
}

/**
 * @param {string} term
 * @param {string | (Node | string)[]} said
 */
function pairOf(term, said) {
  return [element("dt", {}, term), element("dd", {}, ...(Array.isArray(said) ? said : [said]))];
}
