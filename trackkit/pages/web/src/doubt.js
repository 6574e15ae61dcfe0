// How well the line is known: where it may be, and where it was not measured.

import { bandOf, CASING, pathOf } from "./paths.js";

/**
 * @import { Stretch } from "./base_document.js"
 * @import { Colours } from "./colours.js"
 * @import { WorldPoints } from "./mercator.js"
 */

/** As the legend has them. */
const KIND_DASHES = { thin: [9, 4], carried: [2, 4], drawn: [14, 3] };

/**
 * Where the line may be: two sigma to either side.
 *
 * @param {CanvasRenderingContext2D} context
 * @param {Colours} named
 * @param {WorldPoints} left
 * @param {WorldPoints} right
 */
export function drawDoubt(context, named, left, right) {
  context.globalAlpha = 0.55;
  context.fillStyle = named.doubt;
  context.fill(bandOf(left, right));
  context.globalAlpha = 1;
}

/**
 * @param {CanvasRenderingContext2D} context
 * @param {Colours} named
 * @param {Stretch["kind"]} kind
 * @param {WorldPoints} stretch
 */
export function drawUnmeasured(context, named, kind, stretch) {
  const path = pathOf(stretch);
  context.lineCap = "butt";
  context.strokeStyle = CASING;
  context.lineWidth = 4.6;
  context.stroke(path);
  context.strokeStyle = named[kind];
  context.lineWidth = 3;
  context.setLineDash(KIND_DASHES[kind]);
  context.stroke(path);
  context.setLineDash([]);
  context.lineCap = "round";
}
