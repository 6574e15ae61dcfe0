// The rows of the chart: which of them there are, which are shown, and where.

import {
  drawAcross,
  drawAlong,
  drawDifference,
  drawOffset,
  drawQuality,
  drawSpeed,
} from "./chart_rows.js";

/**
 * @import { ChartView } from "./chart.js"
 * @import { Pen, Row } from "./chart_rows.js"
 *
 * @typedef {"speed" | "difference" | "along" | "across" | "offset" | "quality"} RowName
 */

/** @type {Record<RowName, { draw: (pen: Pen, row: Row) => void, share: number }>} */
const ROWS = {
  speed: { draw: drawSpeed, share: 4.2 },
  difference: { draw: drawDifference, share: 3 },
  along: { draw: drawAlong, share: 3 },
  across: { draw: drawAcross, share: 3 },
  offset: { draw: drawOffset, share: 3 },
  quality: { draw: drawQuality, share: 2.4 },
};
/** Below the axis and between rows, pixels. */
const AXIS_PX = 39;

export class RowChoice {
  /** @param {ChartView} chart */
  constructor(chart) {
    this.chart = chart;
    /** @type {Set<RowName>} rows that someone wants to see */
    this.wanted = new Set(
      chart.session.comparison ? ["speed", "difference"] : ["speed", "quality"],
    );
    for (const box of document.querySelectorAll("[data-row]")) {
      if (box instanceof HTMLInputElement) {
        this.listenTo(box);
      }
    }
  }

  /** @param {HTMLInputElement} box */
  listenTo(box) {
    const name = /** @type {RowName} */ (box.dataset.row);
    box.checked = this.wanted.has(name);
    box.addEventListener("change", () => {
      if (box.checked) {
        this.wanted.add(name);
      } else {
        this.wanted.delete(name);
      }
      this.chart.draw();
    });
  }

  /** What there is to draw. */
  available() {
    const { drawn, differences, session } = this.chart;
    const some = drawn.length > 0;
    return {
      speed: some,
      difference: differences.length > 0,
      along: some,
      across: some,
      offset: some,
      quality: session.quality !== null,
    };
  }

  /** What is drawn, from top to bottom, each with its share of the height. */
  laidOut() {
    const there = this.available();
    const names = /** @type {RowName[]} */ (Object.keys(ROWS)).filter((name) => there[name]);
    const wanted = names.filter((name) => this.wanted.has(name));
    const parts = (wanted.length ? wanted : names.slice(-1)).map((name) => ROWS[name]);
    const whole = parts.reduce((sum, { share }) => sum + share, 0);
    let top = this.chart.posts.height;
    const height = this.chart.height - AXIS_PX - top;
    return parts.map(({ draw, share }) => {
      const size = (height * share) / whole;
      const row = { draw, title: top + 2, top: top + 20, bottom: top + size - 2 };
      top += size;
      return row;
    });
  }
}
