// The plan beside the map, to be moved and zoomed like it, and marks of pairs on either.

import { element } from "./elements.js";

/**
 * @import { Plan } from "./plan_editor.js"
 * @import { PlanPlace } from "./plan_pairs.js"
 */

/** Zooming by this many steps beyond the whole plan shows its pixels. */
const CLOSER = 7;

export class PlanPane {
  /**
   * @param {HTMLElement} node
   * @param {Plan} plan
   * @param {(place: PlanPlace) => void} picked
   */
  constructor(node, { picture, width, height }, picked) {
    /** @type {[number, number][]} latitudes and longitudes of a world that is flat */
    this.bounds = [
      [-height, 0],
      [0, width],
    ];
    this.map = L.map(node, {
      crs: L.CRS.Simple,
      zoomSnap: 0.25,
      zoomDelta: 0.5,
      zoomControl: false,
      attributionControl: false,
      minZoom: -20,
      maxZoom: 20,
    });
    L.control.zoom({ position: "topright" }).addTo(this.map);
    this.map.doubleClickZoom.disable();
    L.imageOverlay(picture, this.bounds, { alt: "" }).addTo(this.map);
    this.map.on("click", ({ latlng }) => {
      const place = inside([latlng.lng, -latlng.lat], width, height);
      if (place) {
        picked(place);
      }
    });
    picksInMiddle(this.map, ({ lng, lat }) => {
      const place = inside([lng, -lat], width, height);
      if (place) {
        picked(place);
      }
    });
    new ResizeObserver(() => this.map.invalidateSize({ animate: false })).observe(node);
    this.fit();
    this.marks = new PairMarks(this.map);
  }

  fit() {
    this.map.invalidateSize({ animate: false });
    this.map.setMinZoom(-20).setMaxZoom(20);
    this.map.fitBounds(this.bounds, { animate: false });
    const whole = this.map.getZoom();
    this.map.setMinZoom(whole - 1).setMaxZoom(whole + CLOSER);
  }

  /** @param {PlanPlace} place */
  static latLng([x, y]) {
    return L.latLng(-y, x);
  }
}

/**
 * A place on the plan to a hundredth of its unit, or null where it is beside it.
 *
 * @param {PlanPlace} place
 * @param {number} width
 * @param {number} height
 * @returns {PlanPlace | null}
 */
function inside([x, y], width, height) {
  const within = x >= 0 && y >= 0 && x <= width && y <= height;
  return within ? [Math.round(100 * x) / 100, Math.round(100 * y) / 100] : null;
}

/**
 * With the focus on a map, Enter picks the place in its middle.
 *
 * @param {L.Map} map
 * @param {(at: L.LatLng) => void} pick
 * @returns {() => void} ends it
 */
export function picksInMiddle(map, pick) {
  const node = map.getContainer();
  /** @param {KeyboardEvent} event */
  const pressed = (event) => {
    if (event.key === "Enter" && event.target === node) {
      event.preventDefault();
      pick(map.getCenter());
    }
  };
  // Also the Tab that led here.
  const byKeys = () => node.classList.add("by-keys");
  const byHand = () => node.classList.remove("by-keys");
  node.addEventListener("keydown", pressed);
  node.addEventListener("keyup", byKeys);
  node.addEventListener("pointerdown", byHand);
  node.classList.add("picking");
  return () => {
    node.removeEventListener("keydown", pressed);
    node.removeEventListener("keyup", byKeys);
    node.removeEventListener("pointerdown", byHand);
    node.classList.remove("picking", "by-keys");
  };
}

/** Numbered marks at places; one that waits for its other half has no number. */
export class PairMarks {
  /** @param {L.Map} map */
  constructor(map) {
    this.layer = L.layerGroup().addTo(map);
  }

  /**
   * @param {L.LatLng[]} places
   * @param {L.LatLng | null} waiting
   * @param {(n: number) => boolean} isBad
   */
  draw(places, waiting, isBad) {
    this.layer.clearLayers();
    places.forEach((place, n) => this.add(place, String(n + 1), isBad(n) ? "bad" : ""));
    if (waiting) {
      this.add(waiting, "?", "waiting");
    }
  }

  /**
   * @param {L.LatLng} place
   * @param {string} text
   * @param {string} kind
   */
  add(place, text, kind) {
    const node = element("span", { class: `pair-mark ${kind}` }, element("b", {}, text));
    const icon = L.divIcon({ className: "at", iconSize: [0, 0], html: node });
    const options = { icon, interactive: false, keyboard: false };
    L.marker(place, options).addTo(this.layer).getElement()?.removeAttribute("alt");
  }
}
