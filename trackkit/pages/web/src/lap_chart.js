// Lap times over the session, driver by driver, or each lap's sectors stacked. The table beneath
// says the same in figures.

import { digitsOf } from "./chart_rows.js";
import { eachFrame, find } from "./elements.js";
import { duration } from "./figures.js";

/**
 * @import { KeyedLap, Session } from "./session.js"
 *
 * @typedef {{ low: number, high: number }} Bounds  seconds at the bottom and at the top
 */

const SVG = "http://www.w3.org/2000/svg";
const NARROWEST = 240;
const HEIGHT = 150;
const LEFT = 52;
const TOP = 8;
const BOTTOM = 18;
/** Between the laps of two drivers, in widths of a lap. */
const APART = 0.7;

export class LapChart {
  /** @param {Session} session */
  constructor(session) {
    this.session = session;
    this.node = find("#lap-chart", HTMLElement);
    this.stacked = find("#stack-sectors", HTMLInputElement);
    this.width = NARROWEST;
    this.stacked.addEventListener("change", () => this.draw());
    new ResizeObserver(eachFrame(() => this.draw())).observe(this.node);
    session.on(["state", "laps"], () => this.draw());
    this.draw();
  }

  draw() {
    const laps = this.session.timedLaps();
    this.node.hidden = laps.length < 2;
    if (this.node.hidden) {
      return;
    }
    this.width = Math.max(NARROWEST, this.node.clientWidth);
    const { width } = this;
    const stacked = this.stacked.checked;
    const drawing = svg("svg", {
      viewBox: `0 0 ${width} ${HEIGHT}`,
      role: "img",
      "aria-label": `Lap times of ${laps.length} laps in order; the table below has them`,
    });
    const bounds = stacked ? { low: 0, high: 1.04 * most(laps) } : boundsOf(laps);
    drawing.append(...levels(bounds, width));
    const places = this.places(laps);
    const size = (width - LEFT) / (places.length ? places[places.length - 1].at + 1 : 1);
    for (const { lap, at } of places) {
      const x = LEFT + (at + 0.5) * size;
      const group = svg("g", { class: lap.counts ? "lap" : "lap set-aside" });
      group.append(...(stacked ? this.stack(lap, x, size, bounds) : [this.dot(lap, x, bounds)]));
      const title = svg("title", {});
      title.textContent = `${this.session.lapName(lap)}: ${duration(lap.time_s, 3)}`;
      group.append(title);
      group.addEventListener("click", () =>
        this.session.showLap(lap.key, !this.session.chosen.includes(lap.key)),
      );
      drawing.append(group);
    }
    drawing.append(...this.names(places, size));
    find("figure", HTMLElement, this.node).replaceChildren(drawing);
  }

  /**
   * Laps in order, driver by driver.
   *
   * @param {KeyedLap[]} laps
   */
  places(laps) {
    /** @type {{ lap: KeyedLap, at: number }[]} */
    const places = [];
    let at = 0;
    for (const { recordings } of this.session.drivers) {
      const own = laps.filter((lap) => recordings.includes(lap.recording));
      own.forEach((lap, n) => places.push({ lap, at: at + n }));
      at += own.length ? own.length + APART : 0;
    }
    return places;
  }

  /**
   * @param {KeyedLap} lap
   * @param {number} x
   * @param {Bounds} bounds
   */
  dot(lap, x, bounds) {
    const { colour } = this.session.driverOf(lap.recording);
    const time = Number(lap.time_s);
    const y = heightOf(Math.min(time, bounds.high), bounds);
    const drawn = this.session.chosen.includes(lap.key) ? " drawn" : "";
    const kind = `${colour}${drawn}`;
    if (time > bounds.high) {
      // Too slow to be shown at its place.
      return svg("path", { class: kind, d: `M${x - 4} ${y + 6}l4 -6 4 6z` });
    }
    return svg("circle", { class: kind, cx: x, cy: y, r: drawn ? 5 : 3.5 });
  }

