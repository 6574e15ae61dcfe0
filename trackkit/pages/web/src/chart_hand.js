// The hand on the chart: a pointer that passes reads, a click or tap pins, a finger moves the
// cursor, a drag of the mouse chooses a range, wheel and two fingers zoom.

import { element } from "./elements.js";

/** @import { ChartView } from "./chart.js" */

/** A hand that only clicks shakes by a few pixels. */
const SHAKE_PX = 5;
const WHEEL_PER_PX = 0.002;
/** What a line of a wheel that turns by lines counts, pixels. */
const LINE_PX = 16;

export class ChartHand {
  /** @param {ChartView} chart */
  constructor(chart) {
    this.chart = chart;
    /** @type {Map<number, number>} where pointers that are down are, by their ids */
    this.down = new Map();
    /** @type {number | null} where a range begins, or a click */
    this.start = null;
    this.ranging = false;
    this.range = element("div", { class: "range", "aria-hidden": "true", hidden: true });
    const { node } = chart;
    node.append(this.range);
    node.addEventListener("pointerdown", (event) => this.press(event));
    node.addEventListener("pointermove", (event) => this.move(event));
    node.addEventListener("pointerup", (event) => this.lift(event, true));
    node.addEventListener("pointercancel", (event) => this.lift(event, false));
    node.addEventListener("wheel", (event) => this.turn(event), { passive: false });
  }

  /** Whether a pointer is down. */
  get holds() {
    return this.down.size > 0;
  }

  /** @param {PointerEvent} event */
  press(event) {
    if (event.button || onPost(event)) {
      return;
    }
    this.chart.node.setPointerCapture(event.pointerId);
    this.down.set(event.pointerId, event.clientX);
    this.ranging = false;
    this.range.hidden = true;
    if (this.down.size > 1) {
      this.start = null;
    } else {
      this.start = event.clientX;
    }
  }

  /** @param {PointerEvent} event */
  move(event) {
    const { chart, down, start } = this;
    const { session } = chart;
    if (session.sliding) {
      return;
    }
    const before = down.get(event.pointerId);
    if (before === undefined) {
      if (event.pointerType !== "touch") {
        session.cursor.pass(chart.baseAt(event.clientX));
      }
      return;
    }
    if (down.size === 2) {
      this.pinch(event.pointerId, before, event.clientX);
    }
    down.set(event.pointerId, event.clientX);
    if (down.size > 1 || start === null) {
      return;
    }
    if (event.pointerType === "touch") {
      this.read(event.clientX);
      return;
    }
    this.ranging ||= Math.abs(event.clientX - start) > SHAKE_PX;
    if (this.ranging) {
      const left = chart.node.getBoundingClientRect().left;
      const [from, to] = [start, event.clientX].sort((a, b) => a - b);
      this.range.hidden = false;
      this.range.style.left = `${from - left}px`;
      this.range.style.width = `${to - from}px`;
    }
  }

  /**
   * @param {PointerEvent} event
   * @param {boolean} done  false where the pointer was taken away
   */
  lift(event, done) {
    const { chart, start, ranging } = this;
    if (!this.down.delete(event.pointerId)) {
      return;
    }
    this.range.hidden = true;
    this.start = null;
    this.ranging = false;
    if (!done || start === null) {
      return;
    }
    if (ranging) {
      const [from, to] = [start, event.clientX].map((x) => chart.under(x));
      chart.show((from + to) / 2, Math.abs(to - from));
      return;
    }
    const { cursor } = chart.session;
    const again = event.pointerType !== "touch" && cursor.pinned && this.isHere(event.clientX);
    if (again) {
      cursor.pin(false);
    } else {
      this.read(event.clientX);
    }
  }

  /** @param {number} clientX */
  isHere(clientX) {
    const { chart } = this;
    const left = chart.node.getBoundingClientRect().left;
    return Math.abs(chart.x(chart.markAt()) + left - clientX) <= SHAKE_PX;
  }

  /**
   * Pin the cursor.
   *
   * @param {number} clientX
   */
  read(clientX) {
    const { chart } = this;
    const { cursor } = chart.session;
    cursor.playing = false;
    cursor.pinned = true;
    if (cursor.by === "time") {
      cursor.moveTo(chart.under(clientX));
    } else {
      cursor.move(chart.baseAt(clientX));
    }
    cursor.pin(true);
  }

  /**
   * What was under two fingers stays under them.
   *
   * @param {number} finger  the one that moves
   * @param {number} before
   * @param {number} now
   */
  pinch(finger, before, now) {
    const [other] = [...this.down].filter(([id]) => id !== finger).map(([, x]) => x);
    const apart = Math.abs(now - other);
    if (apart < 8 || Math.abs(before - other) < 8) {
      return;
    }
    this.zoom((before + other) / 2, Math.abs(before - other) / apart, (now - before) / 2);
  }

  /** @param {WheelEvent} event */
  turn(event) {
    const { chart } = this;
    const scale = event.deltaMode === WheelEvent.DOM_DELTA_LINE ? LINE_PX : 1;
    const [right, down] = [event.deltaX * scale, event.deltaY * scale];
    if (event.shiftKey || Math.abs(right) > Math.abs(down)) {
      event.preventDefault();
      this.zoom(event.clientX, 1, -(Math.abs(right) > Math.abs(down) ? right : down));
      return;
    }
    // With the whole lap in view the page scrolls on.
    if (down > 0 && chart.span >= chart.extent && !event.ctrlKey) {
      return;
    }
    event.preventDefault();
    this.zoom(event.clientX, Math.exp(down * WHEEL_PER_PX * (event.ctrlKey ? 4 : 1)), 0);
  }

  /**
   * @param {number} clientX  what is here stays here
   * @param {number} times  as much of the lap is shown
   * @param {number} right  pixels that it is pulled
   */
  zoom(clientX, times, right) {
    const { chart } = this;
    const x = clientX - chart.node.getBoundingClientRect().left;
    const here = chart.from + (x - chart.left) * chart.perPixel();
    const share = (here - chart.from) / chart.span;
    const span = Math.min(chart.span * times, chart.extent);
    const from = here - share * span - (right / (chart.right - chart.left)) * span;
    chart.show(from + span / 2, span);
  }
}

/** @param {PointerEvent} event */
function onPost({ target }) {
  return target instanceof Element && target.closest(".post") !== null;
}
