// The lines that laps were driven on, smoothed, each in its driver's colour and dash.

import { worldOfPositions } from "./mercator.js";

/**
 * @import { Colours } from "./colours.js"
 * @import { LapStyle } from "./drivers.js"
 * @import { Place, Position } from "./line.js"
 * @import { WorldPoints } from "./mercator.js"
 * @import { Session } from "./session.js"
 *
 * @typedef {object} LapLine
 * @property {WorldPoints[]} pieces  without gaps
 * @property {LapStyle} style
 */

export class LapLines {
  /** @param {Session} session */
  constructor(session) {
    this.session = session;
    /** @type {Map<string, WorldPoints[]>} by key of the lap */
    this.pieces = new Map();
    /** @type {Place[]} places that laps are laid out by */
    this.places = [];
  }

  /**
   * The laps chosen, the reference lap last, so that it lies on top.
   *
   * @param {Set<number>} hidden  recordings that are not drawn
   * @returns {LapLine[]}
   */
  chosen(hidden) {
    const { session } = this;
    const { reference, chosen } = session;
    return [...chosen.filter((key) => key !== reference), ...chosen.filter((k) => k === reference)]
      .filter((key) => !hidden.has(Number(key.split(":")[0])))
      .map((key) => ({ pieces: this.of(key), style: session.styleOf(key) }));
  }

  /** @param {string} key */
  of(key) {
    const pieces = this.pieces.get(key) ?? this.laidOut(key);
    this.pieces.set(key, pieces);
    return pieces;
  }

  /**
   * @param {string} key
   * @returns {WorldPoints[]}
   */
  laidOut(key) {
    const { traces, line } = this.session;
    const row = traces.rows.find((lap) => lap.key === key);
    if (!row) {
      return [];
    }
    /** @type {Position[][]} */
    const pieces = [[]];
    row.offsets.forEach((aside, n) => {
      this.places[n] ??= line.at(row.from + n * traces.grid);
      if (Number.isFinite(aside)) {
        pieces[pieces.length - 1].push(line.beside(this.places[n], aside));
      } else if (pieces[pieces.length - 1].length) {
        pieces.push([]);
      }
    });
    return pieces.filter((piece) => piece.length > 1).map(worldOfPositions);
  }
}

/**
 * @param {CanvasRenderingContext2D} context
 * @param {Colours} named
 * @param {LapLine[]} laps
 * @param {(world: WorldPoints) => { x: Float64Array, y: Float64Array }} points
 */
export function drawLapLines(context, named, laps, points) {
  for (const { pieces, style } of laps) {
    const path = new Path2D();
    for (const piece of pieces) {
      const { x, y } = points(piece);
      path.moveTo(x[0], y[0]);
      for (let n = 1; n < x.length; n++) {
        path.lineTo(x[n], y[n]);
      }
    }
    context.setLineDash([]);
    // White holds on the dark band, where blue and black would be lost.
    context.strokeStyle = "#ffffff";
    context.lineWidth = style.width + 2;
    context.stroke(path);
    context.setLineDash(style.dash);
    context.strokeStyle = named[style.colour];
    context.lineWidth = style.width;
    context.stroke(path);
  }
  context.setLineDash([]);
}
