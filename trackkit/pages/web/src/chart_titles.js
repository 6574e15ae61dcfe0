// Names of the chart's rows, where no gate's post crosses them.

/**
 * @import { ChartView } from "./chart.js"
 * @import { Pen, Row } from "./chart_rows.js"
 */

/**
 * Titles lie over the gates' posts, so that none is crossed.
 *
 * @param {Pen} pen
 * @param {Row} row
 * @param {string} text
 */
export function drawTitle({ chart, context }, row, text) {
  const width = context.measureText(text).width + 10;
  chart.titles.push({ text, top: row.title, left: freeLeft(chart, width) });
}

/**
 * Left end of the first stretch of the chart without a post that is wide enough, pixels.
 *
 * @param {ChartView} chart
 * @param {number} width
 */
function freeLeft(chart, width) {
  const { left, right, session } = chart;
  const posts = session.state.gates.map((gate) =>
    chart.x(chart.atOf(chart.shown(session.gatePlace(gate).base))),
  );
  const free = [left, ...posts]
    .map((x) => Math.max(x, left) + 5)
    .sort((a, b) => a - b)
    .find((x) => x + width <= right && !posts.some((post) => post > x - 4 && post < x + width + 3));
  return free ?? left + 5;
}