  /**
   * A lap's sectors, the first at the bottom, in shades of its driver's colour.
   *
   * @param {KeyedLap} lap
   * @param {number} x
   * @param {number} size
   * @param {Bounds} bounds
   */
  stack(lap, x, size, bounds) {
    const { colour } = this.session.driverOf(lap.recording);
    let begin = 0;
    const width = Math.max(0.8 * size, 1);
    return lap.sectors.flatMap(({ time_s: time }, n) => {
      if (time === null) {
        return [];
      }
      const [top, bottom] = [heightOf(begin + time, bounds), heightOf(begin, bounds)];
      begin += time;
      const kind = `${colour} shade${(n % 3) + 1}`;
      return [svg("rect", { class: kind, x: x - width / 2, y: top, width, height: bottom - top })];
    });
  }

  /**
   * Drivers' names below their laps.
   *
   * @param {{ lap: KeyedLap, at: number }[]} places
   * @param {number} size
   */
  names(places, size) {
    const { drivers } = this.session;
    if (drivers.length < 2) {
      return [];
    }
    return drivers.flatMap(({ name, recordings }) => {
      const own = places.filter(({ lap }) => recordings.includes(lap.recording));
      if (!own.length) {
        return [];
      }
      const middle = (own[0].at + own[own.length - 1].at + 1) / 2;
      const text = svg("text", { x: LEFT + middle * size, y: HEIGHT - 4, "text-anchor": "middle" });
      const room = Math.max(1, Math.floor((own.length * size) / 7));
      text.textContent =
        name.length > room ? `${name.slice(0, Math.max(room - 1, 1))}\u2026` : name;
      return [text];
    });
  }
}

/**
 * From a little below the fastest lap to a little above all but the slowest, seconds.
 *
 * @param {KeyedLap[]} laps
 * @returns {Bounds}
 */
export function boundsOf(laps) {
  const times = laps.map((lap) => Number(lap.time_s)).sort((a, b) => a - b);
  const middle = times[Math.floor(times.length / 2)];
  const high = Math.min(times[times.length - 1], 1.12 * middle);
  const room = Math.max(0.05 * (high - times[0]), 0.05);
  return { low: times[0] - room, high: high + room };
}

/** @param {KeyedLap[]} laps */
function most(laps) {
  return Math.max(...laps.map((lap) => Number(lap.time_s)));
}

/**
 * @param {number} time
 * @param {Bounds} bounds
 */
function heightOf(time, { low, high }) {
  return HEIGHT - BOTTOM - ((time - low) / (high - low)) * (HEIGHT - BOTTOM - TOP);
}

/** Between two levels, seconds; above 10 they divide a minute, or are made of minutes. */
const STEPS = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800];
const LONGEST_STEP = 3600;
const MOST_LEVELS = 5;

/**
 * Round times between two others, seconds: so many at most, and the step from one to the next.
 *
 * @param {Bounds} bounds
 */
export function roundTimes({ low, high }) {
  const step = STEPS.find((wide) => high - low < wide * MOST_LEVELS) ?? LONGEST_STEP;
  const [first, last] = [Math.ceil(low / step - 1e-9), Math.floor(high / step + 1e-9)];
  const times = Array.from({ length: last - first + 1 }, (_, n) => (first + n) * step);
  return { step, times };
}

/**
 * @param {Bounds} bounds
 * @param {number} width
 */
function levels(bounds, width) {
  const { step, times } = roundTimes(bounds);
  return times.flatMap((time) => {
    const y = heightOf(time, bounds);
    const text = svg("text", { x: LEFT - 5, y: y + 4, "text-anchor": "end" });
    text.textContent = duration(time, digitsOf(step));
    return [svg("path", { class: "level", d: `M${LEFT} ${y}H${width}` }), text];
  });
}

/**
 * @param {string} tag
 * @param {Record<string, string | number>} attributes
 */
function svg(tag, attributes) {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) {
    node.setAttribute(name, String(value));
  }
  return node;
}
