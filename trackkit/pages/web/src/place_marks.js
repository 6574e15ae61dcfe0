// Corners and findings on the map. Findings at a gate stand beside its label; others get a label
// of their own.

import { element } from "./elements.js";
import { markerOf } from "./gate_marks.js";

/**
 * @import { Corner } from "./base_document.js"
 * @import { Finding } from "./state_document.js"
 * @import { Labelled } from "./map.js"
 * @import { Position } from "./line.js"
 * @import { Session } from "./session.js"
 *
 * @typedef {object} PlaceMark
 * @property {HTMLElement} node  the label
 * @property {L.LatLng} at
 * @property {L.Layer[]} layers
 * @property {number | null} away  see `Item` in labels.js
 * @property {number} reach  of what is drawn there, metres
 * @property {number} rank
 */

/** Errors are labelled before gates, warnings after them, notes after corners. */
const RANKS = { error: 1, warning: 3, note: 6 };
const CORNER_RANK = 4;

export class PlaceMarks {
  /**
   * @param {Session} session
   * @param {L.Map} map
   * @param {L.Renderer} renderer
   */
  constructor(session, map, renderer) {
    this.session = session;
    this.map = map;
    this.renderer = renderer;
    /** @type {PlaceMark[]} */
    this.corners = [];
    this.called = "";
    this.drawCorners();
    session.on(["state"], () => this.drawCorners());
    /** @type {PlaceMark[]} */
    this.findings = [];
  }

  /**
   * @param {number} metresPerPixel
   * @returns {Labelled[]}
   */
  labelled(metresPerPixel) {
    return [...this.corners, ...this.findings].map(({ node, at, away, reach, rank }) => ({
      node,
      at,
      away,
      half: reach / metresPerPixel,
      rank,
      bar: null,
      always: rank === RANKS.error,
    }));
  }

  /** Names and numbers change; where corners are does not. */
  drawCorners() {
    const { corners } = this.session;
    const called = JSON.stringify(corners.map(({ number, name }) => [number, name]));
    if (called === this.called) {
      return;
    }
    this.called = called;
    this.corners.flatMap((mark) => mark.layers).forEach((layer) => layer.remove());
    this.corners = corners.map((corner) => this.addCorner(corner));
  }

  drawFindings() {
    this.findings.flatMap((mark) => mark.layers).forEach((layer) => layer.remove());
    const gates = new Set(this.session.state.gates.map((gate) => gate.id));
    this.findings = (this.session.state.findings ?? []).flatMap((finding, n) => {
      const place = this.session.findingPlace(finding);
      const elsewhere = finding.feature === null || !gates.has(finding.feature);
      return place && elsewhere ? [this.addFinding(finding, n, place)] : [];
    });
  }

  /**
   * @param {Finding} finding
   * @param {number} n
   * @param {Position} place
   * @returns {PlaceMark}
   */
  addFinding(finding, n, [lon, lat]) {
    const at = L.latLng(lat, lon);
    const node = element(
      "button",
      {
        type: "button",
        class: `label tag ${finding.severity}`,
        onclick: () => this.session.read(n),
      },
      `${finding.severity} ${n + 1}${finding.accepted ? ", accepted" : ""}`,
    );
    const ring = L.circleMarker(at, {
      renderer: this.renderer,
      pane: "gates",
      radius: 7,
      weight: 2,
      className: "t-ring",
      interactive: false,
    }).addTo(this.map);
    const layers = [ring, this.addLabel(node, at)];
    return { node, at, layers, away: null, reach: 0, rank: RANKS[finding.severity] };
  }

  /**
   * @param {Corner} corner
   * @returns {PlaceMark}
   */
  addCorner(corner) {
    const { line } = this.session;
    const [lon, lat] = this.session.near(corner.at);
    const at = L.latLng(lat, lon);
    const name = corner.name ? `: ${corner.name}` : "";
    const node = element(
      "div",
      { class: "label corner", title: `Corner ${corner.number}${name}` },
      element("span", { class: "unseen" }, "Corner "),
      String(corner.number),
    );
    const { east, north, left, right } = line.at(corner.apex_m);
    // Outside of the bend.
    const out = corner.turn === "left" ? -1 : 1;
    return {
      node,
      at,
      layers: [this.addLabel(node, at)],
      away: Math.atan2(-north * out, east * out),
      reach: Math.max(left, right),
      rank: CORNER_RANK,
    };
  }

  /**
   * @param {HTMLElement} node
   * @param {L.LatLng} at
   */
  addLabel(node, at) {
    const marker = markerOf(element("div", { class: "at" }, node))
      .setLatLng(at)
      .addTo(this.map);
    marker.getElement()?.removeAttribute("alt");
    L.DomEvent.disableClickPropagation(node);
    return marker;
  }
}
