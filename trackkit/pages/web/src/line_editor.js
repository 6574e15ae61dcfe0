// The centreline, or an edge of the track, moved by hand: control points along it, and what is
// drawn between them. It is the page's own until Done or Save; the server then lays the line anew.

import {
  controlsOf,
  drawnLine,
  dropped,
  inserted,
  insertedAfter,
  moved,
  stretchesOf,
} from "./drawn_stretches.js";
import { centreOf, edgeOf, sentEdit } from "./drawn_paths.js";
import { lengthName, lengthText } from "./figures.js";
import { LineMarks } from "./line_marks.js";
import { button } from "./point_bar.js";
import { pointKeys, PointKeys } from "./point_keys.js";
import { snapped } from "./snapping.js";

/**
 * @import { Control, Path } from "./drawn_stretches.js"
 * @import { Dragging } from "./dragging.js"
 * @import { Editing } from "./editing.js"
 * @import { Position } from "./line.js"
 * @import { MapView } from "./map.js"
 * @import { PointBar } from "./point_bar.js"
 * @import { Session } from "./session.js"
 * @import { Point } from "./spline.js"
 *
 * @typedef {"line" | "left" | "right"} Which
 *
 * @typedef {object} Step  the points after a change
 * @property {Control[]} controls
 * @property {string} what  was done
 * @property {string | null} merge  of steps that are undone together
 */

/** @type {Record<Which, string>} */
const NAMES = { line: "line", left: "left edge", right: "right edge" };

