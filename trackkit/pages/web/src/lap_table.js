// Laps and their sectors, with the best of each, and which of them are drawn and compared.

import { strokeOf } from "./drivers.js";
import { element, find } from "./elements.js";
import { decimals, duration, millis } from "./figures.js";
import { lapNumber } from "./lap_choice.js";

/**
 * @import { KeyedLap, Session } from "./session.js"
 */

export class LapTable {
  /**
   * @param {Session} session
   * @param {HTMLTableElement} table
   */
  constructor(session, table) {
    this.session = session;
    this.head = find("thead", HTMLElement, table);
    this.body = find("tbody", HTMLElement, table);
    this.foot = find("tfoot", HTMLElement, table);
    this.panel = table.closest("section");
    session.on(["state", "laps"], () => this.draw());
    this.draw();
  }

  draw() {
    const laps = this.session.laps();
    const complete = laps.filter(counts);
    const focused = document.activeElement?.getAttribute("data-lap");
    this.head.replaceChildren(this.titles());
    this.body.replaceChildren(...this.lapRows(laps, complete));
    this.foot.replaceChildren(...this.sigmaRow(complete), ...this.bestRows());
    if (focused) {
      const again = this.body.querySelector(`[data-lap="${focused}"]`);
      if (again instanceof HTMLElement) {
        again.focus({ preventScroll: true });
      }
    }
    if (this.panel) {
      this.panel.hidden = !laps.length;
    }
  }

  titles() {
    return element(
      "tr",
      {},
      element("th", { scope: "col" }, "Lap"),
      element("th", { scope: "col", class: "n" }, "Time"),
      ...this.session.state.sectors.map(({ number }) =>
        element(
          "th",
          { scope: "col", class: "n" },
          "S",
          element("span", { class: "long" }, "ector\u00a0"),
          String(number),
        ),
      ),
    );
  }

  /**
   * @param {KeyedLap[]} laps
   * @param {KeyedLap[]} complete
   */
  lapRows(laps, complete) {
    const { sectors } = this.session.state;
    const { recordings } = this.session.base;
    const best = least(complete.map((lap) => lap.time_s));
    const bests = sectors.map((_, n) => least(complete.map((lap) => lap.sectors[n]?.time_s)));
    return laps.flatMap((lap, row) => {
      const counted = counts(lap);
      const cells = sectors.map((_, n) => {
        const { time_s: time, sigma_s: sigma } = lap.sectors[n] ?? { time_s: null, sigma_s: null };
        return this.time(time, sigma, counted && time === bests[n]);
      });
      const whole = this.time(lap.time_s, lap.sigma_s, counted && lap.time_s === best);
      const item = element("tr", {}, this.name(lap), whole, ...cells);
      if (recordings.length < 2 || lap.recording === laps[row - 1]?.recording) {
        return [item];
      }
      const { file } = recordings[lap.recording];
      const wide = { colspan: 2 + sectors.length, scope: "rowgroup" };
      return [element("tr", { class: "of" }, element("th", wide, element("bdi", {}, file))), item];
    });
  }

  /** @param {KeyedLap} lap */
  name(lap) {
    const { session } = this;
    const box = element("input", {
      type: "checkbox",
      "data-lap": lap.key,
      "aria-label": `Draw ${session.lapName(lap)}`,
      disabled: lap.time_s === null,
      onchange: () => session.showLap(lap.key, box.checked),
    });
    box.checked = session.chosen.includes(lap.key);
    const kind = lap.kind === "flying" ? (lap.complete ? "" : "part") : lap.kind;
    const soft = kind ? element("span", { class: "soft" }, ` ${kind}`) : null;
    const stroke = box.checked ? strokeOf(session.styleOf(lap.key)) : null;
    const label = element("label", {}, box, stroke, ` Lap ${lapNumber(session, lap)}`, soft);
    return element("th", { scope: "row" }, label);
  }

  /**
   * @param {number | null} seconds
   * @param {number | null} sigma
   * @param {boolean} best
   */
  time(seconds, sigma, best) {
    const digits = decimals(sigma, this.session.base.decimals.time);
    return element(
      "td",
      { class: best ? "n best" : "n" },
      duration(seconds, digits),
      best ? element("span", { class: "unseen" }, " best") : null,
    );
  }

  /** @param {KeyedLap[]} complete */
  sigmaRow(complete) {
    if (!complete.length) {
      return [];
    }
    const { sectors } = this.session.state;
    const sigmas = [
      median(complete.map((lap) => lap.sigma_s)),
      ...sectors.map((_, n) => median(complete.map((lap) => lap.sectors[n]?.sigma_s))),
    ];
    return [
      element(
        "tr",
        {},
        element("th", { scope: "row" }, "one sigma"),
        ...sigmas.map((sigma) => element("td", { class: "n" }, millis(sigma))),
      ),
    ];
  }

  bestRows() {
    const { state, base } = this.session;
    const rest = { colspan: state.sectors.length };
    return state.best.flatMap((best) => {
      const several = base.recordings.length > 1;
      const of = several ? `, ${base.recordings[best.recording].file}` : "";
      /** @type {[string, number | null][]} */
      const rows = [
        ["theoretical best", best.theoretical_best_s],
        ["continuous best", best.continuous_best_s],
      ];
      return rows
        .filter(([, seconds]) => seconds !== null)
        .map(([name, seconds]) =>
          element(
            "tr",
            {},
            element("th", { scope: "row" }, name + of),
            element("td", { class: "n" }, duration(seconds, base.decimals.time)),
            element("td", rest),
          ),
        );
    });
  }
}

/** Which two laps the time difference is of. */
export class LapChoice {
  /** @param {Session} session */
  constructor(session) {
    this.session = session;
    this.first = find("#compare-first", HTMLSelectElement);
    this.second = find("#compare-second", HTMLSelectElement);
    this.panel = find(".compare", HTMLElement);
    this.keys = "";
    for (const select of [this.first, this.second]) {
      select.addEventListener("change", () => session.compare(this.first.value, this.second.value));
    }
    session.on(["state", "laps"], () => this.draw());
    this.draw();
  }

  draw() {
    const { session } = this;
    const laps = session.timedLaps();
    const keys = laps.map((lap) => lap.key).join();
    [this.first, this.second].forEach((select, n) => {
      if (keys !== this.keys) {
        select.replaceChildren(
          ...laps.map((lap) => element("option", { value: lap.key }, session.lapName(lap))),
        );
      }
      if (session.compared) {
        select.value = session.compared[n];
      }
    });
    this.keys = keys;
    this.panel.hidden = laps.length < 2;
  }
}

/** @param {KeyedLap} lap */
function counts(lap) {
  return lap.counts;
}

/** @param {(number | null | undefined)[]} values */
function least(values) {
  return Math.min(...values.map((value) => value ?? Infinity));
}

/**
 * The middle one of what is known, NaN where nothing is.
 *
 * @param {(number | null | undefined)[]} values
 */
function median(values) {
  const numbers = values
    .flatMap((value) => (value && value > 0 ? [value] : []))
    .sort((a, b) => a - b);
  return numbers[Math.floor(numbers.length / 2)] ?? NaN;
}
