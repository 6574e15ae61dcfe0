// A line and its points on the map, while they are drawn or moved.

import { element } from "./elements.js";

/**
 * @import { Dragging } from "./dragging.js"
 * @import { Position } from "./line.js"
 *
 * @typedef {object} Hold  what the points answer to
 * @property {(n: number) => void} select
 * @property {(n: number, to: Position, done: boolean) => void} drag
 * @property {(n: number, event: KeyboardEvent) => boolean} key  whether the key was one for it
 * @property {(at: Position) => void} insert
 */

/** Points nearer to each other than this would be taken for one; a zoom brings them apart. */
const APART_PX = 28;
/** The same where points are as large as a finger needs. */
const APART_FOR_FINGERS_PX = 44;
/** Where styles/sizes.css makes them so large. */
const FINGERS = "(max-width: 500px)";

export class LineMarks {
  /**
   * @param {L.Map} map
   * @param {Dragging} dragging
   * @param {Hold} hold
   * @param {string} kind  class of the line
   */
  constructor(map, dragging, hold, kind) {
    this.map = map;
    this.dragging = dragging;
    this.hold = hold;
    const renderer = L.svg({ pane: "gates", padding: 0.5 });
    const options = { renderer, pane: "gates", fill: false, bubblingMouseEvents: false };
    this.lines = [
      L.polyline([], { ...options, className: "t-halo", weight: 7, interactive: false }),
      L.polyline([], { ...options, className: kind, weight: 4, interactive: false }),
      L.polyline([], { ...options, className: "t-hold", weight: 26 }),
    ];
    this.lines[2].on("click", (event) => {
      const { lat, lng } = /** @type {L.LeafletMouseEvent} */ (event).latlng;
      this.hold.insert([lng, lat]);
    });
    /** @type {{ marker: L.Marker, node: HTMLButtonElement }[]} */
    this.marks = [];
    map.on("zoomend", () => this.spread());
    this.selected = -1;
    this.fingers = window.matchMedia(FINGERS);
  }

  /**
   * @param {Position[]} points
   * @param {number} selected
   * @param {(n: number) => string} nameOf
   * @param {Position[][]} [lines]  what is drawn through them; straight on where it is left out
   */
  draw(points, selected, nameOf, lines = [points]) {
    this.selected = selected;
    const places = points.map(([lon, lat]) => L.latLng(lat, lon));
    this.drawLines(lines);
    this.marks.splice(points.length).forEach(({ marker }) => marker.remove());
    places.forEach((place, n) => {
      const mark = this.marks[n] ?? this.add(n);
      if (!mark.marker.getLatLng().equals(place, 1e-10)) {
        mark.marker.setLatLng(place);
      }
      mark.node.setAttribute("aria-label", nameOf(n));
      mark.node.setAttribute("aria-pressed", String(n === selected));
    });
    this.spread();
  }

  /** @param {Position[][]} lines */
  drawLines(lines) {
    const drawn = lines.map((line) => line.map(([lon, lat]) => L.latLng(lat, lon)));
    this.lines.forEach((line) => line.setLatLngs(drawn).addTo(this.map));
  }

  /**
   * Draw a point where it is dragged to; the others stay.
   *
   * @param {number} n
   * @param {Position} at
   * @param {Position[][]} lines  what is drawn through all of them
   */
  slide(n, [lon, lat], lines) {
    this.drawLines(lines);
    this.marks[n].marker.setLatLng([lat, lon]);
  }

  /**
   * Turn the map to all of the line.
   *
   * @param {Position[]} points
   */
  show(points) {
    this.map.fitBounds(L.latLngBounds(points.map(([lon, lat]) => L.latLng(lat, lon))), {
      padding: [40, 40],
      maxZoom: 20,
      animate: false,
    });
  }

  clear() {
    this.lines.forEach((line) => line.remove());
    this.marks.splice(0).forEach(({ marker }) => marker.remove());
  }

  /** @param {number} n */
  focus(n) {
    this.marks[n]?.node.focus({ preventScroll: true });
  }

  /** @param {number} n */
  add(n) {
    const node = element("button", {
      type: "button",
      class: "lane-point",
      "aria-describedby": "lane-keys",
      onclick: () => this.hold.select(n),
      onfocus: () => this.hold.select(n),
      onkeydown: (/** @type {KeyboardEvent} */ event) => {
        if (this.hold.key(n, event)) {
          event.preventDefault();
          event.stopPropagation();
        }
      },
    });
    const icon = L.divIcon({ className: "end-at", iconSize: [28, 28], html: node });
    const marker = L.marker([0, 0], { icon, keyboard: false, interactive: false }).addTo(this.map);
    marker.getElement()?.removeAttribute("alt");
    L.DomEvent.disableClickPropagation(node);
    this.dragging.drag(node, () => {
      this.hold.select(n);
      node.focus({ preventScroll: true });
      /** @type {Position | null} */
      let at = null;
      return (pointer, done) => {
        at = pointer ? this.dragging.position(pointer, { x: 0, y: 0 }) : at;
        if (at) {
          this.hold.drag(n, at, done);
        }
      };
    });
    this.marks[n] = { marker, node };
    return this.marks[n];
  }

  /** Show as many points as can be told apart at this zoom: the ends and the chosen one always. */
  spread() {
    /** @type {L.Point[]} */
    const shown = [];
    const last = this.marks.length - 1;
    const order = [this.selected, 0, last, ...this.marks.keys()];
    const done = new Set();
    const apart = this.fingers.matches ? APART_FOR_FINGERS_PX : APART_PX;
    for (const n of order) {
      const mark = this.marks[n];
      if (!mark || done.has(n)) {
        continue;
      }
      done.add(n);
      const at = this.map.latLngToLayerPoint(mark.marker.getLatLng());
      const free = shown.every((other) => other.distanceTo(at) >= apart);
      mark.node.hidden = !free && n !== this.selected;
      if (!mark.node.hidden) {
        shown.push(at);
      }
    }
  }
}