export class LineEditor {
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
    this.bar = bar;
    /** @type {Which | null} what is being moved */
    this.which = null;
    /** @type {Path} */
    this.path = centreOf(session);
    /** @type {Step[]} the points as they were at first, and after each change */
    this.steps = [];
    this.shown = 0;
    /** @type {Control[] | null} while a point is dragged */
    this.held = null;
    this.selected = -1;
    const keys = new PointKeys({
      step: (n, east, north, merge) => this.step(n, east, north, merge),
      drop: (n) => this.drop(n),
      addAfter: (n) => this.addAfter(n),
      leave: () => this.leave(),
    });
    this.marks = new LineMarks(
      view.map,
      dragging,
      {
        select: (n) => this.select(n),
        drag: (n, to, done) => this.drag(n, to, done),
        key: (n, event) => keys.pressed(n, event),
        insert: (at) => this.insert(at),
      },
      "t-drawn",
    );
    this.openers = {
      line: button("#line-edit", () => this.open("line")),
      left: button("#line-left", () => this.open("left")),
      right: button("#line-right", () => this.open("right")),
    };
  }

  get controls() {
    return this.held ?? this.steps[this.shown]?.controls ?? [];
  }

  /** @param {Which} which */
  open(which) {
    this.editing.drafting.begin(() => this.leave());
    this.which = which;
    this.path = which === "line" ? centreOf(this.session) : edgeOf(this.session, which);
    this.steps = [{ controls: controlsOf(this.path), what: "", merge: null }];
    this.shown = 0;
    this.bar.open(
      {
        title: `Moving the ${NAMES[which]}`,
        hint: "Drag a point, or click the line to add one. Between two points left alone it stays.",
        keys: pointKeys(),
        cancels: true,
        snaps: true,
        kind: "of-line",
      },
      {
        add: null,
        after: () => this.addAfter(this.selected),
        drop: () => this.drop(this.selected),
        done: () => void this.done(),
        leave: () => this.leave(),
        typed: () => this.moveTyped(),
      },
    );
    this.view.map.invalidateSize({ animate: false });
    this.bar.bringUp(this.view.map.getContainer());
    this.view.map.doubleClickZoom.disable();
    this.view.map.getContainer().classList.add("moving-line");
    this.view.taken = () => true;
    this.view.held = true;
    this.draw(this.nearestToMiddle());
    this.marks.focus(this.selected);
  }

  leave() {
    const { which } = this;
    if (!which) {
      return;
    }
    this.which = null;
    this.steps = [];
    this.held = null;
    this.view.taken = () => false;
    this.editing.drafting.end();
    this.marks.clear();
    this.view.map.doubleClickZoom.enable();
    this.view.map.getContainer().classList.remove("moving-line");
    this.bar.close(this.openers[which]);
  }

  /** @returns {Promise<boolean>} whether what was drawn is an edit now */
  async done() {
    const { which } = this;
    const stretches = stretchesOf(this.path, this.controls);
    if (which && stretches.length) {
      const { edit: before } = this.session.state;
      const edit = () => sentEdit(this.session, which, stretches);
      await this.editing.requests.add({ edit });
      if (this.session.state.edit === before) {
        return false; // It was refused, and what was drawn stays to be mended.
      }
    }
    this.leave();
    return true;
  }

  nearestToMiddle() {
    const { lat, lng } = this.view.map.getCenter();
    const middle = this.onPlane([lng, lat]);
    const away = this.controls.map(({ x, y }) => Math.hypot(x - middle.x, y - middle.y));
    return away.indexOf(Math.min(...away));
  }

  /** @param {number} selected */
  draw(selected) {
    const { controls, path } = this;
    this.selected = selected;
    this.marks.draw(
      controls.map((control) => this.position(control)),
      selected,
      (n) => this.nameOf(n),
      this.drawnLines(),
    );
    const control = controls[selected];
    const drops = control !== undefined && dropped(path, controls, selected) !== null;
    this.bar.fill(control ? this.besideOf(control) : null, drops);
  }

  /** The line in pieces that stay and pieces that are drawn, by turns. */
  drawnLines() {
    const { places, base } = drawnLine(this.path, this.controls);
    /** @type {Position[][]} */
    const lines = [];
    places.forEach((place, k) => {
      if (k === 0 || (base[k] === null) !== (base[k - 1] === null)) {
        lines.push(k === 0 ? [] : [this.position(places[k - 1])]);
      }
      lines[lines.length - 1].push(this.position(place));
    });
    return lines;
  }

  /** @param {Point} point */
  position({ x, y }) {
    return this.session.line.toLonLat(x, y);
  }

  /** @param {Position} at */
  onPlane([lon, lat]) {
    return { x: this.session.line.east(lon), y: this.session.line.north(lat) };
  }

  /**
   * Where a point is beside the line as it was: a shown chainage, and metres to its left.
   *
   * @param {Position} point
   */
  beside(point) {
    const { line } = this.session;
    const { x, y } = this.onPlane(point);
    const { chainage } = line.nearest(x, y);
    return { shown: this.session.shown(chainage), aside: line.aside(line.at(chainage), point) };
  }

  /** @param {Control} control */
  besideOf(control) {
    if (control.base === null) {
      return this.beside(this.position(control));
    }
    const { left, right } = this.session.line.at(control.base);
    const aside = { line: 0, left, right: -right }[this.which ?? "line"];
    return { shown: this.session.shown(control.base), aside };
  }

  /** @param {number} n */
  nameOf(n) {
    const { shown, aside } = this.besideOf(this.controls[n]);
    const { place: digits } = this.session.base.decimals;
    const at = lengthText(shown, digits);
    const away = lengthText(Math.abs(aside), digits);
    const near = Math.abs(aside) < 0.5 * 10 ** -digits;
    const place = near ? `at ${at}` : `${away} ${aside > 0 ? "left" : "right"} of ${at}`;
    const count = this.controls.length;
    return `Point ${n + 1} of ${count} of the ${NAMES[this.which ?? "line"]}, ${place}`;
  }

  /** @param {number} n */
  select(n) {
    if (n !== this.selected) {
      this.draw(n);
    }
  }

  /**
   * @param {Control[]} controls
   * @param {number} selected
   * @param {string} what
   * @param {string | null} [merge]
   */
  change(controls, selected, what, merge = null) {
    this.held = null;
    const goesOn = merge !== null && this.steps[this.shown].merge === merge;
    this.steps.length = this.shown + 1;
    if (goesOn) {
      this.steps.pop();
    }
    this.steps.push({ controls, what, merge });
    this.shown = this.steps.length - 1;
    this.draw(selected);
    this.tellDraft();
  }

  tellDraft() {
    const [now, next] = [this.steps[this.shown], this.steps[this.shown + 1]];
    const show = (/** @type {number} */ n) => {
      this.shown = n;
      this.draw(Math.min(this.selected, this.controls.length - 1));
      this.tellDraft();
      this.editing.messages.say(`${this.nameOf(this.selected)}.`);
    };
    this.editing.drafting.set({
      finish: () => this.done(),
      ...(this.shown > 0 ? { undo: () => show(this.shown - 1), undoes: now.what } : {}),
      ...(next ? { redo: () => show(this.shown + 1), redoes: next.what } : {}),
    });
  }

  /**
   * @param {number} n
   * @param {Position} to
   * @param {boolean} done  whether it is let go there
   */
  drag(n, to, done) {
    const place = this.onPlane(this.bar.snap.checked ? snapped(this.session, this.view, to) : to);
    const controls = moved(this.path, this.steps[this.shown].controls, n, place);
    if (done) {
      this.change(controls, n, "moved a point");
    } else {
      this.held = controls;
      this.marks.slide(n, this.position(place), this.drawnLines());
    }
  }

  /**
   * @param {number} n
   * @param {number} east  metres
   * @param {number} north
   * @param {string} merge
   */
  step(n, east, north, merge) {
    const { x, y } = this.controls[n];
    const to = { x: x + east, y: y + north };
    this.change(moved(this.path, this.controls, n, to), n, "moved a point", merge);
    this.bringIntoView(n);
  }

  moveTyped() {
    const typed = this.selected >= 0 ? this.bar.typed() : null;
    if (!typed) {
      this.editing.messages.complain(`A point is a chainage and ${lengthName()} beside the line.`);
      return;
    }
    this.editing.messages.complain("");
    const { line } = this.session;
    const to = this.onPlane(line.beside(line.at(this.session.toBase(typed.shown)), typed.aside));
    this.change(moved(this.path, this.controls, this.selected, to), this.selected, "moved a point");
  }

  /** @param {Position} at  on the line */
  insert(at) {
    const { controls, n } = inserted(this.path, this.controls, this.onPlane(at));
    this.change(controls, n, "added a point");
    this.marks.focus(n);
  }

  /** @param {number} n */
  addAfter(n) {
    if (n < 0) {
      return;
    }
    const added = insertedAfter(this.path, this.controls, n);
    this.change(added.controls, added.n, "added a point");
    this.bringIntoView(added.n);
    this.marks.focus(added.n);
  }

  /** @param {number} n */
  drop(n) {
    const controls = n < 0 ? null : dropped(this.path, this.controls, n);
    if (controls) {
      const next = Math.min(n, controls.length - 1);
      this.change(controls, next, "deleted a point");
      this.marks.focus(next);
    }
  }

  /** @param {number} n */
  bringIntoView(n) {
    const [lon, lat] = this.position(this.controls[n]);
    const { map } = this.view;
    if (!map.getBounds().contains([lat, lon])) {
      map.panTo([lat, lon], { animate: false });
    }
  }
}
