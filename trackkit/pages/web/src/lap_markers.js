// A marker for each lap drawn, on its own smoothed line, where it is at the cursor.

import { eachFrame, element } from "./elements.js";

/**
 * @import { DrawnLap } from "./drawn_laps.js"
 * @import { Session } from "./session.js"
 */

/** Markers of more laps than this are dots without a letter. */
const MOST_LETTERED = 8;
const LETTERED_PX = 22;
/** Markers closer than this would hide each other's letters. */
const APART_PX = LETTERED_PX + 3;
const ANGLES = 8;

/**
 * @typedef {object} Spot  pixels
 * @property {number} x
 * @property {number} y
 */

/**
 * Where markers stand so that none hides another: at their places, or on a ring about them.
 *
 * @param {Spot[]} places
 * @returns {Spot[]}
 */
export function apart(places) {
  /** @type {Spot[]} */
  const taken = [];
  for (const place of places) {
    const free = (/** @type {Spot} */ { x, y }) =>
      taken.every((other) => Math.hypot(other.x - x, other.y - y) >= APART_PX);
    const rings = [1, 2, 3].flatMap((ring) =>
      Array.from({ length: ANGLES * ring }, (_, n) => {
        const angle = (2 * Math.PI * n) / (ANGLES * ring);
        const away = APART_PX * ring + 1;
        return { x: place.x + away * Math.cos(angle), y: place.y + away * Math.sin(angle) };
      }),
    );
    taken.push([place, ...rings].find(free) ?? place);
  }
  return taken;
}

export class LapMarkers {
  /**
   * @param {Session} session
   * @param {L.Map} map
   */
  constructor(session, map) {
    this.session = session;
    this.map = map;
    const pane = map.createPane("laps");
    // Over gates and labels, for what is read at the cursor matters most.
    pane.style.zIndex = "605";
    pane.style.pointerEvents = "none";
    /** @type {{ lap: DrawnLap, marker: L.Marker }[]} */
    this.marks = [];
    const place = eachFrame(() => this.place());
    session.on(["state", "laps"], () => this.arrange());
    session.on(["place"], place);
    map.on("zoomend", () => this.standApart());
    this.arrange();
  }

  arrange() {
    this.marks.forEach(({ marker }) => marker.remove());
    const { all } = this.session.drawn;
    const lettered = all.length <= MOST_LETTERED;
    this.marks = all.map((lap, n) => {
      const classes = `lap-mark ${lap.style.colour}${lettered ? " lettered" : ""}`;
      const html = element("span", {}, lettered ? lap.letter : "");
      const size = lettered ? LETTERED_PX : 12;
      const icon = L.divIcon({ className: classes, iconSize: [size, size], html });
      const marker = L.marker([0, 0], {
        icon,
        interactive: false,
        keyboard: false,
        pane: "laps",
        // The reference lap lies on top.
        zIndexOffset: 10 * (all.length - n),
      });
      return { lap, marker };
    });
    this.place();
  }

  place() {
    for (const { lap, marker } of this.marks) {
      const at = this.placeOf(lap);
      if (!at) {
        marker.remove();
      } else {
        marker.setLatLng(at);
        if (!this.map.hasLayer(marker)) {
          marker.addTo(this.map);
        }
      }
    }
    this.standApart();
  }

  /** Move letters aside that would hide each other; a line leads back to where they belong. */
  standApart() {
    if (this.marks.length > MOST_LETTERED) {
      return;
    }
    const there = this.marks.filter(({ marker }) => this.map.hasLayer(marker));
    const places = there.map(({ marker }) => this.map.latLngToLayerPoint(marker.getLatLng()));
    for (const [n, { x, y }] of apart(places).entries()) {
      const icon = /** @type {HTMLElement} */ (there[n].marker.getElement());
      const [right, down] = [x - places[n].x, y - places[n].y];
      icon.style.translate = `${right}px ${down}px`;
      icon.classList.toggle("aside", right !== 0 || down !== 0);
      icon.style.setProperty("--back", `${Math.hypot(right, down)}px`);
      icon.style.setProperty("--turn", `${Math.atan2(-down, -right)}rad`);
    }
  }

  /**
   * @param {DrawnLap} lap
   * @returns {[number, number] | null}  latitude and longitude
   */
  placeOf(lap) {
    const { session } = this;
    const shown = session.cursor.placeOf(lap);
    const aside = lap.trace.offset(shown);
    if (!Number.isFinite(aside)) {
      return null;
    }
    const { line } = session;
    const [lon, lat] = line.beside(line.at(session.toBase(shown)), aside);
    return [lat, lon];
  }
}
