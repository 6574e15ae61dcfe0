// The lap laid out along its chainage: speed of the laps chosen, the time difference of two, what a
// crossing is worth, and the gates as posts through all of them. It is laid out by distance, or by
// the time since laps began; places by time are those of the first lap drawn.

import { drawAxis } from "./chart_axis.js";
import { ChartHand } from "./chart_hand.js";
import { colours } from "./colours.js";
import { strokeOf } from "./drivers.js";
import { eachFrame, element, find } from "./elements.js";
import { GatePosts } from "./gate_posts.js";
import { RowChoice } from "./row_choice.js";

/**
 * @import { LapStyle } from "./drivers.js"
 * @import { DrawnLap } from "./drawn_laps.js"
 * @import { Hooks } from "./page.js"
 * @import { KeyedLap, Session } from "./session.js"
 *
 * @typedef {"earlier" | "later" | "closer" | "wider" | "whole"} Way
 *
 * @typedef {object} Difference  the time that a lap is behind the reference lap
 * @property {KeyedLap} lap
 * @property {LapStyle} style
 * @property {(shown: number) => number} at  seconds
 * @property {((shown: number) => number) | null} sigma  one sigma of it, seconds
 * */

const LEFT_PX = 46;
const RIGHT_PX = 8;
/** Less of the lap than this, metres or seconds, is not shown. */
const CLOSEST = { distance: 60, time: 2 };
/** More laps than this are named by their drivers alone. */
const MOST_NAMED = 8;

export class ChartView {
  /**
   * @param {Session} session
   * @param {HTMLElement} node
   * @param {Hooks | null} hooks
   */
  constructor(session, node, hooks) {
    this.session = session;
    this.node = node;
    /** Where the view begins: a shown chainage, or seconds. */
    this.from = 0;
    /** How much of the lap is in view, metres or seconds. */
    this.span = session.length;
    /** @type {number | null} where chainages began when a gate was taken hold of */
    this.frozen = null;
    this.width = 0;
    this.height = 0;
    this.left = LEFT_PX;
    /** @type {DrawnLap[]} */
    this.drawn = [];
    /** @type {Difference[]} */
    this.differences = [];
    /** @type {{ text: string, top: number, left: number }[]} of rows, where they are, pixels */
    this.titles = [];
    this.canvas = find("canvas", HTMLCanvasElement, node);
    this.mark = find(".mark", HTMLElement, node);
    this.key = find("#lap-key", HTMLElement);
    this.posts = new GatePosts(this, find(".posts", HTMLElement, node), hooks);
    this.hand = new ChartHand(this);
    this.rows = new RowChoice(this);
    this.drawSoon = eachFrame(() => this.draw());
    this.listen();
    this.arrange();
  }

  listen() {
    const { session } = this;
    session.on(["state", "laps"], () => {
      if (!session.sliding) {
        this.arrange();
      }
    });
    session.on(["sliding"], () => this.hold());
    session.on(["selected"], () => this.posts.place());
    session.on(["place"], () => this.follow());
    session.on(["view"], () => this.turn());
    new ResizeObserver(this.drawSoon).observe(this.node);
    for (const query of ["(prefers-color-scheme: dark)", "print"]) {
      window.matchMedia(query).addEventListener("change", () => this.draw());
    }
    for (const button of document.querySelectorAll("[data-chart]")) {
      const way = /** @type {Way} */ (button.getAttribute("data-chart"));
      button.addEventListener("click", () => this.zoom(way));
    }
  }

  /** Show a piece of the lap, and a little of what is before and after it. */
  turn() {
    const { length, viewed } = this.session;
    const [from, to] = (viewed ?? [0, length]).map((base) => this.shown(base));
    const begin = this.atOf(from);
    const end = to > from ? this.atOf(to) : this.extent;
    this.show((begin + end) / 2, 1.6 * (end - begin));
  }

  /**
   * Turn to a part of the lap.
   *
   * @param {number} middle  of it, metres or seconds
   * @param {number} span
   */
  show(middle, span) {
    const { extent } = this;
    const least = Math.min(CLOSEST[this.session.cursor.by], extent);
    this.span = Math.min(extent, Math.max(span, least));
    this.from = Math.min(Math.max(middle - this.span / 2, 0), extent - this.span);
    this.drawSoon();
  }

  /** How much there is to show, metres or seconds. */
  get extent() {
    const { cursor, length } = this.session;
    return cursor.by === "time" && cursor.lasts > 0 ? cursor.lasts : length;
  }

  /**
   * Where a shown chainage is along the axis: itself, or the seconds after which the first lap was
   * there.
   *
   * @param {number} shown
   */
  atOf(shown) {
    const { cursor } = this.session;
    if (cursor.by === "distance") {
      return shown;
    }
    const within = Math.min(shown, this.session.length - 1e-3);
    return cursor.lead?.trace.time(within) ?? NaN;
  }

  /**
   * The shown chainage at a place of the axis; by time that of the first lap.
   *
   * @param {number} at
   */
  placeOf(at) {
    const { by, lead } = this.session.cursor;
    return by === "distance" ? at : (lead?.clock.at(at) ?? NaN);
  }

  /** While the finish gate is dragged the chart stays where it is under the hand. */
  hold() {
    if (this.session.sliding) {
      this.frozen ??= this.session.datum;
      this.posts.place();
    } else {
      this.frozen = null;
      this.arrange();
    }
  }

  /** Where chainages of the axis begin. */
  get datum() {
    return this.frozen ?? this.session.datum;
  }

