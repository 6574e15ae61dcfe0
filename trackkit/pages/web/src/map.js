// The map: what lies on the ground, and over it gates, corners, findings and the place pointed at.

import { eachFrame, element } from "./elements.js";
import { GateMarks } from "./gate_marks.js";
import { Ground } from "./ground.js";
import { chooseSpots, spaced } from "./labels.js";
import { LapMarkers } from "./lap_markers.js";
import { PlaceMarks } from "./place_marks.js";
import { layUnderlay } from "./underlay.js";
import { scaleUnits } from "./units.js";

/**
 * @import { Box, Item, Point } from "./labels.js"
 * @import { Position } from "./line.js"
 * @import { Hooks } from "./page.js"
 * @import { Session } from "./session.js"
 *
 * @typedef {object} Tiles  pictures under the map
 * @property {string} url
 * @property {string} attribution  HTML of the page's maker
 *
 * @typedef {object} Labelled  something with a label
 * @property {HTMLElement} node  the label
 * @property {L.LatLng} at
 * @property {number | null} away  see `Item` in labels.js
 * @property {number} half
 * @property {number} rank
 * @property {boolean} always
 * @property {L.LatLng[] | null} bar  ends of the gate that it names
 */

export class MapView {
  /**
   * @param {Session} session
   * @param {HTMLElement} node
   * @param {Hooks | null} hooks  make what is drawn answer to the hand; null where nothing changes
   * @param {Tiles | null} tiles
   */
  constructor(session, node, hooks, tiles) {
    this.session = session;
    this.hooks = hooks;
    /** Whether someone took hold of the map. */
    this.held = false;
    /** @type {(at: Position) => boolean} what a click does instead, while something is drawn */
    this.taken = () => false;
    this.places = session.line.drawn.map(({ lat, lon }) => L.latLng(lat, lon));
    this.map = L.map(node, {
      preferCanvas: true,
      zoomSnap: 0.25,
      zoomDelta: 0.5,
      maxZoom: 23,
      zoomControl: false,
    });
    L.control.zoom({ position: "topright" }).addTo(this.map);
    L.control.scale(scaleUnits()).addTo(this.map);
    this.map.attributionControl.setPrefix("Leaflet");
    if (tiles) {
      const { url, attribution } = tiles;
      L.tileLayer(url, { attribution, maxZoom: 23, maxNativeZoom: 19 }).addTo(this.map);
    }
    this.map.createPane("ground").style.zIndex = "410";
    this.map.createPane("gates").style.zIndex = "440";
    // Below all labels.
    this.map.createPane("leaders").style.zIndex = "590";
    this.map.fitBounds(this.bounds(), { animate: false });
    this.ground = new Ground(session);
    // Who places gates wants to see all that was driven.
    this.ground.drawnLaps = session.chosen.length && !hooks?.track ? "driven" : "all";
    this.ground.addTo(this.map);
    const { underlay } = session.base;
    this.underlay = underlay && layUnderlay(this.map, this.ground, underlay);
    northMark().addTo(this.map);
    this.laps = new LapMarkers(session, this.map);
    this.here = L.marker(this.places[0], {
      icon: L.divIcon({ className: "here", iconSize: [12, 12], html: "" }),
      interactive: false,
      keyboard: false,
      pane: "laps",
      // Below the laps.
      zIndexOffset: -1e4,
    });
    const bars = L.svg({ pane: "gates", padding: 0.5 });
    this.marks = new PlaceMarks(session, this.map, bars);
    this.gates = new GateMarks(session, this.map, bars, hooks);
    this.gates.draw();
    this.marks.drawFindings();
    this.fit();
    this.listen();
  }

  /** @param {boolean} on */
  showUnderlay(on) {
    if (on) {
      this.underlay?.addTo(this.map);
    } else {
      this.underlay?.remove();
    }
  }

  bounds() {
    const box = L.latLngBounds(this.places);
    for (const gate of this.session.state.gates) {
      for (const [lon, lat] of this.session.gatePlace(gate).ends) {
        box.extend([lat, lon]);
      }
    }
    return box;
  }

