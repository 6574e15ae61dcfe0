// A marker for each lap drawn, on its own smoothed line, where it is at the cursor.

import { eachFrame, element } from "./elements.js";

/**
 * @import { DrawnLap } from "./drawn_laps.js"
 * @import { Session } from "./session.js"
 */

/** Markers of more laps than this are dots without a letter. */
const MOST_LETTERED = 8;

export class LapMarkers {
  /**
   * @param {Session} session
   * @param {L.Map} map
   */
  constructor(session, map) {
    this.session = session;
    this.map = map;
    const pane = map.createPane("laps");
    // Over gates, below labels.
    pane.style.zIndex = "595";
    pane.style.pointerEvents = "none";
    /** @type {{ lap: DrawnLap, marker: L.Marker }[]} */
    this.marks = [];
    const place = eachFrame(() => this.place());
    session.on(["state", "laps"], () => this.arrange());
    session.on(["place"], place);
    this.arrange();
  }

  arrange() {
    this.marks.forEach(({ marker }) => marker.remove());
    const { all } = this.session.drawn;
    const lettered = all.length <= MOST_LETTERED;
    this.marks = all.map((lap, n) => {
      const classes = `lap-mark ${lap.style.colour}${lettered ? " lettered" : ""}`;
      const html = element("span", {}, lettered ? lap.letter : "");
      const size = lettered ? 22 : 12;
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
