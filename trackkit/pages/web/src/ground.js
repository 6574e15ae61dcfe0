// What lies on the ground, drawn on one canvas: band, fixes coloured by speed, centreline, arrows,
// pit lane, bridges. Panning only shifts the canvas; it is drawn again when the map stands still.

import { colours } from "./colours.js";
import { drawDoubt, drawUnmeasured } from "./doubt.js";
import { keyOf } from "./lap_keys.js";
import { drawLapLines, LapLines } from "./lap_lines.js";
import { LanePaths } from "./lane_paths.js";
import { worldOf, worldOfPositions } from "./mercator.js";
import { unpack } from "./packing.js";
import { bandOf, CASING, pathOf } from "./paths.js";
import { speedClasses } from "./speed_classes.js";

/**
 * @import { Bridge, Fixes, Stretch } from "./base_document.js"
 * @import { Colours } from "./colours.js"
 * @import { WorldPoints } from "./mercator.js"
 * @import { Session } from "./session.js"
 *
 * @typedef {object} Drive  fixes of a recording
 * @property {WorldPoints} world
 * @property {Uint8Array} group  class of speed
 * @property {Uint8Array} broken  1 where no line is drawn to a fix
 */

const ARROW_EVERY_PX = 90;
/** Fixes nearer together on the screen are left out. */
const LEAST_STEP_PX = 1.3;

export class Ground extends L.Renderer {
  /** @param {Session} session */
  constructor(session) {
    super({ padding: 0.5, pane: "ground" });
    this.session = session;
    /** @type {string} the laps "driven" that are chosen, their fixes ("chosen"), "all", "none" */
    this.drawnLaps = "all";
    /** @type {Set<number>} recordings that are not drawn */
    this.hidden = new Set();
    /** @type {CanvasRenderingContext2D | null} */
    this.context = null;
    const { line, base } = session;
    this.middle = worldOfPositions(line.drawn.map(({ lon, lat }) => [lon, lat]));
    this.leftSide = this.side(line.left);
    this.rightSide = this.side(line.right.map((reach) => -reach));
    const sigma = line.sigma?.map((value) => 2 * value);
    this.doubt = sigma ? [this.side(sigma), this.side(sigma.map((reach) => -reach))] : null;
    this.unmeasured = (base.line.accuracy?.stretches ?? []).map((stretch) => ({
      kind: stretch.kind,
      world: this.stretchOf(stretch),
    }));
    this.lanes = new LanePaths(session, () => this.redraw());
    this.bridges = base.bridges.flatMap((bridge) => this.bridgeEdges(bridge));
    this.lapLines = new LapLines(session);
    this.drives = base.recordings.map(({ fixes }) =>
      fixes ? driveOf(fixes, base.speed_bounds) : null,
    );
  }

  /** @param {Float64Array} reach  to the left of each vertex, metres */
  side(reach) {
    const { line } = this.session;
    return worldOfPositions(Array.from(reach, (aside, n) => line.beside(line.drawn[n], aside)));
  }

  /** @param {Stretch} stretch  where the line is not measured */
  stretchOf({ from_m, to_m }) {
    const { line } = this.session;
    const count = Math.max(1, Math.ceil((to_m - from_m) / line.step));
    const at = (/** @type {number} */ n) => line.at(from_m + ((to_m - from_m) * n) / count);
    return worldOfPositions(Array.from({ length: count + 1 }, (_, n) => [at(n).lon, at(n).lat]));
  }

  /** @param {Bridge} bridge */
  bridgeEdges({ over_m, reach_m }) {
    const { line } = this.session;
    const places = Array.from({ length: 9 }, (_, n) => line.at(over_m + reach_m * (n / 4 - 1)));
    return [
      worldOfPositions(places.map((place) => line.beside(place, place.left))),
      worldOfPositions(places.map((place) => line.beside(place, -place.right))),
    ];
  }

  /**
   * A map pulled farther than what was drawn beyond its edges is drawn again under way.
   *
   * @override
   */
  getEvents() {
    return {
      ...super.getEvents?.(),
      move: () => {
        const map = this._map;
        const corner = map.containerPointToLayerPoint([0, 0]);
        const view = L.bounds(corner, corner.add(map.getSize()));
        if (this._bounds && map.getZoom() === this._zoom && !this._bounds.contains(view)) {
          this._update();
        }
      },
    };
  }

  _initContainer() {
    const canvas = document.createElement("canvas");
    this._container = canvas;
    this.context = canvas.getContext("2d");
  }

  _destroyContainer() {
    this._container.remove();
    this.context = null;
  }

