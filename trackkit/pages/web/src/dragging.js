// A gate dragged on the map or in the chart, an end dragged on the map.

import { focusGate } from "./gate_marks.js";

/**
 * @import { ChartView } from "./chart.js"
 * @import { Position } from "./line.js"
 * @import { MapView } from "./map.js"
 * @import { GateHand } from "./page.js"
 * @import { Session } from "./session.js"
 *
 * @typedef {object} Views
 * @property {MapView} map
 * @property {ChartView} chart
 *
 * @typedef {(pointer: PointerEvent | null, done: boolean) => void} Move
 *   null where the pointer was taken away: what is held stays where it was last
 */

/** A finger that only taps shakes by a few pixels. */
const TAP_PX = 4;

export class Dragging {
  /**
   * @param {Session} session
   * @param {GateHand} editing
   * @param {() => Views} views  asked for only once something is dragged
   */
  constructor(session, editing, views) {
    this.session = session;
    this.editing = editing;
    this.views = views;
    this.count = 0;
  }

  /** @param {string} what  a key that no other drag has */
  key(what) {
    this.count += 1;
    return `${what}-${this.count}`;
  }

  /**
   * Let a gate be dragged along the track on the map.
   *
   * @param {string} id
   * @param {HTMLElement[]} elements
   */
  gate(id, elements) {
    elements.forEach((element) => this.drag(element, (event) => this.holdGate(id, event)));
  }

  /**
   * @param {string} id
   * @param {PointerEvent} event
   * @returns {Move}
   */
  holdGate(id, event) {
    const { session, editing } = this;
    const start = this.hold(id);
    const { map, gates } = this.views().map;
    const middle = map.latLngToContainerPoint(
      /** @type {L.LatLng} */ (gates.marks.get(id)?.middle),
    );
    const frame = map.getContainer().getBoundingClientRect();
    const offset = {
      x: event.clientX - frame.left - middle.x,
      y: event.clientY - frame.top - middle.y,
    };
    const merge = this.key("drag");
    let at = start.base;
    /** @type {[number, number] | null} */
    let last = null;
    return (pointer, done) => {
      if (pointer) {
        const [lon, lat] = this.position(pointer, offset);
        const x = session.line.east(lon);
        const y = session.line.north(lat);
        const way = last ? Math.hypot(x - last[0], y - last[1]) : 30;
        last = [x, y];
        at = session.line.nearest(x, y, at, Math.max(25, 2 * way)).chainage;
      }
      if (!done) {
        session.point(at);
      }
      void editing.slideTo(id, at, start.width, merge, done);
    };
  }

  /**
   * Let a gate's post be dragged along the chart.
   *
   * @param {string} id
   * @param {HTMLElement} element
   */
  post(id, element) {
    const { session, editing } = this;
    this.drag(element, (event) => {
      const start = this.hold(id);
      const merge = this.key("drag");
      let at = start.base;
      return (pointer, done) => {
        if (pointer) {
          const { chart } = this.views();
          at = session.line.wrap(start.base + chart.way(event.clientX, pointer.clientX));
        }
        if (!done) {
          session.point(at);
        }
        void editing.slideTo(id, at, start.width, merge, done);
      };
    });
  }

  /**
   * Let an end of a gate be dragged to make it wider or narrower.
   *
   * @param {string} id
   * @param {"left" | "right"} side
   * @param {HTMLElement} element
   */
  end(id, side, element) {
    const { session, editing } = this;
    this.drag(element, () => {
      const start = this.place(id);
      const merge = this.key("width");
      const place = session.line.at(start.base);
      let { width } = start;
      return (pointer, done) => {
        if (pointer) {
          const aside = session.line.aside(place, this.position(pointer, { x: 0, y: 0 }));
          width = 2 * (side === "left" ? aside : -aside);
        }
        void editing.stretchTo(id, start.base, width, merge, done);
      };
    });
  }

  /**
   * Take hold of a gate, and say where it is.
   *
   * @param {string} id
   */
  hold(id) {
    this.session.select(id);
    focusGate(id);
    return this.place(id);
  }

  /** @param {string} id */
  place(id) {
    const gate = this.session.gate(id);
    if (!gate) {
      throw new RangeError(`there is no gate ${id}`);
    }
    return this.session.gatePlace(gate);
  }

  /**
   * Where the pointer is on the ground.
   *
   * @param {PointerEvent} pointer
   * @param {{ x: number, y: number }} offset  of the pointer from what is dragged, pixels
   * @returns {Position}
   */
  position(pointer, offset) {
    const { map } = this.views().map;
    const frame = map.getContainer().getBoundingClientRect();
    const at = map.containerPointToLatLng([
      pointer.clientX - frame.left - offset.x,
      pointer.clientY - frame.top - offset.y,
    ]);
    return [at.lng, at.lat];
  }

  /**
   * @param {HTMLElement} element
   * @param {(event: PointerEvent) => Move} begin
   */
  drag(element, begin) {
    element.addEventListener("pointerdown", (event) => {
      if (event.button) {
        return;
      }
      event.preventDefault();
      const held = begin(event);
      let moved = false;
      element.setPointerCapture(event.pointerId);
      /** @param {PointerEvent} now */
      const move = (now) => {
        const far = Math.hypot(now.clientX - event.clientX, now.clientY - event.clientY);
        moved ||= far >= TAP_PX;
        if (moved) {
          held(now, false);
        }
      };
      /** @param {PointerEvent} now */
      const up = (now) => {
        element.removeEventListener("pointermove", move);
        element.removeEventListener("pointerup", up);
        element.removeEventListener("pointercancel", up);
        if (moved) {
          held(now.type === "pointercancel" ? null : now, true);
        }
      };
      element.addEventListener("pointermove", move);
      element.addEventListener("pointerup", up);
      element.addEventListener("pointercancel", up);
    });
  }
}
