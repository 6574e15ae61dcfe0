// The band between two curves of the chart.

import { stepOf } from "./chart_rows.js";

/** @import { Pen } from "./chart_rows.js" */

/**
 * @param {Pen} pen
 * @param {(value: number) => number} y
 * @param {[(shown: number) => number, (shown: number) => number]} edges  upper and lower
 * @param {string} colour
 */
export function drawBand({ chart, context }, y, [above, below], colour) {
  const step = stepOf(chart);
  context.save();
  context.beginPath();
  context.rect(chart.left, 0, chart.right - chart.left, chart.height);
  context.clip();
  context.fillStyle = colour;
  context.globalAlpha = 0.3;
  // Pieces, since a band is open where nothing is known.
  /** @type {[number, number, number][]} */
  let piece = [];
  const last = chart.from + chart.span;
  for (let at = chart.from; at <= last + step; at += step) {
    const [high, low] = at <= last ? [y(above(at)), y(below(at))] : [NaN, NaN];
    if (Number.isFinite(high + low)) {
      piece.push([chart.x(at), high, low]);
    } else if (piece.length) {
      context.beginPath();
      piece.forEach(([x, top]) => context.lineTo(x, top));
      piece.reverse().forEach(([x, , bottom]) => context.lineTo(x, bottom));
      context.fill();
      piece = [];
    }
  }
  context.restore();
}
