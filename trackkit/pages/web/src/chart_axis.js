// The axis of the chart, with the corners that are found again on the map.

import { digitsOf } from "./chart_rows.js";
import { number } from "./figures.js";
import { units } from "./units.js";

/** @import { Pen } from "./chart_rows.js" */

/** Between two figures of the axis, in the unit that is read, or in seconds. */
const STEPS = [0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000, 10000, 20000];
const LONGEST_STEP = 50000;

const SECONDS = { length: "s", length_per_m: 1 };

/** @param {Pen} pen */
export function drawAxis(pen) {
  const { chart, context, named } = pen;
  const bottom = chart.height - 22;
  shadeCorners(pen, bottom);
  const timed = chart.session.cursor.by === "time";
  const { length, length_per_m } = timed ? SECONDS : units();
  const perPixel = length_per_m * chart.perPixel();
  const step = STEPS.find((wide) => wide / perPixel >= 64) ?? LONGEST_STEP;
  context.fillStyle = named.ink;
  context.textAlign = "center";
  let end = -Infinity;
  const first = length_per_m * chart.from;
  const last = length_per_m * (chart.from + chart.span) + 1e-6;
  for (let at = Math.ceil(first / step) * step; at <= last; at += step) {
    const x = chart.x(at / length_per_m);
    context.fillRect(x - 0.5, bottom, 1, 4);
    const text = `${number(at, digitsOf(step))} ${length}`;
    const half = context.measureText(text).width / 2;
    const middle = Math.min(x, chart.width - half - 1);
    if (middle - half >= end) {
      end = middle + half + 6;
      context.fillText(text, middle, chart.height - 5);
    }
  }
  context.fillRect(chart.left, bottom, chart.right - chart.left, 1);
}

/**
 * Corners are shaded, with their numbers, so that a place can be found again on the map.
 *
 * @param {Pen} pen
 * @param {number} bottom
 */
function shadeCorners({ chart, context, named, top }, bottom) {
  const { corners, line, length } = chart.session;
  context.textAlign = "center";
  for (const corner of corners) {
    const entry = chart.shown(corner.entry_m);
    const size = line.between(corner.entry_m, corner.exit_m);
    for (const at of [entry, entry - length]) {
      const x0 = Math.max(chart.x(chart.atOf(Math.max(at, 0))), chart.left);
      const x1 = Math.min(chart.x(chart.atOf(Math.min(at + size, length))), chart.right);
      if (!(x1 > x0)) {
        continue;
      }
      context.fillStyle = named.rule;
      context.globalAlpha = 0.35;
      context.fillRect(x0, top, x1 - x0, bottom - top);
      context.globalAlpha = 1;
      if (x1 - x0 > 9) {
        context.fillStyle = named.soft;
        context.fillText(String(corner.number), (x0 + x1) / 2, bottom - 3);
      }
    }
  }
}
