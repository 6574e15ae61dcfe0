// The rows of the chart: which of them there are, which are shown, and where.

import {
  drawAcross,
  drawAlong,
  drawChannel,
  drawDifference,
  drawOffset,
  drawQuality,
  drawSpeed,
} from "./chart_rows.js";
import { element } from "./elements.js";

/**
 * @import { ChartView } from "./chart.js"
 * @import { Pen, Row } from "./chart_rows.js"
 *
 * @typedef {{ draw: (pen: Pen, row: Row) => void, share: number }} RowKind
 */

/** Those that are not of channels, which recordings need not have. */
const ROWS = {
  speed: { draw: drawSpeed, share: 4.2 },
  difference: { draw: drawDifference, share: 3 },
  along: { draw: drawAlong, share: 3 },
  across: { draw: drawAcross, share: 3 },
  offset: { draw: drawOffset, share: 3 },
  quality: { draw: drawQuality, share: 2.4 },
};
const CHANNEL_SHARE = 3;
/** Below the axis and between rows, pixels. */
const AXIS_PX = 39;
/** Names of gates, where they need two lines. */
const POSTS_PX = 44;
/** A title, and two figures of levels below it. */
const LEAST_ROW_PX = 52;

export class RowChoice {
  /** @param {ChartView} chart */
  constructor(chart) {
    this.chart = chart;
    const { channels, comparison } = chart.session;
    /** @type {Map<string, RowKind>} from top to bottom */
    this.kinds = new Map(Object.entries(ROWS));
    const { quality } = ROWS;
    this.kinds.delete("quality");
    for (const { title } of channels.all) {
      this.kinds.set(channelRow(title), { draw: drawChannel(title), share: CHANNEL_SHARE });
    }
    this.kinds.set("quality", quality);
    /** @type {Set<string>} rows that someone wants to see */
    this.wanted = new Set(comparison ? ["speed", "difference"] : ["speed", "quality"]);
    this.offer();
    for (const box of document.querySelectorAll("[data-row]")) {
      if (box instanceof HTMLInputElement) {
        this.listenTo(box);
      }
    }
  }

  /** Offer the rows of channels before the last. */
  offer() {
    const last = document.querySelector("[data-row=quality]")?.parentElement;
    for (const { title } of this.chart.session.channels.all) {
      const box = element("input", { type: "checkbox", "data-row": channelRow(title) });
      last?.before(element("label", {}, box, " ", element("bdi", {}, title)));
    }
  }

  /** @param {HTMLInputElement} box */
  listenTo(box) {
    const name = box.dataset.row ?? "";
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

  /**
   * Whether there is something to draw in a row.
   *
   * @param {string} name
   */
  has(name) {
    const { drawn, differences, session } = this.chart;
    if (name === "quality") {
      return session.quality !== null;
    }
    return name === "difference" ? differences.length > 0 : drawn.length > 0;
  }

  /** What is drawn, from top to bottom. */
  parts() {
    const names = [...this.kinds.keys()].filter((name) => this.has(name));
    const wanted = names.filter((name) => this.wanted.has(name));
    return (wanted.length ? wanted : names.slice(-1)).flatMap((name) => this.kinds.get(name) ?? []);
  }

  /** The height that the chart needs for its rows to be read, pixels. */
  get least() {
    return POSTS_PX + AXIS_PX + LEAST_ROW_PX * this.parts().length;
  }

  /** What is drawn, from top to bottom, each with its share of the height. */
  laidOut() {
    const parts = this.parts();
    const whole = parts.reduce((sum, { share }) => sum + share, 0);
    let top = this.chart.posts.height;
    // What is more than every row needs is shared out.
    const least = Math.min(LEAST_ROW_PX, (this.chart.height - AXIS_PX - top) / parts.length);
    const more = this.chart.height - AXIS_PX - top - least * parts.length;
    return parts.map(({ draw, share }) => {
      const size = least + (more * share) / whole;
      const row = { draw, title: top + 2, top: top + 20, bottom: top + size - 2 };
      top += size;
      return row;
    });
  }
}

/**
 * What the row of a channel is called among rows.
 *
 * @param {string} title
 */
function channelRow(title) {
  return `channel ${title}`;
}
