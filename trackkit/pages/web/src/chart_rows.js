// What the chart draws on its canvas: its rows of curves.

import { drawBand } from "./chart_band.js";
import { drawTitle } from "./chart_titles.js";
import { needsCasing } from "./drivers.js";
import { number, signed } from "./figures.js";
import { units } from "./units.js";

/**
 * @import { ChartView, Difference } from "./chart.js"
 * @import { Colours } from "./colours.js"
 * @import { DrawnLap } from "./drawn_laps.js"
 * @import { LapStyle } from "./drivers.js"
 * @import { Trace } from "./traces.js"
 *
 * @typedef {object} Pen
 * @property {ChartView} chart
 * @property {CanvasRenderingContext2D} context
 * @property {Colours} named  colours
 * @property {number} top  below the gates' names, pixels
 *
 * @typedef {object} Row
 * @property {number} title  top of the title, pixels
 * @property {number} top
 * @property {number} bottom
 *
 * @typedef {object} Levels
 * @property {number} low
 * @property {number} high
 * @property {(value: number, step: number) => string} text  of a level, and the step to the next
 */

/**
 * @param {Pen} pen
 * @param {Row} row
 */
export function drawSpeed(pen, row) {
  const { speed, speed_per_mps } = units();
  drawTraces(pen, row, `Speed, ${speed}`, (trace, at) => speed_per_mps * trace.speed(at), 4);
}

/**
 * @param {Pen} pen
 * @param {Row} row
 */
export function drawAlong(pen, row) {
  const { length, length_per_m } = units();
  const title = `Acceleration along, ${length}/s\u00b2 (braking is below 0)`;
  drawTraces(pen, row, title, (trace, at) => length_per_m * trace.along(at), 0.5);
}

/**
 * @param {Pen} pen
 * @param {Row} row
 */
export function drawAcross(pen, row) {
  const { length, length_per_m } = units();
  const title = `Acceleration across, ${length}/s\u00b2 (to the left is above 0)`;
  drawTraces(pen, row, title, (trace, at) => length_per_m * trace.across(at), 0.5);
}

/**
 * @param {Pen} pen
 * @param {Row} row
 */
export function drawOffset(pen, row) {
  const { length, length_per_m } = units();
  const title = `Beside the centreline, ${length} (to the left is above 0)`;
  drawTraces(pen, row, title, (trace, at) => length_per_m * trace.offset(at), 0.3);
}

/**
 * @param {string} channel  its title
 * @returns {(pen: Pen, row: Row) => void}
 */
export function drawChannel(channel) {
  return (pen, row) => {
    const { drawn, session } = pen.chart;
    const { channels } = session;
    if (!drawn.some(({ lap }) => channels.has(channel, lap.recording))) {
      drawTitle(pen, row, `${channel}: in no lap drawn`);
      return;
    }
    drawLaps(
      pen,
      row,
      channel,
      ({ lap, trace }, at) => channels.at(channel, lap.recording, startOf(lap) + trace.time(at)),
      0,
    );
  };
}

/** @param {{ start_s: number | null }} lap */
function startOf({ start_s: start }) {
  return start ?? NaN;
}

/**
 * A curve a lap, the reference lap on top.
 *
 * @param {Pen} pen
 * @param {Row} row
 * @param {string} title
 * @param {(trace: Trace, shown: number) => number} read
 * @param {number} least  room above and below
 */
function drawTraces(pen, row, title, read, least) {
  drawLaps(pen, row, title, ({ trace }, at) => read(trace, at), least);
}

/**
 * @param {Pen} pen
 * @param {Row} row
 * @param {string} title
 * @param {(lap: DrawnLap, shown: number) => number} read
 * @param {number} least  room above and below
 */
function drawLaps(pen, row, title, read, least) {
  const { chart } = pen;
  const values = chart.drawn.map((lap) => {
    const where = whereIs(chart, lap);
    return (/** @type {number} */ at) => read(lap, where(at));
  });
  const [low, high] = range(chart, values);
  const room = Math.max(least, 0.08 * (high - low)) || 1;
  const y = drawLevels(pen, row, { low: low - room, high: high + room, text: inSteps });
  chart.drawn.forEach(({ style }, n) => {
    const under = chart.drawn.length - 1 - n;
    drawLapCurve(pen, y, values[under], chart.drawn[under].style ?? style);
  });
  drawTitle(pen, row, title);
}

