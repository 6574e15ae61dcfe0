// Gates and sectors in racing order. Rows are kept while they last, so that focus stays where it
// is.

import { arrangeChildren, element } from "./elements.js";
import { lengthText, millis } from "./figures.js";
import { sectorLength } from "./sector_length.js";
import { inField, metresOf, units } from "./units.js";

/**
 * @import { Gate, Sector } from "./state_document.js"
 * @import { GateHand } from "./page.js"
 * @import { GatePlace, Session } from "./session.js"
 *
 * @typedef {object} Fields  what can be typed, and buttons
 * @property {HTMLInputElement} name
 * @property {HTMLInputElement} at
 * @property {HTMLInputElement} width
 * @property {{ by: number, name: HTMLElement }[]} steps
 * @property {HTMLButtonElement} remove
 * @property {HTMLElement} tools
 * @property {number} edit  of the state that the fields show
 *
 * @typedef {object} GateRow
 * @property {HTMLElement} item
 * @property {HTMLElement} kind
 * @property {HTMLElement} sigma
 * @property {HTMLElement} findings
 * @property {string} listed  findings shown
 * @property {Fields | null} fields  null where nothing can be changed
 * @property {{ name: HTMLElement, at: HTMLElement, width: HTMLElement } | null} texts
 */

/** In the unit that is read. */
const STEPS = [-10, -1, 1, 10];

export class Ledger {
  /**
   * @param {Session} session
   * @param {HTMLElement} node
   * @param {GateHand | null} editing  null where nothing can be changed
   */
  constructor(session, node, editing) {
    this.session = session;
    this.node = node;
    this.editing = editing;
    /** @type {Map<string, GateRow>} */
    this.rows = new Map();
    /** @type {Map<number, HTMLElement>} */
    this.sectors = new Map();
    session.on(["state", "sliding", "selected"], () => this.draw());
    this.draw();
  }

  draw() {
    const { gates, sectors } = this.session.state;
    const ids = new Set(gates.map((gate) => gate.id));
    for (const id of this.rows.keys()) {
      if (!ids.has(id)) {
        this.rows.delete(id);
      }
    }
    const order = gates.flatMap((gate) => {
      const row = this.rows.get(gate.id) ?? this.add(gate.id);
      this.update(row, gate);
      const after = sectors.filter((sector) => sector.from === gate.id);
      return [row.item, ...after.map((sector) => this.sectorItem(sector))];
    });
    const { children } = this.node;
    if (order.length !== children.length || order.some((item, n) => item !== children[n])) {
      arrangeChildren(this.node, order);
    }
  }

  /** @param {Sector} sector */
  sectorItem(sector) {
    const name = element("span", {}, `Sector ${sector.number}`);
    const length = element("span", { class: "n" }, lengthText(sectorLength(this.session, sector)));
    const item = this.sectors.get(sector.number) ?? element("li", { class: "sector-row" });
    this.sectors.set(sector.number, item);
    item.replaceChildren(name, length);
    return item;
  }

  /**
   * @param {string} id
   * @returns {GateRow}
   */
  add(id) {
    const kind = element("span", { class: "kind" });
    const sigma = element("span", { class: "sigma", title: "One sigma of a crossing there" });
    const findings = element("div", { class: "row-findings" });
    const item = element("li", { class: "gate-row" });
    /** @type {GateRow} */
    const row = { item, kind, sigma, findings, listed: "", fields: null, texts: null };
    if (this.editing?.holds(id)) {
      const fields = this.fieldsOf(id, this.editing);
      const { name, at, width, tools } = fields;
      const figures = element(
        "span",
        { class: "figures" },
        element("span", { class: "unit" }, at, ` ${units().length}`),
        element("span", { class: "unit" }, width, ` ${units().length} wide`),
        sigma,
      );
      item.append(name, kind, figures, tools, findings);
      row.fields = fields;
    } else {
      const select = () => this.session.select(id);
      const name = element("button", { type: "button", class: "name", onclick: select });
      const at = element("span", { class: "n" });
      const width = element("span", { class: "n" });
      item.append(name, kind, element("span", { class: "figures" }, at, width, sigma), findings);
      row.texts = { name, at, width };
    }
    this.rows.set(id, row);
    return row;
  }