  listen() {
    const { session, map, gates, marks } = this;
    const container = map.getContainer();
    const follow = eachFrame(() => this.settle());
    // Until someone takes hold of the map it keeps showing the whole track, also when a phone is
    // turned.
    for (const kind of ["pointerdown", "wheel", "keydown"]) {
      container.addEventListener(kind, () => (this.held = true), { passive: true });
    }
    map.on("zoomstart", () => map.getPane("leaders")?.replaceChildren());
    // After zooming as well.
    map.on("moveend", () => this.settle());
    map.on("resize", () => (this.held ? this.settle() : this.fit()));
    map.on("mousemove", (event) => this.pointed(event.latlng));
    map.on("click", (event) => this.clicked(event));
    session.on(["state"], () => {
      gates.draw();
      marks.drawFindings();
      if (!session.sliding) {
        this.settle();
      }
    });
    session.on(["sliding"], () => {
      gates.draw();
      follow();
    });
    session.on(["selected"], () => {
      gates.draw();
      this.settle();
    });
    session.on(["laps"], () => {
      if (["driven", "chosen"].includes(this.ground.drawnLaps)) {
        this.ground.redraw();
      }
    });
    session.on(["place"], () => this.drawPlace());
    session.on(["view"], () => this.turn());
    for (const query of ["(prefers-color-scheme: dark)", "(prefers-contrast: more)"]) {
      window.matchMedia(query).addEventListener("change", () => this.ground.redraw());
    }
    window.matchMedia("print").addEventListener("change", () => {
      this.held = false;
      map.invalidateSize({ animate: false });
      this.fit();
    });
    // The frame may change without the window: panels open, fonts come.
    new ResizeObserver(() => map.invalidateSize({ animate: false })).observe(container);
  }

  fit() {
    const narrow = this.map.getSize().x < 500;
    const [beside, above] = narrow ? [30, 34] : [64, 44];
    this.map.fitBounds(this.bounds(), {
      paddingTopLeft: [beside, above],
      paddingBottomRight: [beside, above + 8],
      animate: false,
    });
    this.settle();
  }

  metresPerPixel() {
    const middle = this.map.getSize().divideBy(2);
    const from = this.map.containerPointToLatLng(middle);
    const to = this.map.containerPointToLatLng(middle.add([100, 0]));
    return this.map.distance(from, to) / 100;
  }

  /**
   * The chainage of the track under the pointer, or null where that is off the track.
   *
   * @param {L.LatLng} pointer
   */
  under(pointer) {
    const { line } = this.session;
    const nearest = line.nearest(line.east(pointer.lng), line.north(pointer.lat));
    const { left, right } = line.at(nearest.chainage);
    const reach = Math.max(Math.max(left, right) + 4, 18 * this.metresPerPixel());
    return nearest.distance <= reach ? nearest.chainage : null;
  }

  /** @param {L.LatLng} pointer */
  pointed(pointer) {
    if (this.session.sliding) {
      return;
    }
    const at = this.under(pointer);
    this.session.cursor.pass(at);
    const over = at !== null && Boolean(this.hooks?.track);
    this.map.getContainer().classList.toggle("over-track", over);
  }

  /** @param {L.LeafletMouseEvent} event */
  clicked(event) {
    if (this.taken([event.latlng.lng, event.latlng.lat])) {
      return;
    }
    const at = this.under(event.latlng);
    if (at === null) {
      return;
    }
    const { cursor } = this.session;
    cursor.playing = false;
    cursor.pinned = true;
    cursor.move(at);
    cursor.pin(true);
    this.hooks?.track?.(at, event.originalEvent);
  }

  drawPlace() {
    const { place, line, sliding, cursor } = this.session;
    // A gate that is held shows its place itself.
    if (place === null || sliding) {
      this.here.remove();
      return;
    }
    const { lon, lat } = line.at(place);
    this.here.setLatLng([lat, lon]).addTo(this.map);
    // Who looks at a part of the track is taken along.
    if (this.held && cursor.pinned && !this.map.getBounds().contains([lat, lon])) {
      this.map.panTo([lat, lon], { animate: false });
    }
  }

  /** Show a piece of the lap as a whole. */
  turn() {
    const { line, viewed } = this.session;
    if (viewed) {
      const [from, to] = viewed;
      const size = to > from ? to - from : to - from + line.length;
      const places = Array.from({ length: 13 }, (_, n) =>
        line.at(line.wrap(from + (size * n) / 12)),
      );
      const bounds = L.latLngBounds(places.map(({ lat, lon }) => L.latLng(lat, lon)));
      this.held = true;
      this.map.fitBounds(bounds.pad(0.3), { animate: false, maxZoom: 20 });
    }
  }

