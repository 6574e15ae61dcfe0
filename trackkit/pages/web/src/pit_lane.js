// The pit lane, drawn point by point, edited and taken away. A line that is being drawn is the
// page's own until it is done; of one that the track has, each change is an edit.

import { lengthName, lengthText } from "./figures.js";
import { inserted, placeInLine, pointAfter, thinned } from "./lane_shape.js";
import { LanePanel } from "./lane_panel.js";
import { LineMarks } from "./line_marks.js";
import { pointKeys, PointKeys } from "./point_keys.js";

/**
 * @import { Dragging } from "./dragging.js"
 * @import { Editing } from "./editing.js"
 * @import { Position } from "./line.js"
 * @import { MapView } from "./map.js"
 * @import { PointBar } from "./point_bar.js"
 * @import { Session } from "./session.js"
 */

/** A line of more points than this is edited by fewer, which lie this near to it, metres. */
const MANY_POINTS = 30;
const NEAR_M = 0.3;
/** A point that is added beyond the last one goes straight on by so much, metres. */
const AHEAD_M = 20;

export class PitLaneEditor {
  /**
   * @param {Session} session
   * @param {Editing} editing
   * @param {MapView} view
   * @param {Dragging} dragging
   * @param {PointBar} bar
   */
  constructor(session, editing, view, dragging, bar) {
    this.session = session;
    this.editing = editing;
    this.view = view;
    /** @type {"none" | "draw" | "edit"} */
    this.mode = "none";
    /** @type {Position[]} */
    this.points = [];
    this.selected = -1;
    /** Number of points that were sent last: what comes back is not thinned again. */
    this.sent = 0;
    const keys = new PointKeys({
      step: (n, east, north, merge) => this.step(n, east, north, merge),
      drop: (n) => this.drop(n),
      addAfter: (n) => this.addAfter(n),
      leave: () => this.leave(),
    });
    this.bar = bar;
    this.marks = new LineMarks(
      view.map,
      dragging,
      {
        select: (n) => this.select(n),
        drag: (n, to, done) => this.moveTo(n, to, done),
        key: (n, event) => keys.pressed(n, event),
        insert: (at) => this.insert(at),
      },
      "t-pit",
    );
    this.panel = new LanePanel({
      begin: () => this.begin(),
      edit: () => this.edit(),
      remove: () => void this.remove(),
    });
    session.on(["state"], () => this.follow());
    this.describe();
  }

  get lane() {
    return this.session.state.pit_lanes[0] ?? null;
  }

  describe() {
    this.panel.describe(this.lane, this.mode);
  }

  begin() {
    this.points = [];
    this.open("draw", "Click the map along it, or type places beside the track; then Done.", "");
    this.draw(-1);
    this.bar.focus();
  }

  edit() {
    const { lane } = this;
    if (!lane) {
      return;
    }
    this.sent = 0;
    this.take();
    const [few, all] = [this.points.length, lane.line.length];
    const enough = few < all ? `${few} of its ${all} points are enough. ` : "";
    this.open("edit", `${enough}Drag a point, or click the line to add one.`, pointKeys());
    this.draw(0);
    this.view.held = true;
    this.marks.show(this.points);
    this.marks.focus(0);
  }

  /**
   * @param {"draw" | "edit"} mode
   * @param {string} hint  what can be done
   * @param {string} keys  and with which keys
   */
  open(mode, hint, keys) {
    this.editing.drafting.begin(() => this.leave());
    this.mode = mode;
    const title = mode === "draw" ? "Drawing the pit lane" : "Editing the pit lane";
    const draws = mode === "draw";
    this.bar.open(
      { title, hint, keys, cancels: draws, snaps: false, kind: "of-lane" },
      {
        add: draws ? () => this.addTyped() : null,
        after: draws ? null : () => this.addAfter(this.selected),
        drop: () => this.drop(this.selected),
        done: () => void this.done(),
        leave: () => this.leave(),
        typed: () => this.moveTyped(),
      },
    );
    this.view.taken = (at) => this.clicked(at);
    this.view.map.invalidateSize({ animate: false });
    this.bar.bringUp(this.view.map.getContainer());
    this.view.map.getContainer().classList.toggle("drawing", mode === "draw");
    this.view.map.doubleClickZoom.disable();
    this.describe();
  }

  leave() {
    this.mode = "none";
    this.view.taken = () => false;
    this.editing.drafting.end();
    this.marks.clear();
    this.points = [];
    this.view.map.getContainer().classList.remove("drawing");
    this.view.map.doubleClickZoom.enable();
    this.describe();
    this.bar.close(this.panel.opener(this.lane !== null));
  }

  async done() {
    if (this.mode === "draw") {
      if (this.points.length < 2) {
        this.editing.messages.complain("A pit lane has two points or more: add them first.");
        return;
      }
      const before = this.lane;
      await this.editing.layPitLane(this.points);
      if (this.lane === before) {
        return; // It was refused, and what was drawn stays to be mended.
      }
    }
    this.leave();
  }

  async remove() {
    await this.editing.layPitLane(null);
    if (!this.lane) {
      this.panel.opener(false).focus({ preventScroll: true });
    }
  }

  /** The line of the track, by few points. */
  take() {
    const line = (this.lane?.line ?? []).map((at) => this.session.near(at));
    const many = line.length > MANY_POINTS && line.length !== this.sent;
    const kept = many
      ? thinned(
          line.map((at) => this.onPlane(at)),
          NEAR_M,
        )
      : line.keys();
    this.points = Array.from(kept, (n) => line[n]);
  }