/**
 * Where a lap is at a place of the axis, which is a place of all laps or a time.
 *
 * @param {ChartView} chart
 * @param {DrawnLap} lap
 * @returns {(at: number) => number}
 */
function whereIs(chart, { clock }) {
  return chart.session.cursor.by === "time" ? (at) => clock.at(at) : (at) => at;
}

/** More bands than this would hide each other. */
const MOST_BANDS = 3;

/**
 * @param {Pen} pen
 * @param {Row} row
 */
export function drawDifference(pen, row) {
  const { chart, context, named } = pen;
  const differences = chart.differences.map(({ at, sigma, ...difference }) => ({
    ...difference,
    at: (/** @type {number} */ axis) => at(chart.placeOf(axis)),
    sigma: sigma && ((/** @type {number} */ axis) => sigma(chart.placeOf(axis))),
  }));
  const banded = differences.slice(0, MOST_BANDS);
  const edges = banded.flatMap((difference) => [edgeOf(difference, 1), edgeOf(difference, -1)]);
  const [low, high] = range(chart, [...differences.map(({ at }) => at), ...edges]);
  const room = Math.max(0.002, 0.08 * (high - low));
  /** @param {number} value @param {number} step */
  const text = (value, step) => (value === 0 ? "0" : signed(value, digitsOf(step)));
  const y = drawLevels(pen, row, {
    low: Math.min(low, 0) - room,
    high: Math.max(high, 0) + room,
    text,
  });
  banded.forEach((difference) => {
    const colour = named[difference.style.colour];
    drawBand(pen, y, [edgeOf(difference, 1), edgeOf(difference, -1)], colour);
  });
  context.fillStyle = named.soft;
  context.fillRect(chart.left, y(0) - 0.75, chart.right - chart.left, 1.5);
  differences
    .slice()
    .reverse()
    .forEach(({ at, style }) => drawLapCurve(pen, y, at, style));
  const { session } = chart;
  const [, reference] = session.comparedLaps();
  const behind = reference ? session.lapName(reference).replace(/^Lap/, "lap") : "";
  const band = banded.some(({ sigma }) => sigma) ? "; band: one sigma" : "";
  drawTitle(pen, row, `Behind ${behind}, s${band}`);
}

/**
 * One edge of a difference's band.
 *
 * @param {Difference} difference
 * @param {1 | -1} side
 * @returns {(shown: number) => number}
 */
function edgeOf({ at, sigma }, side) {
  return (shown) => at(shown) + side * (sigma?.(shown) ?? NaN);
}

/**
 * @param {Pen} pen
 * @param {Row} row
 */
export function drawQuality(pen, row) {
  const { chart, named } = pen;
  /** @param {number} at */
  const value = (at) => 1000 * chart.session.qualityAt(chart.base(chart.placeOf(at)));
  const high = range(chart, [value])[1];
  const digits = high < 2 ? 1 : 0;
  const levels = {
    low: 0,
    high: 1.12 * high,
    text: (/** @type {number} */ ms) => number(ms, digits),
  };
  const y = drawLevels(pen, row, levels);
  drawCurve(pen, y, value, named.quality, []);
  drawTitle(pen, row, "A crossing there is good to \u00b1 ms (one sigma)");
}

/**
 * A figure with as many decimals as the step between levels has.
 *
 * @param {number} value
 * @param {number} step
 */
function inSteps(value, step) {
  return number(value, digitsOf(step)).replace("-", "\u2212");
}

/**
 * Decimals that tell levels a step apart.
 *
 * @param {number} step
 */
export function digitsOf(step) {
  return Math.max(0, Math.ceil(-Math.log10(step) - 1e-9));
}

/** Figures of levels that are nearer to each other would overlap. */
const FIGURE_PX = 11;

/**
 * Level lines with figures, at steps of 1, 2 or 5.
 *
 * @param {Pen} pen
 * @param {Row} row
 * @param {Levels} levels
 */