  /**
   * @param {string} id
   * @param {GateHand} editing
   * @returns {Fields}
   */
  fieldsOf(id, editing) {
    const { limits, decimals } = this.session.base;
    /**
     * @param {Record<string, unknown>} attributes
     * @param {(input: HTMLInputElement) => void} changed
     */
    const field = (attributes, changed) => {
      const input = element("input", { autocomplete: "off", ...attributes });
      // Enter makes the browser tell of the change too, and only once.
      input.addEventListener("change", () => changed(input));
      input.addEventListener("focus", () => this.session.select(id));
      // What was refused, or left blank, does not stay behind as if it were so.
      input.addEventListener("blur", () => void editing.whenDone().then(() => this.draw()));
      return input;
    };
    const figure = { type: "number", step: 10 ** -decimals.place, inputmode: "decimal" };
    const [min, max] = limits.gate_width_m.map((most) => units().length_per_m * most);
    const name = field({ class: "name", maxlength: limits.gate_name_length }, (input) =>
      editing.rename(id, input.value),
    );
    const at = field({ ...figure, class: "n" }, (input) =>
      editing.moveTo(id, metresOf(input.valueAsNumber)),
    );
    const width = field({ ...figure, class: "n narrow", min, max }, (input) =>
      editing.widthTo(id, metresOf(input.valueAsNumber)),
    );
    const steps = STEPS.map((by) => ({ by, name: element("span", { class: "unseen" }) }));
    const buttons = steps.map((step) =>
      element(
        "button",
        { type: "button", class: "step", onclick: () => editing.nudge(id, metresOf(step.by)) },
        element("span", { "aria-hidden": "true" }, signedWhole(step.by)),
        step.name,
      ),
    );
    const remove = element(
      "button",
      { type: "button", class: "remove", onclick: () => editing.remove(id) },
      "Remove",
    );
    const tools = element("div", { class: "tools" }, ...buttons, remove);
    return { name, at, width, steps, remove, tools, edit: -1 };
  }

  /**
   * @param {GateRow} row
   * @param {Gate} gate
   */
  update(row, gate) {
    const { session } = this;
    const place = session.gatePlace(gate);
    const selected = session.selected === gate.id;
    row.item.className = `gate-row ${gate.kind}${selected ? " selected" : ""}`;
    row.kind.textContent = session.kind(gate.kind).name + (gate.surveyed ? ", surveyed" : "");
    const sigma = session.sliding ? session.qualityAt(place.base) : (gate.sigma_s ?? NaN);
    row.sigma.textContent = Number.isFinite(sigma) ? millis(sigma) : "";
    if (row.fields) {
      this.fill(row.fields, gate, place);
      row.fields.tools.hidden = !selected;
    }
    if (row.texts) {
      const { place: digits } = session.base.decimals;
      row.texts.name.replaceChildren(element("bdi", {}, gate.name));
      row.texts.at.textContent = lengthText(session.shown(place.base), digits);
      row.texts.width.textContent = `${lengthText(place.width, digits)} wide`;
    }
    this.tellFindings(row, gate);
  }

  /**
   * @param {Fields} fields
   * @param {Gate} gate
   * @param {GatePlace} place
   */
  fill(fields, gate, place) {
    const { session } = this;
    const { place: digits } = session.base.decimals;
    const moving = session.sliding?.gate === gate.id;
    const fresh = moving || session.state.edit !== fields.edit;
    fields.edit = session.state.edit;
    // What is being typed stays until the gate is another one.
    write(fields.name, gate.name, fresh && !moving);
    write(fields.at, inField(session.shown(place.base), digits), fresh);
    write(fields.width, inField(place.width, digits), fresh);
    const { length, length_name: named } = units();
    fields.name.setAttribute("aria-label", `Name of ${gate.name}`);
    fields.at.setAttribute("aria-label", `Chainage of ${gate.name}, ${named}`);
    fields.width.setAttribute("aria-label", `Width of ${gate.name}, ${named}`);
    for (const { by, name } of fields.steps) {
      name.textContent = `Move ${gate.name} by ${by} ${length}`;
    }
    fields.remove.setAttribute("aria-label", `Remove ${gate.name}`);
    fields.remove.hidden = session.kind(gate.kind).required;
  }

  /**
   * @param {GateRow} row
   * @param {Gate} gate
   */
  tellFindings(row, gate) {
    const findings = this.session.findingsOf(gate);
    const listed = JSON.stringify(findings);
    if (listed === row.listed) {
      return;
    }
    row.listed = listed;
    row.findings.replaceChildren(
      ...findings.map(({ severity, accepted, message }) =>
        element(
          "p",
          { class: accepted ? "accepted" : null },
          element("span", { class: `tag ${severity}` }, severity + (accepted ? ", accepted" : "")),
          ` ${message}`,
        ),
      ),
    );
  }
}

/**
 * Write into a field, unless someone is typing in it and it may stay.
 *
 * @param {HTMLInputElement} input
 * @param {string} text
 * @param {boolean} now
 */
function write(input, text, now) {
  if ((now || !input.matches(":focus")) && input.value !== text) {
    input.value = text;
  }
}

/** @param {number} value */
function signedWhole(value) {
  return value < 0 ? `\u2212${-value}` : `+${value}`;
}