  /** @param {number} base */
  shown(base) {
    return this.session.line.wrap(base - this.datum);
  }

  /** @param {number} shown */
  base(shown) {
    return this.session.line.wrap(shown + this.datum);
  }

  /** Right end of the axis, pixels. */
  get right() {
    return this.width - RIGHT_PX;
  }

  /**
   * Where a place of the axis is, pixels.
   *
   * @param {number} at  metres or seconds
   */
  x(at) {
    return this.left + ((at - this.from) / this.span) * (this.right - this.left);
  }

  /**
   * The place of the axis under the pointer, metres or seconds.
   *
   * @param {number} clientX
   */
  under(clientX) {
    const x = clientX - this.node.getBoundingClientRect().left;
    const at = this.from + (x - this.left) * this.perPixel();
    return Math.min(Math.max(at, 0), this.extent);
  }

  /** @param {number} clientX */
  baseAt(clientX) {
    const shown = this.placeOf(this.under(clientX));
    return this.base(Math.min(Math.max(shown, 0), this.session.length - 1e-3));
  }

  /**
   * Metres along the line from one place of the screen to another.
   *
   * @param {number} from
   * @param {number} to
   */
  way(from, to) {
    if (this.session.cursor.by === "distance") {
      return (to - from) * this.perPixel();
    }
    const [begin, end] = [from, to].map((x) => this.placeOf(this.under(x)));
    return end - begin || 0;
  }

  /** Metres, or seconds, a pixel. */
  perPixel() {
    return this.span / (this.right - this.left);
  }

  /** @param {Way} way */
  zoom(way) {
    const { from, span } = this;
    /** @type {Record<Way, [number, number]>} */
    const views = {
      earlier: [from + span / 4, span],
      later: [from + (3 * span) / 4, span],
      wider: [from + span / 2, 2 * span],
      closer: [this.focus(), span / 2],
      whole: [0, Infinity],
    };
    this.show(...views[way]);
  }

  /** What is of most interest: the cursor, the gate selected, or the middle. */
  focus() {
    const { session } = this;
    if (session.place !== null) {
      return this.markAt();
    }
    const gate = session.gate(session.selected);
    return gate ? this.atOf(gate.chainage_m) : this.from + this.span / 2;
  }

  /** Where the cursor is along the axis, metres or seconds. */
  markAt() {
    const { cursor, place } = this.session;
    return cursor.by === "time" ? cursor.time : this.shown(place ?? 0);
  }

  /** @returns {Difference[]} */
  compared() {
    const { session } = this;
    const [, reference] = session.comparedLaps();
    const other = reference && session.traceOf(reference);
    if (!other) {
      return [];
    }
    return this.drawn
      .filter(({ lap }) => lap.key !== reference.key)
      .map(({ lap, trace, style }) => ({
        lap,
        style,
        at: (shown) => trace.time(shown) - other.time(shown),
        sigma: session.pair(lap, reference)?.band(trace, other) ?? null,
      }));
  }

  arrange() {
    this.drawn = this.session.drawn.all;
    this.differences = this.compared();
    if (!(this.from + this.span <= this.extent)) {
      this.from = 0;
      this.span = this.extent;
    }
    this.key.replaceChildren(...this.keyRows());
    this.draw();
  }

  /** Names of the drivers of laps that are many. */
  keyRows() {
    const { session } = this;
    if (this.drawn.length <= MOST_NAMED) {
      return []; // The readings name each.
    }
    return session.drivers.flatMap(({ name, recordings, colour, dash }) => {
      const count = this.drawn.filter(({ lap }) => recordings.includes(lap.recording)).length;
      const laps = `${name}: ${count} lap${count === 1 ? "" : "s"}`;
      return count ? [element("li", {}, strokeOf({ colour, dash, width: 2 }), laps)] : [];
    });
  }

  draw() {
    this.node.style.setProperty("--least", `${this.rows.least}px`);
    const box = this.node.getBoundingClientRect();
    this.width = box.width;
    this.height = box.height;
    const context = this.canvas.getContext("2d");
    if (this.width < 60 || !context) {
      return;
    }
    const dots = Math.min(2, Math.max(1, window.devicePixelRatio || 1));
    this.canvas.width = dots * box.width;
    this.canvas.height = dots * box.height;
    context.setTransform(dots, 0, 0, dots, 0, 0);
    context.font = "12px system-ui, sans-serif";
    this.posts.place();
    const pen = { chart: this, context, named: colours(), top: this.posts.height };
    drawAxis(pen);
    this.titles = [];
    this.rows.laidOut().forEach(({ draw, ...row }) => draw(pen, row));
    find(".titles", HTMLElement, this.node).replaceChildren(
      ...this.titles.map(({ text, top, left }) => {
        const title = element("div", { class: "row-title" }, text);
        title.style.transform = `translate(${left.toFixed(1)}px, ${top.toFixed(1)}px)`;
        return title;
      }),
    );
    this.drawPlace();
  }

  drawPlace() {
    const { place, cursor } = this.session;
    const at = this.markAt();
    this.mark.hidden = place === null || !(at >= this.from && at <= this.from + this.span);
    this.mark.classList.toggle("pinned", cursor.pinned);
    this.mark.style.transform = `translateX(${this.x(at).toFixed(1)}px)`;
  }

  /** Have the cursor in view, where it was moved by something else than the hand on the chart. */
  follow() {
    const at = this.markAt();
    const out = at < this.from || at > this.from + this.span;
    if (this.session.cursor.pinned && out && !this.hand.holds) {
      this.show(at, this.span);
    }
    this.drawPlace();
  }
}