function drawLevels({ chart, context, named }, { top, bottom }, { low, high, text }) {
  /** @param {number} value */
  const y = (value) => bottom - ((value - low) / (high - low)) * (bottom - top);
  const apart = Math.min(FIGURE_PX / (bottom - top), 0.5) * (high - low);
  const step = stepBetween(low, high, Math.floor((bottom - top) / 22), apart);
  context.textAlign = "right";
  let last = Infinity;
  for (let value = Math.ceil(low / step - 1e-9) * step; value <= high + 1e-9; value += step) {
    context.fillStyle = named.rule;
    context.fillRect(chart.left, y(value) - 0.5, chart.right - chart.left, 1);
    if (last - y(value) >= FIGURE_PX) {
      last = y(value);
      context.fillStyle = named.soft;
      const nought = Math.abs(value) < step / 1e6;
      context.fillText(text(nought ? 0 : value, step), chart.left - 5, last + 4);
    }
  }
  return y;
}

/**
 * The step between levels, at most so many; however few, there are two of them at least, so that
 * they tell how large things are.
 *
 * @param {number} low
 * @param {number} high
 * @param {number} most
 * @param {number} [apart]  least distance of the first and the last, less than from low to high
 */
export function stepBetween(low, high, most, apart = 0) {
  let step = levelStep((high - low) / Math.max(2, most));
  const steps = () => Math.floor(high / step + 1e-9) - Math.ceil(low / step - 1e-9);
  while (steps() < 1 || steps() * step < apart) {
    step = levelStep(0.4 * step);
  }
  return step;
}

/**
 * The least of 1, 2, 5 times a power of ten that is not below what is wanted.
 *
 * @param {number} wanted
 */
export function levelStep(wanted) {
  const power = 10 ** Math.floor(Math.log10(wanted));
  const step = [1, 2, 5, 10].find((digit) => digit * power >= wanted * 0.999) ?? 10;
  return step * power;
}

/**
 * How far apart places of the axis are that curves are drawn through.
 *
 * @param {ChartView} chart
 */
export function stepOf(chart) {
  const least = chart.session.cursor.by === "time" ? 0.02 : 0.5;
  return Math.max(least, chart.perPixel());
}

/**
 * @param {Pen} pen
 * @param {(value: number) => number} y
 * @param {(shown: number) => number} value
 * @param {string} colour
 * @param {number[]} dash
 * @param {number} [width]  pixels
 * @param {string} [casing]  colour of an edge either side
 */
function drawCurve({ chart, context }, y, value, colour, dash, width = 2, casing = "") {
  context.save();
  context.beginPath();
  context.rect(chart.left, 0, chart.right - chart.left, chart.height);
  context.clip();
  context.beginPath();
  const step = stepOf(chart);
  let open = false;
  for (let at = chart.from; at <= chart.from + chart.span; at += step) {
    const here = value(at);
    if (!Number.isFinite(here)) {
      open = false;
    } else if (open) {
      context.lineTo(chart.x(at), y(here));
    } else {
      context.moveTo(chart.x(at), y(here));
      open = true;
    }
  }
  context.setLineDash(dash);
  context.lineJoin = "round";
  if (casing) {
    context.strokeStyle = casing;
    context.lineWidth = width + 1.6;
    context.stroke();
  }
  context.strokeStyle = colour;
  context.lineWidth = width;
  context.stroke();
  context.restore();
}

/**
 * @param {Pen} pen
 * @param {(value: number) => number} y
 * @param {(shown: number) => number} value
 * @param {LapStyle} style
 */
function drawLapCurve(pen, y, value, { colour, dash, width }) {
  const { named } = pen;
  const casing = needsCasing(named, colour) ? named.ink : "";
  drawCurve(pen, y, value, named[colour], dash, width, casing);
}

/**
 * Least and greatest of some values in view.
 *
 * @param {ChartView} chart
 * @param {((shown: number) => number)[]} values
 * @returns {[number, number]}
 */
function range(chart, values) {
  let low = Infinity;
  let high = -Infinity;
  const step = Math.max(2 * stepOf(chart), chart.span / 600);
  for (const value of values) {
    for (let at = chart.from; at <= chart.from + chart.span; at += step) {
      const here = value(at);
      if (here < low) {
        low = here;
      }
      if (here > high) {
        high = here;
      }
    }
  }
  return low <= high ? [low, high] : [0, 1];
}