  /** Go on with the line as it is now, after an edit, an undo, or another page's edit. */
  follow() {
    if (this.mode === "edit" && !this.lane) {
      this.leave();
    } else if (this.mode === "edit" && !this.editing.waiting.length) {
      const held = document.activeElement?.classList.contains("lane-point");
      this.take();
      this.draw(Math.min(this.selected, this.points.length - 1));
      if (held) {
        this.marks.focus(this.selected);
      }
    }
    this.describe();
  }

  /** @param {number} selected */
  draw(selected) {
    const { points } = this;
    this.selected = selected;
    this.marks.draw(points, selected, (n) => this.nameOf(n));
    const point = points[selected];
    const drops = points.length >= (this.mode === "draw" ? 1 : 3);
    this.bar.fill(point ? this.beside(point) : null, drops);
    this.tellDraft();
  }

  /** @param {Position} at */
  onPlane([lon, lat]) {
    return { x: this.session.line.east(lon), y: this.session.line.north(lat) };
  }

  /**
   * Where a point is beside the track: a shown chainage, and metres to the left of the line.
   *
   * @param {Position} point
   */
  beside(point) {
    const { line } = this.session;
    const { x, y } = this.onPlane(point);
    const { chainage } = line.nearest(x, y);
    return {
      shown: this.session.shown(chainage),
      aside: line.aside(line.at(chainage), point),
    };
  }

  /** @param {number} n */
  nameOf(n) {
    const { shown, aside } = this.beside(this.points[n]);
    const digits = this.session.base.decimals.place;
    const side = aside >= 0 ? "left" : "right";
    return (
      `Point ${n + 1} of ${this.points.length} of the pit lane, ` +
      `${lengthText(Math.abs(aside), digits)} ${side} of ${lengthText(shown, digits)}`
    );
  }

  /** @param {number} n */
  select(n) {
    if (n !== this.selected) {
      this.draw(n);
    }
  }

  /**
   * What the fields say, or null where one of them says nothing.
   *
   * @returns {Position | null}
   */
  typed() {
    const typed = this.bar.typed();
    if (!typed) {
      this.editing.messages.complain(`A point is a chainage and ${lengthName()} beside the line.`);
      return null;
    }
    this.editing.messages.complain("");
    const { line } = this.session;
    return line.beside(line.at(this.session.toBase(typed.shown)), typed.aside);
  }

  addTyped() {
    const at = this.typed();
    if (at) {
      this.clicked(at);
      this.bar.next();
    }
  }

  moveTyped() {
    const at = this.mode === "edit" && this.selected >= 0 ? this.typed() : null;
    if (at) {
      this.moveTo(this.selected, at, true);
    }
  }

  /**
   * @param {Position} at  where the map was clicked
   * @returns {boolean}  whether a point was added
   */
  clicked(at) {
    if (this.mode !== "draw") {
      return false;
    }
    this.change([...this.points, at], this.points.length);
    this.editing.messages.say(`${this.nameOf(this.points.length - 1)}.`);
    return true;
  }

  /** @param {Position} at  on the line */
  insert(at) {
    const n = placeInLine(
      this.points.map((point) => this.onPlane(point)),
      this.onPlane(at),
    );
    this.change(inserted(this.points, n, at), n);
  }

  /**
   * Add a point halfway to the next one, or beyond the last.
   *
   * @param {number} n
   */
  addAfter(n) {
    const { x, y } = pointAfter(
      this.points.map((point) => this.onPlane(point)),
      n,
      AHEAD_M,
    );
    const at = this.session.line.toLonLat(x, y);
    this.change(inserted(this.points, n + 1, at), n + 1);
    this.marks.focus(n + 1);
  }

  /** @param {number} n */
  drop(n) {
    if (n < 0 || (this.mode === "edit" && this.points.length < 3)) {
      return;
    }
    const next = Math.min(n, this.points.length - 2);
    this.change(
      this.points.filter((_, k) => k !== n),
      next,
    );
    if (next >= 0) {
      this.marks.focus(next);
    } else {
      this.bar.focus();
    }
  }

  /**
   * @param {number} n
   * @param {Position} to
   * @param {boolean} done  whether it is let go there
   * @param {string} [merge]
   */
  moveTo(n, to, done, merge) {
    const points = this.points.map((point, k) => (k === n ? to : point));
    if (done) {
      this.change(points, n, merge);
    } else {
      this.points = points;
      this.draw(n);
    }
  }

  /**
   * @param {number} n
   * @param {number} east  metres
   * @param {number} north
   * @param {string} merge
   */
  step(n, east, north, merge) {
    const { x, y } = this.onPlane(this.points[n]);
    this.moveTo(n, this.session.line.toLonLat(x + east, y + north), true, merge);
  }

  /**
   * @param {Position[]} points
   * @param {number} selected
   * @param {string} [merge]
   */
  change(points, selected, merge) {
    this.points = points;
    this.draw(selected);
    if (this.mode === "edit") {
      this.sent = points.length;
      void this.editing.layPitLane(points, merge);
    }
  }

  /** While a line is drawn, undo takes its last point back. */
  tellDraft() {
    const { points } = this;
    const undo = () => this.change(points.slice(0, -1), points.length - 2);
    const drawn = this.mode === "draw" && points.length > 0;
    this.editing.drafting.set(drawn ? { undo, undoes: "the last point" } : {});
  }
}
