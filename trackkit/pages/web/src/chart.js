// The lap laid out along its chainage: speed of the laps chosen, the time difference of two, what a
// crossing is worth, and the gates as posts through all of them.

import {
  drawAcross,
  drawAlong,
  drawAxis,
  drawDifference,
  drawOffset,
  drawQuality,
  drawSpeed,
} from "./chart_rows.js";
import { colours } from "./colours.js";
import { strokeOf } from "./drivers.js";
import { eachFrame, element, find } from "./elements.js";
import { speedText, lengthText, millis, signed } from "./figures.js";
import { GatePosts } from "./gate_posts.js";

/**
 * @import { Pen, Row } from "./chart_rows.js"
 * @import { LapStyle } from "./drivers.js"
 * @import { Hooks } from "./page.js"
 * @import { KeyedLap, Session } from "./session.js"
 * @import { Trace } from "./traces.js"
 *
 * @typedef {"earlier" | "later" | "closer" | "wider"} Way
 *
 * @typedef {object} DrawnLap
 * @property {KeyedLap} lap
 * @property {Trace} trace
 * @property {LapStyle} style
 *
 * @typedef {object} Difference  the time that a lap is behind the reference lap
 * @property {KeyedLap} lap
 * @property {LapStyle} style
 * @property {(shown: number) => number} at  seconds
 * @property {((shown: number) => number) | null} sigma  one sigma of it, seconds
 *
 * @typedef {"speed" | "difference" | "along" | "across" | "offset" | "quality"} RowName
 */