  /** @override */
  _update() {
    if (this._map._animatingZoom && this._bounds) {
      return;
    }
    super._update();
    if (!this._bounds || !this.context) {
      return;
    }
    const size = this._bounds.getSize();
    const corner = /** @type {L.Point} */ (this._bounds.min);
    const canvas = this.context.canvas;
    const dots = Math.min(2, Math.max(1, window.devicePixelRatio || 1));
    L.DomUtil.setPosition(canvas, corner);
    canvas.width = dots * size.x;
    canvas.height = dots * size.y;
    canvas.style.width = `${size.x}px`;
    canvas.style.height = `${size.y}px`;
    this.context.setTransform(dots, 0, 0, dots, -dots * corner.x, -dots * corner.y);
    this.draw(this.context);
  }

  /** Leaflet asks for it; there are no paths of its kind here. */
  _updatePaths() {}

  redraw() {
    if (this._map) {
      this._update();
    }
  }

  /** @param {CanvasRenderingContext2D} context */
  draw(context) {
    const map = this._map;
    const scale = /** @type {L.CRS} */ (map.options.crs).scale(map.getZoom());
    const origin = map.getPixelOrigin();
    /** @param {WorldPoints} world */
    const points = (world) => ({
      x: world.x.map((value) => value * scale - origin.x),
      y: world.y.map((value) => value * scale - origin.y),
    });
    const named = colours();
    context.lineJoin = "round";
    context.lineCap = "round";
    context.setLineDash([]);
    drawBand(context, named, points(this.leftSide), points(this.rightSide));
    if (this.doubt) {
      drawDoubt(context, named, points(this.doubt[0]), points(this.doubt[1]));
    }
    this.lanes.world.forEach((lane) => drawLane(context, named, points(lane)));
    if (this.drawnLaps === "driven") {
      drawLapLines(context, named, this.lapLines.chosen(this.hidden), points);
    } else {
      this.drawDrives(context, scale, origin);
    }
    this.bridges.forEach((edge) => drawBridge(context, named, points(edge)));
    this.unmeasured.forEach(({ kind, world }) =>
      drawUnmeasured(context, named, kind, points(world)),
    );
    drawLine(context, named, points(this.middle));
  }

  /**
   * Every class of speed over one dark casing, so that light colours also hold outside the band.
   *
   * @param {CanvasRenderingContext2D} context
   * @param {number} scale
   * @param {L.Point} origin
   */
  drawDrives(context, scale, origin) {
    const bounds = this._bounds;
    if (this.drawnLaps === "none" || !bounds) {
      return;
    }
    const styles = this.session.base.speed_styles;
    const paths = styles.map(() => new Path2D());
    this.drives.forEach((drive, index) => {
      if (drive && !this.hidden.has(index)) {
        for (const [first, last] of this.stretches(index, drive.group.length)) {
          addStretch(paths, drive, first, last, scale, origin, bounds);
        }
      }
    });
    paths.forEach((path, n) => {
      context.strokeStyle = CASING;
      context.lineWidth = styles[n].width_px + 1.6;
      context.stroke(path);
    });
    paths.forEach((path, n) => {
      context.strokeStyle = styles[n].colour;
      context.lineWidth = styles[n].width_px;
      context.stroke(path);
    });
  }

  /**
   * Which fixes of a recording are drawn: all, or those of the laps chosen.
   *
   * @param {number} index
   * @param {number} count
   * @returns {[number, number][]}
   */
  stretches(index, count) {
    if (this.drawnLaps === "all") {
      return [[0, count]];
    }
    const chosen = new Set(this.session.chosen);
    return this.session.base.laps.flatMap((lap) =>
      lap.recording === index && lap.fixes && chosen.has(keyOf(lap)) ? [lap.fixes] : [],
    );
  }
}

/**
 * @param {Fixes} fixes
 * @param {number[]} bounds
 * @returns {Drive}
 */
function driveOf(fixes, bounds) {
  const group = speedClasses(unpack(fixes.speed_mps), bounds);
  const broken = new Uint8Array(group.length);
  for (const n of fixes.breaks) {
    broken[n] = 1;
  }
  return { world: worldOf(unpack(fixes.lon), unpack(fixes.lat)), group, broken };
}

/**
 * @param {CanvasRenderingContext2D} context
 * @param {Colours} named
 * @param {WorldPoints} left
 * @param {WorldPoints} right
 */
