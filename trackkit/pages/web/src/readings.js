// What each lap drawn has at the cursor, in one table.

import { strokeOf } from "./drivers.js";
import { eachFrame, element, find } from "./elements.js";
import { duration, millis, number, signed } from "./figures.js";
import { units } from "./units.js";

/**
 * @import { ChartView, Difference } from "./chart.js"
 * @import { DrawnLap } from "./drawn_laps.js"
 * @import { Session } from "./session.js"
 *
 * @typedef {object} Column
 * @property {string} name
 * @property {string} unit
 * @property {string} [about]
 * @property {(lap: DrawnLap, at: number, difference: Difference | undefined) => string} read
 *
 * @typedef {object} Reading  a lap's row
 * @property {DrawnLap} lap
 * @property {Difference | undefined} difference
 * @property {Text[]} cells
 */

const NOTHING = "\u2013";

export class Readings {
  /**
   * @param {Session} session
   * @param {ChartView} chart
   */
  constructor(session, chart) {
    this.session = session;
    this.chart = chart;
    this.panel = find("#readings", HTMLElement);
    this.table = find("table", HTMLTableElement, this.panel);
    /** @type {Column[]} */
    this.columns = [];
    /** @type {Reading[]} */
    this.rows = [];
    /** The axis that columns were chosen for. */
    this.by = "";
    const fill = eachFrame(() => this.fill());
    session.on(["state", "laps"], () => this.arrange());
    session.on(["place"], () => (this.by === session.cursor.by ? fill() : this.arrange()));
    this.arrange();
  }

  arrange() {
    const { session, chart } = this;
    this.by = session.cursor.by;
    this.columns = columnsOf(session, chart);
    this.rows = session.drawn.all.map((lap) => ({
      lap,
      difference: chart.differences.find((other) => other.lap.key === lap.lap.key),
      cells: this.columns.map(() => document.createTextNode(NOTHING)),
    }));
    const titles = this.columns.map(({ name, unit, about }) =>
      element("th", { scope: "col", class: "n", title: about }, name, unit ? `, ${unit}` : ""),
    );
    const head = element("tr", {}, element("th", { scope: "col" }, "Lap"), ...titles);
    find("thead", HTMLElement, this.table).replaceChildren(head);
    find("tbody", HTMLElement, this.table).replaceChildren(
      ...this.rows.map(({ lap, cells }) =>
        element(
          "tr",
          {},
          this.name(lap),
          ...cells.map((cell) => element("td", { class: "n" }, cell)),
        ),
      ),
    );
    this.panel.hidden = !this.rows.length;
    this.fill();
  }

  /** @param {DrawnLap} drawn */
  name({ lap, style, letter }) {
    const { session } = this;
    const reference = lap.key === session.reference && this.rows.length > 1;
    const badge = letter ? element("span", { class: "letter" }, letter) : null;
    const name = element("bdi", {}, session.lapName(lap));
    const role = reference ? element("span", { class: "soft" }, " reference") : null;
    return element("th", { scope: "row" }, badge, strokeOf(style), name, role);
  }

  fill() {
    const { cursor } = this.session;
    for (const { lap, difference, cells } of this.rows) {
      const at = cursor.placeOf(lap);
      this.columns.forEach(({ read }, n) => {
        const text = Number.isFinite(at) ? read(lap, at, difference) : NOTHING;
        if (cells[n].data !== text) {
          cells[n].data = text;
        }
      });
    }
  }
}

/**
 * @param {Session} session
 * @param {ChartView} chart
 * @returns {Column[]}
 */
function columnsOf(session, chart) {
  const { speed, speed_per_mps, length, length_per_m } = units();
  /** @type {Column[]} */
  const columns = [
    { name: "Elapsed", unit: "s", read: ({ trace }, at) => duration(trace.time(at), 3) },
    {
      name: "Speed",
      unit: speed,
      read: ({ trace }, at) => figure(speed_per_mps * trace.speed(at), 1),
    },
  ];
  if (session.cursor.by === "time") {
    columns.unshift({ name: "At", unit: length, read: (_, at) => figure(length_per_m * at, 1) });
  }
  if (chart.differences.length) {
    columns.push({
      name: "Behind",
      unit: "s",
      about: "The time that the lap is behind the reference lap there, and one sigma of it",
      read: (_, at, difference) => (difference ? behind(difference, at) : NOTHING),
    });
  }
  return [
    ...columns,
    {
      name: "Along",
      unit: `${length}/s\u00b2`,
      about: "Acceleration in the direction of travel; braking is below 0",
      read: ({ trace }, at) => signedFigure(length_per_m * trace.along(at), 1),
    },
    {
      name: "Across",
      unit: `${length}/s\u00b2`,
      about: "Acceleration to the left",
      read: ({ trace }, at) => signedFigure(length_per_m * trace.across(at), 1),
    },
    {
      name: "Beside",
      unit: length,
      about: "Distance to the left of the centreline",
      read: ({ trace }, at) => signedFigure(length_per_m * trace.offset(at), 1),
    },
    ...session.channels.all.map(({ title, name, unit, digits }) => ({
      name,
      unit,
      read: (/** @type {DrawnLap} */ { lap, trace }, /** @type {number} */ at) =>
        figure(
          session.channels.at(title, lap.recording, (lap.start_s ?? NaN) + trace.time(at)),
          digits,
        ),
    })),
  ];
}

/**
 * @param {Difference} difference
 * @param {number} at
 */
function behind(difference, at) {
  const sigma = difference.sigma?.(at) ?? NaN;
  const text = signed(difference.at(at));
  return Number.isFinite(sigma) ? `${text} ${millis(sigma)}` : text;
}

/**
 * @param {number} value
 * @param {number} digits
 */
function figure(value, digits) {
  return Number.isFinite(value) ? number(value, digits) : NOTHING;
}

/**
 * @param {number} value
 * @param {number} digits
 */
function signedFigure(value, digits) {
  return Number.isFinite(value) ? signed(value, digits) : NOTHING;
}