/** @type {Record<RowName, { draw: (pen: Pen, row: Row) => void, share: number }>} */
const ROWS = {
  speed: { draw: drawSpeed, share: 4.2 },
  difference: { draw: drawDifference, share: 3 },
  along: { draw: drawAlong, share: 3 },
  across: { draw: drawAcross, share: 3 },
  offset: { draw: drawOffset, share: 3 },
  quality: { draw: drawQuality, share: 2.4 },
};
const LEFT_PX = 46;
const RIGHT_PX = 8;
/** Less of the lap than this, metres, is not shown. */
const CLOSEST_M = 60;
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
    /** First shown chainage in view. */
    this.from = 0;
    /** How much of the lap is in view, metres. */
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
    /** @type {Set<RowName>} rows that someone wants to see */
    this.wanted = new Set(session.comparison ? ["speed", "difference"] : ["speed", "quality"]);
    /** @type {{ text: string, top: number, left: number }[]} of rows, where they are, pixels */
    this.titles = [];
    this.canvas = find("canvas", HTMLCanvasElement, node);
    this.mark = find(".mark", HTMLElement, node);
    this.readout = find("#readout", HTMLElement);
    this.slider = find("#along", HTMLInputElement);
    this.key = find("#lap-key", HTMLElement);
    this.posts = new GatePosts(this, find(".posts", HTMLElement, node), hooks);
    this.listen();
    this.arrange();
  }

  listen() {
    const { session, slider } = this;
    session.on(["state", "laps"], () => {
      if (!session.sliding) {
        this.arrange();
      }
    });
    session.on(["sliding"], () => this.follow());
    session.on(["selected"], () => this.posts.place());
    session.on(["place"], () => this.drawPlace());
    session.on(["view"], () => this.turn());
    this.listenToRows();
    new ResizeObserver(eachFrame(() => this.draw())).observe(this.node);
    for (const query of ["(prefers-color-scheme: dark)", "print"]) {
      window.matchMedia(query).addEventListener("change", () => this.draw());
    }
    this.node.addEventListener("pointermove", (event) => {
      if (!session.sliding) {
        session.point(this.baseAt(event.clientX));
      }
    });
    this.node.addEventListener("pointerleave", () => {
      if (!session.sliding) {
        session.point(null);
      }
    });
    for (const kind of ["input", "focus"]) {
      slider.addEventListener(kind, () => session.point(this.base(slider.valueAsNumber)));
    }
    for (const button of document.querySelectorAll("[data-chart]")) {
      const way = /** @type {Way} */ (button.getAttribute("data-chart"));
      button.addEventListener("click", () => this.zoom(way));
    }
  }

  /** Boxes choose which rows are drawn. */
  listenToRows() {
    for (const box of document.querySelectorAll("[data-row]")) {
      if (box instanceof HTMLInputElement) {
        const name = /** @type {RowName} */ (box.dataset.row);
        box.checked = this.wanted.has(name);
        box.addEventListener("change", () => {
          if (box.checked) {
            this.wanted.add(name);
          } else {
            this.wanted.delete(name);
          }
          this.draw();
        });
      }
    }
  }

  /** Show a piece of the lap, and a little of what is before and after it. */
  turn() {
    const [from, to] = (this.session.viewed ?? [0, this.session.length]).map((at) =>
      this.shown(at),
    );
    const { length } = this.session;
    const size = to > from ? to - from : to - from + length;
    this.span = Math.min(length, Math.max(1.6 * size, Math.min(CLOSEST_M, length)));
    this.from = Math.min(Math.max(from + size / 2 - this.span / 2, 0), length - this.span);
    this.arrange();
  }

  /** While the finish gate is dragged the chart stays where it is under the hand. */
  follow() {
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
   * Where a shown chainage is, pixels.
   *
   * @param {number} shown
   */
  x(shown) {
    return this.left + ((shown - this.from) / this.span) * (this.right - this.left);
  }

  /** @param {number} clientX */
  baseAt(clientX) {
    const x = clientX - this.node.getBoundingClientRect().left;
    const shown = this.from + (x - this.left) * this.metresPerPixel();
    return this.base(Math.min(Math.max(shown, 0), this.session.length - 1e-6));
  }

  metresPerPixel() {
    return this.span / (this.right - this.left);
  }

  /** @param {Way} way */
  zoom(way) {
    const { length } = this.session;
    const centre = {
      earlier: this.from + this.span / 4,
      later: this.from + (3 * this.span) / 4,
      wider: this.from + this.span / 2,
      closer: this.focus(),
    }[way];
    if (way === "closer") {
      this.span = Math.max(Math.min(CLOSEST_M, length), this.span / 2);
    }
    if (way === "wider") {
      this.span = Math.min(length, this.span * 2);
    }
    this.from = Math.min(Math.max(centre - this.span / 2, 0), length - this.span);
    this.arrange();
  }

  /** The shown chainage of most interest: pointed at, of the gate selected, or the middle. */
  focus() {
    const { session } = this;
    if (session.place !== null) {
      return this.shown(session.place);
    }
    return session.gate(session.selected)?.chainage_m ?? this.from + this.span / 2;
  }

  /**
   * The laps drawn, the reference first.
   *
   * @returns {DrawnLap[]}
   */
  laps() {
    const { session } = this;
    const laps = new Map(session.timedLaps().map((lap) => [lap.key, lap]));
    const { reference, chosen } = session;
    const first = chosen.filter((key) => key === reference);
    return [...first, ...chosen.filter((key) => key !== reference)]
      .flatMap((key) => laps.get(key) ?? [])
      .flatMap((lap) => {
        const trace = session.traceOf(lap);
        return trace ? [{ lap, trace, style: session.styleOf(lap.key) }] : [];
      });
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
    this.drawn = this.laps();
    this.differences = this.compared();
    this.slider.max = this.session.length.toFixed(0);
    this.key.replaceChildren(...this.keyRows());
    this.draw();
  }

  /** Names of the laps drawn, or of their drivers where they are many. */
  keyRows() {
    const { session } = this;
    if (this.drawn.length <= MOST_NAMED) {
      return this.drawn.map(({ lap, style }) => {
        const role = lap.key === session.reference && this.differences.length ? ", reference" : "";
        return element("li", {}, strokeOf(style), session.lapName(lap) + role);
      });
    }
    return session.drivers.flatMap(({ name, recordings, colour, dash }) => {
      const count = this.drawn.filter(({ lap }) => recordings.includes(lap.recording)).length;
      const laps = `${name}: ${count} lap${count === 1 ? "" : "s"}`;
      return count ? [element("li", {}, strokeOf({ colour, dash, width: 2 }), laps)] : [];
    });
  }

  draw() {
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
    this.rows().forEach(({ draw, ...row }) => draw(pen, row));
    find(".titles", HTMLElement, this.node).replaceChildren(
      ...this.titles.map(({ text, top, left }) => {
        const title = element("div", { class: "row-title" }, text);
        title.style.transform = `translate(${left.toFixed(1)}px, ${top.toFixed(1)}px)`;
        return title;
      }),
    );
    this.drawPlace();
  }

  /** What there is to draw. */
  available() {
    return {
      speed: this.drawn.length > 0,
      difference: this.differences.length > 0,
      along: this.drawn.length > 0,
      across: this.drawn.length > 0,
      offset: this.drawn.length > 0,
      quality: this.session.quality !== null,
    };
  }

  /** What is drawn, from top to bottom, each with its share of the height. */
  rows() {
    const there = this.available();
    const names = /** @type {RowName[]} */ (Object.keys(ROWS)).filter((name) => there[name]);
    const wanted = names.filter((name) => this.wanted.has(name));
    const parts = (wanted.length ? wanted : names.slice(-1)).map((name) => ROWS[name]);
    const whole = parts.reduce((sum, { share }) => sum + share, 0);
    const height = this.height - 24 - 15 - this.posts.height;
    let top = this.posts.height;
    return parts.map(({ draw, share }) => {
      const size = (height * share) / whole;
      const row = { draw, title: top + 2, top: top + 20, bottom: top + size - 2 };
      top += size;
      return row;
    });
  }

  drawPlace() {
    const { place } = this.session;
    if (place === null) {
      this.mark.hidden = true;
      this.readout.textContent = this.readout.dataset.idle ?? "";
      return;
    }
    const shown = this.shown(place);
    this.mark.hidden = shown < this.from || shown > this.from + this.span;
    this.mark.style.transform = `translateX(${this.x(shown).toFixed(1)}px)`;
    const words = this.wordsAt(place, shown);
    this.readout.textContent = words.join(" \u00b7 ");
    if (document.activeElement !== this.slider) {
      this.slider.value = shown.toFixed(0);
    }
    this.slider.setAttribute("aria-valuetext", words.join(", "));
  }

  /**
   * What there is to read at a place.
   *
   * @param {number} base
   * @param {number} shown
   */
  wordsAt(base, shown) {
    const { line, quality } = this.session;
    const words = [lengthText(shown, 0)];
    const corner = this.session.corners.find(
      (bend) => line.between(bend.entry_m, base) >= 0 && line.between(base, bend.exit_m) >= 0,
    );
    if (corner) {
      words.push(`corner ${corner.number}${corner.name ? ` (${corner.name})` : ""}`);
    }
    for (const { lap, trace } of this.drawn.slice(0, MOST_NAMED)) {
      words.push(`${this.session.lapName(lap)}: ${speedText(trace.speed(shown))}`);
    }
    for (const { lap, at, sigma } of this.differences.slice(0, MOST_NAMED)) {
      const known = sigma ? ` ${millis(sigma(shown))}` : "";
      words.push(`${this.session.lapName(lap)} behind: ${signed(at(shown))}\u00a0s${known}`);
    }
    if (quality) {
      words.push(`a crossing ${millis(quality.at(base))}`);
    }
    return words;
  }
}
