// The page of many circuits: one map of all, and a list to find one by name, country and distance.

import { element, find, readDocument } from "./elements.js";
import { distanceM } from "./sphere.js";
import { scaleUnits, showIn, units } from "./units.js";

/**
 * @import { Position } from "./line.js"
 *
 * @typedef {object} Circuit
 * @property {string} name  name and layout
 * @property {string | null} country
 * @property {string} words  what a search by name looks in, in lower case
 * @property {Position[]} line
 *
 * @typedef {object} Row
 * @property {HTMLTableRowElement} row
 * @property {HTMLTableCellElement} away
 * @property {Circuit} circuit
 * @property {L.FeatureGroup} drawn
 * @property {number} place  in the list as it was written
 */

const FARTHEST_ZOOM = 1;
const CLOSEST_ZOOM = 17;
/** From here on a line can be seen without a dot on it. */
const LINES_ALONE_ZOOM = 12;
const GRATICULE_DEG = 15;

/**
 * For whoever looks in from outside; null until the page is ready.
 *
 * @type {CircuitsPage | null}
 */
export let circuits = null;

/** Show the list and the map that the page carries. */
export function openCircuits() {
  showIn(readDocument("units"));
  circuits = new CircuitsPage(readDocument("circuits"));
}

class CircuitsPage {
  /** @param {Circuit[]} listed */
  constructor(listed) {
    this.name = find("#find-name", HTMLInputElement);
    this.country = find("#find-country", HTMLSelectElement);
    this.place = find("#find-place", HTMLInputElement);
    this.within = find("#find-within", HTMLInputElement);
    this.count = find("#found", HTMLElement);
    this.wrong = find("#find-wrong", HTMLElement);
    this.body = find("#circuits-table tbody", HTMLElement);
    this.map = mapOf(find("#map", HTMLElement));
    /** @type {L.CircleMarker | null} */
    this.here = null;
    const rows = [...this.body.querySelectorAll("tr")];
    this.rows = listed.map((circuit, place) => this.rowOf(circuit, rows[place], place));
    for (const input of [this.name, this.country, this.place, this.within]) {
      input.addEventListener("input", () => this.show());
    }
    find("#find", HTMLFormElement).addEventListener("reset", () => {
      // The fields are emptied after the event.
      setTimeout(() => this.show());
    });
    this.map.on("zoomend", () => {
      const near = this.map.getZoom() >= LINES_ALONE_ZOOM;
      this.map.getContainer().classList.toggle("near", near);
    });
    this.map.on("click", (event) => {
      const { lat, lng } = event.latlng.wrap();
      this.place.value = `${lat.toFixed(4)}, ${lng.toFixed(4)}`;
      this.show();
    });
    new ResizeObserver(() => this.map.invalidateSize({ animate: false })).observe(
      this.map.getContainer(),
    );
    this.show();
  }

  /**
   * @param {Circuit} circuit
   * @param {HTMLTableRowElement} row
   * @param {number} place
   * @returns {Row}
   */
  rowOf(circuit, row, place) {
    const places = circuit.line.map(([lon, lat]) => L.latLng(lat, lon));
    const middle = L.latLngBounds(places).getCenter();
    const dot = L.circleMarker(middle, { radius: 7, className: "circuit-dot" });
    const line = L.polyline(places, { className: "circuit-line" });
    const drawn = L.featureGroup([line, dot]);
    drawn.bindTooltip(element("bdi", {}, circuit.name), { sticky: true });
    drawn.on("click", (event) => {
      L.DomEvent.stop(event);
      this.choose(row);
    });
    find("button", HTMLButtonElement, row).addEventListener("click", () => {
      this.choose(row);
      this.map.fitBounds(line.getBounds(), { padding: [30, 30], animate: false });
    });
    return { row, away: find("td.away", HTMLTableCellElement, row), circuit, drawn, place };
  }

