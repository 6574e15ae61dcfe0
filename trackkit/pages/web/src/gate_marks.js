// Gates on the map: a bar across the track, a label, and where gates can be changed, handles.

import { element } from "./elements.js";
import { lengthName, lengthText, millis } from "./figures.js";
import { inField } from "./units.js";

/**
 * @import { Gate } from "./state_document.js"
 * @import { Labelled } from "./map.js"
 * @import { Hooks } from "./page.js"
 * @import { GatePlace, Session } from "./session.js"
 *
 * @typedef {object} GateMark
 * @property {string} id
 * @property {string} kind
 * @property {L.Polyline[]} bars  halo, bar, and what can be taken hold of
 * @property {L.Marker} marker
 * @property {HTMLElement} node  the label
 * @property {{ marker: L.Marker, side: 0 | 1 }[]} ends  handles, left and right
 * @property {L.LatLng} middle
 * @property {L.LatLng[]} drawn  the bar's ends
 * @property {number} half  half the bar's length, pixels
 * @property {number} away  where the label goes, radians clockwise from up
 */

/** Zoomed far out a gate of 12 m would be a dot; it is drawn at least this long. */
const SHORTEST_PX = 20;
/** Handles nearer to each other than this would be taken for one. */
const HANDLES_APART_PX = 44;

export class GateMarks {
  /**
   * @param {Session} session
   * @param {L.Map} map
   * @param {L.Renderer} renderer
   * @param {Hooks | null} hooks
   */
  constructor(session, map, renderer, hooks) {
    this.session = session;
    this.map = map;
    this.renderer = renderer;
    this.hooks = hooks;
    /** @type {Map<string, GateMark>} */
    this.marks = new Map();
  }

  /** Bring the marks up to what the gates are now. */
  draw() {
    const { gates } = this.session.state;
    const ids = new Set(gates.map((gate) => gate.id));
    for (const [id, mark] of this.marks) {
      if (!ids.has(id)) {
        [...mark.bars, mark.marker, ...mark.ends.map((end) => end.marker)].forEach((layer) =>
          layer.remove(),
        );
        this.marks.delete(id);
      }
    }
    for (const gate of gates) {
      const mark = this.marks.get(gate.id) ?? this.add(gate);
      this.update(mark, gate);
    }
    this.keepOrder();
  }

  /** @returns {Labelled[]} */
  labelled() {
    return Array.from(this.marks.values(), ({ id, kind, node, middle, away, half, drawn }) => {
      const first = kind === "finish" || kind === "start" ? 0 : 2;
      const rank = id === this.session.selected ? -1 : first;
      return { node, at: middle, away, half, rank, always: true, bar: drawn };
    });
  }

  /**
   * @param {Gate} gate
   * @returns {GateMark}
   */
  add({ id, kind }) {
    const { session } = this;
    const bars = [this.bar("t-halo", 9), this.bar("t-gate", 5), this.bar("t-hold", 26)];
    const node = this.hooks?.holds(id)
      ? element("div", {
          role: "slider",
          tabindex: "0",
          "aria-valuemin": "0",
          "aria-describedby": "gate-keys",
          "data-gate": id,
        })
      : element("button", { type: "button", "data-gate": id });
    const marker = markerOf(element("div", { class: "at" }, node)).addTo(this.map);
    marker.getElement()?.removeAttribute("alt");
    L.DomEvent.disableClickPropagation(node);
    node.addEventListener("focus", () => session.select(id));
    node.addEventListener("click", () => session.select(id));
    const hold = bars[2];
    hold.on("click", () => {
      session.select(id);
      node.focus({ preventScroll: true });
    });
    /** @type {GateMark} */
    const mark = {
      id,
      kind,
      bars,
      marker,
      node,
      ends: [],
      middle: L.latLng(0, 0),
      drawn: [],
      half: 0,
      away: 0,
    };
    if (this.hooks?.holds(id)) {
      const held = /** @type {HTMLElement} */ (hold.getElement());
      L.DomEvent.disableClickPropagation(held);
      this.hooks.gate(id, [node, held]);
      mark.ends = [this.handle(id, 0), this.handle(id, 1)];
    }
    this.marks.set(id, mark);
    return mark;
  }

  /**
   * @param {string} className
   * @param {number} weight
   */
  bar(className, weight) {
    const options = {
      renderer: this.renderer,
      pane: "gates",
      className,
      weight,
      interactive: className === "t-hold",
      lineCap: /** @type {const} */ ("butt"),
      bubblingMouseEvents: false,
    };
    const nowhere = L.latLng(0, 0);
    return L.polyline([nowhere, nowhere], options).addTo(this.map);
  }