  /**
   * Turn to a place, closely enough to see it.
   *
   * @param {Position} position
   */
  show([lon, lat]) {
    this.held = true;
    this.map.getContainer().scrollIntoView({ block: "nearest" });
    this.map.setView([lat, lon], Math.max(this.map.getZoom(), 18), { animate: false });
  }

  /** Draw gates for the zoom, and find room for every label. */
  settle() {
    const perPixel = this.metresPerPixel();
    this.gates.draw();
    const labelled = [...this.gates.labelled(), ...this.marks.labelled(perPixel)];
    const { left, right } = this.session.line.at(0);
    const margin = Math.min(14, Math.max(left, right) / perPixel);
    placeLabels(this.map, labelled, this.places, margin);
  }
}

/**
 * @param {L.Map} map
 * @param {Labelled[]} labelled
 * @param {L.LatLng[]} places  along the track
 * @param {number} margin  to keep from the track, pixels
 */
function placeLabels(map, labelled, places, margin) {
  const corner = map.containerPointToLayerPoint([0, 0]);
  const size = map.getSize();
  /** @type {Box} */
  const edge = [corner.x + 2, corner.y + 2, corner.x + size.x - 2, corner.y + size.y - 2];
  const track = places.map((place) => pointOf(map.latLngToLayerPoint(place)));
  /** @type {Item[]} */
  const items = labelled.map(({ node, at, bar, ...item }) => {
    const { x, y } = map.latLngToLayerPoint(at);
    const [left, right] = (bar ?? []).map((end) => pointOf(map.latLngToLayerPoint(end)));
    const [width, height] = [node.offsetWidth, node.offsetHeight];
    return { ...item, width, height, x, y, bar: bar ? [left, right] : null };
  });
  const room = { edge, taken: furniture(map, corner), track: spaced(track, edge), margin };
  const spots = chooseSpots(items, room);
  spots.forEach((spot, n) => {
    const { node } = labelled[n];
    node.classList.toggle("placed", spot !== null);
    if (spot) {
      const right = Math.round(spot.x - items[n].x - items[n].width / 2);
      const down = Math.round(spot.y - items[n].y - items[n].height / 2);
      node.style.transform = `translate(${right}px,${down}px)`;
    }
  });
  map
    .getPane("leaders")
    ?.replaceChildren(...spots.flatMap((spot) => (spot?.leader ? [leaderOf(spot.leader)] : [])));
}

/**
 * A line from a label to what it names.
 *
 * @param {[Point, Point]} leader
 */
function leaderOf([[x0, y0], [x1, y1]]) {
  const line = element("div", { class: "leader" });
  line.style.width = `${Math.hypot(x1 - x0, y1 - y0).toFixed(1)}px`;
  const turn = Math.atan2(y1 - y0, x1 - x0);
  line.style.transform = `translate(${x0.toFixed(1)}px,${y0.toFixed(1)}px) rotate(${turn}rad)`;
  return line;
}

/**
 * @param {L.Point} point
 * @returns {Point}
 */
function pointOf({ x, y }) {
  return [x, y];
}

/**
 * Where the map's controls are.
 *
 * @param {L.Map} map
 * @param {L.Point} corner
 * @returns {Box[]}
 */
function furniture(map, corner) {
  const frame = map.getContainer().getBoundingClientRect();
  const right = corner.x - frame.left;
  const down = corner.y - frame.top;
  return Array.from(map.getContainer().querySelectorAll(".leaflet-control"), (control) => {
    const box = control.getBoundingClientRect();
    return [box.left + right - 3, box.top + down - 3, box.right + right + 3, box.bottom + down + 3];
  });
}

function northMark() {
  const control = new L.Control({ position: "topleft" });
  control.onAdd = () => {
    const node = element("div", { class: "north", title: "North is up" });
    node.innerHTML =
      '<svg width="12" height="15" viewBox="0 0 12 15" aria-hidden="true">' +
      '<path d="M6 0 11 15 6 11.5 1 15z"/></svg>N';
    return node;
  };
  return control;
}