  /** @param {HTMLTableRowElement} row */
  choose(row) {
    for (const other of this.rows) {
      other.row.classList.toggle("chosen", other.row === row);
    }
    row.scrollIntoView({ block: "nearest" });
  }

  show() {
    const { place, wrong } = placeOf(this.place.value);
    this.wrong.textContent = wrong;
    this.place.setAttribute("aria-invalid", String(wrong !== ""));
    const name = this.name.value.trim().toLowerCase();
    const within =
      place && this.within.value ? Number(this.within.value) / units().long_per_m : Infinity;
    const found = this.rows
      .map((row) => ({ ...row, metres: place ? awayM(row.circuit, place) : 0 }))
      .filter(
        ({ circuit, metres }) =>
          circuit.words.includes(name) &&
          (this.country.value === "" || this.country.value === (circuit.country ?? "-")) &&
          metres <= within,
      )
      .sort((a, b) => a.metres - b.metres || a.place - b.place);
    for (const { away, metres } of found) {
      away.textContent = place ? awayText(metres) : "";
    }
    this.body.replaceChildren(...found.map(({ row }) => row));
    this.count.textContent = `${found.length} of ${this.rows.length} circuits`;
    this.draw(found, place);
  }

  /**
   * @param {Row[]} found
   * @param {Position | null} place
   */
  draw(found, place) {
    const shown = new Set(found.map(({ drawn }) => drawn));
    for (const { drawn } of this.rows) {
      if (shown.has(drawn)) {
        drawn.addTo(this.map);
      } else {
        drawn.remove();
      }
    }
    this.here?.remove();
    this.here = place
      ? L.circleMarker([place[1], place[0]], { radius: 6, className: "circuit-here" }).addTo(
          this.map,
        )
      : null;
    const box = L.latLngBounds(found.map(({ drawn }) => drawn.getBounds().getCenter()));
    if (this.here) {
      box.extend(this.here.getLatLng());
    }
    if (box.isValid()) {
      this.map.fitBounds(box, { padding: [40, 40], maxZoom: 13, animate: false });
    }
  }
}

/** @param {HTMLElement} container */
function mapOf(container) {
  const map = L.map(container, {
    minZoom: FARTHEST_ZOOM,
    maxZoom: CLOSEST_ZOOM,
    worldCopyJump: true,
    attributionControl: false,
    zoomAnimation: false,
  }).setView([0, 0], FARTHEST_ZOOM);
  L.control.scale(scaleUnits()).addTo(map);
  const style = { className: "graticule", interactive: false };
  for (let lat = -75; lat <= 75; lat += GRATICULE_DEG) {
    L.polyline(
      [
        [lat, -360],
        [lat, 360],
      ],
      style,
    ).addTo(map);
  }
  for (let lon = -360; lon <= 360; lon += GRATICULE_DEG) {
    L.polyline(
      [
        [-85, lon],
        [85, lon],
      ],
      style,
    ).addTo(map);
  }
  return map;
}

/**
 * Read a latitude and a longitude in degrees.
 *
 * @param {string} text
 * @returns {{ place: Position | null, wrong: string }}
 */
export function placeOf(text) {
  if (text.trim() === "") {
    return { place: null, wrong: "" };
  }
  const parts = text.trim().split(/[\s,;]+/);
  const [lat, lon] = parts.map((part) => Number(part.replace("\u2212", "-")));
  if (parts.length !== 2 || !(Math.abs(lat) <= 90 && Math.abs(lon) <= 360)) {
    return { place: null, wrong: "Type a latitude and a longitude in degrees: -41.2, -30.5" };
  }
  return { place: [lon, lat], wrong: "" };
}

/**
 * @param {Circuit} circuit
 * @param {Position} place
 */
function awayM(circuit, place) {
  return Math.min(...circuit.line.map((vertex) => distanceM(vertex, place)));
}

/** @param {number} metres */
function awayText(metres) {
  const away = units().long_per_m * metres;
  return away.toFixed(away < 10 ? 1 : 0);
}