  /**
   * @param {string} id
   * @param {0 | 1} side
   */
  handle(id, side) {
    const node = element("div", { class: "end", title: "Drag to change the width" });
    const icon = L.divIcon({ className: "end-at", iconSize: [28, 28], html: node });
    const marker = L.marker([0, 0], { icon, keyboard: false, interactive: false });
    L.DomEvent.disableClickPropagation(node);
    this.hooks?.end(id, side === 0 ? "left" : "right", node);
    return { marker, side };
  }

  /**
   * @param {GateMark} mark
   * @param {Gate} gate
   */
  update(mark, gate) {
    const { session } = this;
    const place = session.gatePlace(gate);
    const selected = session.selected === gate.id;
    const chosen = selected ? " selected" : "";
    mark.kind = gate.kind;
    const length = this.sizeBars(mark, place);
    mark.bars[1].getElement()?.setAttribute("class", `t-gate t-${gate.kind}${chosen}`);
    const [left, right] = place.ends;
    mark.middle = L.latLng((left[1] + right[1]) / 2, (left[0] + right[0]) / 2);
    mark.marker.setLatLng(mark.middle);
    const placed = mark.node.classList.contains("placed") ? " placed" : "";
    mark.node.className = `label gate ${gate.kind}${chosen}${placed}`;
    this.write(mark.node, gate, place, selected);
    for (const { marker, side } of mark.ends) {
      const [lon, lat] = place.ends[side];
      marker.setLatLng([lat, lon]);
      if (selected && !gate.surveyed && length > HANDLES_APART_PX) {
        marker.addTo(this.map);
      } else {
        marker.remove();
      }
    }
  }

  /**
   * @param {HTMLElement} node  the label
   * @param {Gate} gate
   * @param {GatePlace} place
   * @param {boolean} selected
   */
  write(node, gate, place, selected) {
    const { session } = this;
    const { place: digits } = session.base.decimals;
    const shown = session.shown(place.base);
    const worst = session.worstFinding(gate);
    const text = ` ${lengthText(shown, selected ? digits : 0)}`;
    node.replaceChildren(element("bdi", {}, gate.name), text);
    if (worst) {
      node.append(element("span", { class: `tag ${worst}` }, worst));
    }
    if (!this.hooks?.holds(gate.id)) {
      return;
    }
    const sigma = session.qualityAt(place.base);
    const worth = Number.isFinite(sigma) ? `, a crossing is good to ${millis(sigma)}` : "";
    const at = inField(shown, digits);
    node.setAttribute("aria-label", `${gate.name}, ${session.kind(gate.kind).name} gate`);
    node.setAttribute("aria-valuemax", inField(session.length, digits));
    node.setAttribute("aria-valuenow", at);
    node.setAttribute(
      "aria-valuetext",
      `${at} ${lengthName()}${worth}${worst ? `, ${worst}` : ""}`,
    );
  }

  /**
   * Draw a gate at its true length, or at the shortest that can be seen; its true length in
   * pixels is returned.
   *
   * @param {GateMark} mark
   * @param {GatePlace} place
   */
  sizeBars(mark, place) {
    const [left, right] = place.ends.map(([lon, lat]) => this.map.project([lat, lon]));
    const middle = left.add(right).divideBy(2);
    const length = left.distanceTo(right);
    const stretch = Math.max(1, SHORTEST_PX / Math.max(length, 0.001));
    const drawn = [left, right].map((end) =>
      this.map.unproject(middle.add(end.subtract(middle).multiplyBy(stretch))),
    );
    mark.bars.forEach((layer) => layer.setLatLngs(drawn));
    mark.drawn = drawn;
    mark.half = 0.5 * stretch * length;
    mark.away = Math.atan2(left.x - right.x, right.y - left.y);
    return length;
  }

  /** Tab goes through gates in racing order. */
  keepOrder() {
    const { gates } = this.session.state;
    const wanted = gates.flatMap((gate) => this.marks.get(gate.id)?.marker.getElement() ?? []);
    const pane = /** @type {HTMLElement} */ (this.map.getPane("markerPane"));
    const now = Array.from(pane.children).filter((child) =>
      wanted.includes(/** @type {HTMLElement} */ (child)),
    );
    if (wanted.every((node, n) => node === now[n])) {
      return;
    }
    const focused = document.activeElement;
    wanted.forEach((node) => pane.append(node));
    if (focused instanceof HTMLElement && pane.contains(focused)) {
      focused.focus({ preventScroll: true });
    }
  }
}

/**
 * A marker of no size that shows a node.
 *
 * @param {HTMLElement} node
 */
export function markerOf(node) {
  const icon = L.divIcon({ className: "at", iconSize: [0, 0], html: node });
  return L.marker([0, 0], { icon, keyboard: false, interactive: false });
}

/**
 * Put the focus on the label of a gate that can be moved.
 *
 * @param {string} id
 */
export function focusGate(id) {
  const node = document.querySelector(`[role="slider"][data-gate="${CSS.escape(id)}"]`);
  if (node instanceof HTMLElement) {
    node.focus({ preventScroll: true });
  }
}