function drawBand(context, named, left, right) {
  const { classList } = document.body;
  const onPicture = classList.contains("on-picture");
  const onTiles = onPicture || classList.contains("on-tiles");
  const band = bandOf(left, right);
  context.globalAlpha = onTiles ? 0.6 : 1;
  context.strokeStyle = named.bandEdge;
  context.lineWidth = 2.4;
  context.stroke(pathOf(left, right));
  // A picture is there to be seen: paint and kerbs through the band too.
  context.globalAlpha = onPicture ? 0.2 : onTiles ? 0.45 : 1;
  context.fillStyle = named.band;
  context.fill(band);
  // Without this the seams between quadrilaterals shine through.
  if (!onTiles) {
    context.strokeStyle = named.band;
    context.lineWidth = 0.7;
    context.stroke(band);
  }
  context.globalAlpha = 1;
}

/**
 * @param {CanvasRenderingContext2D} context
 * @param {Colours} named
 * @param {WorldPoints} lane
 */
function drawLane(context, named, lane) {
  const path = pathOf(lane);
  context.strokeStyle = named.halo;
  context.lineWidth = 5;
  context.stroke(path);
  context.strokeStyle = named.pit;
  context.lineWidth = 3;
  context.setLineDash([6, 5]);
  context.stroke(path);
  context.setLineDash([]);
}

/**
 * @param {CanvasRenderingContext2D} context
 * @param {Colours} named
 * @param {WorldPoints} edge
 */
function drawBridge(context, named, edge) {
  const path = pathOf(edge);
  context.strokeStyle = named.bandEdge;
  context.lineWidth = 5.5;
  context.stroke(path);
  context.strokeStyle = named.line;
  context.lineWidth = 2.5;
  context.stroke(path);
}

/**
 * The centreline, and arrows in racing direction, evenly along what is drawn.
 *
 * @param {CanvasRenderingContext2D} context
 * @param {Colours} named
 * @param {WorldPoints} middle
 */
function drawLine(context, named, middle) {
  context.strokeStyle = named.line;
  context.lineWidth = 1.6;
  context.setLineDash([7, 6]);
  context.lineCap = "butt";
  context.stroke(pathOf(middle));
  context.setLineDash([]);
  context.lineCap = "round";
  const arrows = new Path2D();
  let way = ARROW_EVERY_PX / 2;
  for (let n = 1; n < middle.x.length; n++) {
    const dx = middle.x[n] - middle.x[n - 1];
    const dy = middle.y[n] - middle.y[n - 1];
    way -= Math.hypot(dx, dy);
    if (way <= 0 && (dx || dy)) {
      way += ARROW_EVERY_PX;
      addArrow(arrows, middle.x[n], middle.y[n], Math.atan2(dy, dx));
    }
  }
  context.strokeStyle = CASING;
  context.lineWidth = 5;
  context.stroke(arrows);
  context.strokeStyle = "#ffffff";
  context.lineWidth = 2.4;
  context.stroke(arrows);
}

/**
 * @param {Path2D} arrows
 * @param {number} x
 * @param {number} y
 * @param {number} turn  radians, clockwise from the right
 */
function addArrow(arrows, x, y, turn) {
  arrows.moveTo(x + 8 * Math.cos(turn - 2.5), y + 8 * Math.sin(turn - 2.5));
  arrows.lineTo(x, y);
  arrows.lineTo(x + 8 * Math.cos(turn + 2.5), y + 8 * Math.sin(turn + 2.5));
}

/**
 * Add fixes to the paths of their classes of speed, leaving out what is beyond the view.
 *
 * @param {Path2D[]} paths
 * @param {Drive} drive
 * @param {number} first
 * @param {number} last  one past it
 * @param {number} scale
 * @param {L.Point} origin
 * @param {L.Bounds} bounds
 */
function addStretch(paths, drive, first, last, scale, origin, bounds) {
  const { world, group, broken } = drive;
  const low = /** @type {L.Point} */ (bounds.min);
  const high = /** @type {L.Point} */ (bounds.max);
  /** @param {number} x @param {number} y */
  const beyond = (x, y) =>
    (x < low.x ? 1 : x > high.x ? 2 : 0) | (y < low.y ? 4 : y > high.y ? 8 : 0);
  let px = 0;
  let py = 0;
  let where = 0;
  let kind = -1;
  for (let n = first; n < last; n++) {
    const x = world.x[n] * scale - origin.x;
    const y = world.y[n] * scale - origin.y;
    if (n === first || broken[n]) {
      kind = -1;
      where = beyond(x, y);
    } else {
      const near = (x - px) ** 2 + (y - py) ** 2 < LEAST_STEP_PX * LEAST_STEP_PX;
      if (near && group[n] === kind && n < last - 1 && !broken[n + 1]) {
        continue;
      }
      const side = beyond(x, y);
      if (side & where) {
        kind = -1;
      } else {
        if (group[n] !== kind) {
          kind = group[n];
          paths[kind].moveTo(px, py);
        }
        paths[kind].lineTo(x, y);
      }
      where = side;
    }
    px = x;
    py = y;
  }
}
