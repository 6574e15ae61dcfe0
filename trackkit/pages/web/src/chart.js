// The lap laid out along its chainage: speed of the laps chosen, the time difference of two, what a
// crossing is worth, and the gates as posts through all of them.

import { drawAxis, drawDifference, drawQuality, drawSpeed } from "./chart_rows.js";
import { colours } from "./colours.js";
import { eachFrame, element, find } from "./elements.js";
import { speedText, lengthText, millis, signed } from "./figures.js";
import { GatePosts } from "./gate_posts.js";

/**
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
 * @typedef {object} Difference  the time that one lap is behind another
 * @property {[KeyedLap, KeyedLap]} laps
 * @property {(shown: number) => number} at  seconds
 *
 * @typedef {object} LapStyle
 * @property {"lap1" | "lap2" | "lap3" | "lap4" | "lap5" | "lap6"} name
 * @property {number[]} dash
 */

/** @type {LapStyle[]} */
const LAP_STYLES = [
  { name: "lap1", dash: [] },
  { name: "lap2", dash: [] },
  { name: "lap3", dash: [7, 4] },
  { name: "lap4", dash: [2, 3] },
  { name: "lap5", dash: [9, 3, 2, 3] },
  { name: "lap6", dash: [4, 4] },
];
const LEFT_PX = 46;
const RIGHT_PX = 8;
/** Less of the lap than this, metres, is not shown. */
const CLOSEST_M = 60;

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
    /** @type {Difference | null} */
    this.difference = null;
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
   * The laps drawn, the two compared first.
   *
   * @returns {DrawnLap[]}
   */
  laps() {
    const { chosen, compared } = this.session;
    const laps = new Map(this.session.timedLaps().map((lap) => [lap.key, lap]));
    const order = new Set([...(compared ?? []), ...chosen]);
    return [...order]
      .filter((key) => chosen.includes(key))
      .flatMap((key) => laps.get(key) ?? [])
      .slice(0, LAP_STYLES.length)
      .flatMap((lap, n) => {
        const trace = this.session.traceOf(lap);
        return trace ? [{ lap, trace, style: LAP_STYLES[n] }] : [];
      });
  }

  /** @returns {Difference | null} */
  compared() {
    const { session } = this;
    const laps = session.timedLaps();
    const [a, b] = (session.compared ?? []).map((key) => laps.find((lap) => lap.key === key));
    const first = a && session.traceOf(a);
    const second = b && session.traceOf(b);
    if (!first || !second) {
      return null;
    }
    return { laps: [a, b], at: (shown) => first.time(shown) - second.time(shown) };
  }

  arrange() {
    this.drawn = this.laps();
    this.difference = this.compared();
    this.slider.max = this.session.length.toFixed(0);
    // The two compared have their strokes beside their names already.
    const named = this.difference?.laps.map((lap) => lap.key) ?? [];
    const others = this.drawn.filter(({ lap }) => !named.includes(lap.key));
    this.key.replaceChildren(
      ...others.map(({ lap, style }) =>
        element(
          "li",
          {},
          element("span", { class: `stroke ${style.name}`, "aria-hidden": "true" }),
          this.session.lapName(lap),
        ),
      ),
    );
    this.draw();
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

  /** What is drawn, from top to bottom, each with its share of the height. */
  rows() {
    const parts = [
      ...(this.drawn.length ? [{ draw: drawSpeed, share: 4.2 }] : []),
      ...(this.difference ? [{ draw: drawDifference, share: 2.6 }] : []),
      ...(this.session.quality ? [{ draw: drawQuality, share: 2.4 }] : []),
    ];
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
    for (const { lap, trace } of this.drawn) {
      words.push(`lap ${lap.number}: ${speedText(trace.speed(shown))}`);
    }
    if (this.difference) {
      const [first, second] = this.difference.laps;
      const apart = signed(this.difference.at(shown));
      words.push(`lap ${first.number} behind lap ${second.number}: ${apart}\u00a0s`);
    }
    if (quality) {
      words.push(`a crossing ${millis(quality.at(base))}`);
    }
    return words;
  }
}
