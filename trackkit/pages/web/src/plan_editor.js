// Laying a plan without coordinates under the map: a place is picked on the plan, then the same
// place on the map. The server tells how well the pairs agree, and lays the plan.

import { element, find } from "./elements.js";
import { PairMarks, picksInMiddle, PlanPane } from "./plan_pane.js";
import { PlanPairs } from "./plan_pairs.js";
import { PlanTable } from "./plan_table.js";
import { button } from "./point_bar.js";
import { ask } from "./server.js";
import { pictureLayer } from "./underlay.js";

/**
 * @import { Underlay } from "./base_document.js"
 * @import { Editing } from "./editing.js"
 * @import { Position } from "./line.js"
 * @import { MapView } from "./map.js"
 * @import { Fit, Pair } from "./plan_pairs.js"
 * @import { Answer, Opened } from "./server.js"
 * @import { Session } from "./session.js"
 * @import { StateDocument } from "./state_document.js"
 *
 * @typedef {object} Plan
 * @property {string} file
 * @property {string} picture
 * @property {number} width  in the plan's unit
 * @property {number} height
 * @property {string} unit
 * @property {Record<Fit, number>} fewest  pairs that each fit needs
 * @property {Pair[]} pairs
 * @property {Fit} fit
 * @property {string} credit
 * @property {boolean} laid
 * @property {string} save_as
 *
 * @typedef {object} Left  what is left at a pair
 * @property {number} east_m
 * @property {number} north_m
 * @property {number} away_m
 * @property {string | null} bad  what is wrong with it
 *
 * @typedef {object} Tried  how well pairs lay the plan
 * @property {boolean} fits
 * @property {string} [why]  not
 * @property {Left[]} [pairs]
 * @property {string[]} [remarks]
 * @property {Underlay} [underlay]
 */

export class PlanEditor {
  /**
   * @param {Session} session
   * @param {Editing} editing
   * @param {MapView} view
   * @param {Opened["plan"]} opened
   */
  constructor(session, editing, view, opened) {
    this.session = session;
    this.editing = editing;
    this.view = view;
    /** @type {Plan | null} */
    this.plan = null;
    this.pairs = new PlanPairs([], "affine");
    /** @type {PlanPane | null} */
    this.pane = null;
    /** @type {Tried | null} */
    this.tried = null;
    this.asked = 0;
    this.trying = false;
    /** @type {L.ImageOverlay | null} */
    this.picture = null;
    this.marks = new PairMarks(view.map);
    this.bar = find("#plan-bar", HTMLElement);
    this.node = find("#plan-pane", HTMLElement);
    this.said = find("#plan-said", HTMLElement);
    this.fit = find("#plan-fit", HTMLSelectElement);
    this.snap = find("#plan-snap", HTMLInputElement);
    this.x = find("#plan-x", HTMLInputElement);
    this.y = find("#plan-y", HTMLInputElement);
    this.place = find("#plan-place", HTMLInputElement);
    this.credit = find("#plan-credit", HTMLInputElement);
    this.name = find("#plan-name", HTMLInputElement);
    this.lays = button("#plan-lay", () => void this.lay());
    this.opener = button("#plan-open", () => void this.open());
    this.table = new PlanTable(find("#plan-pairs", HTMLTableElement), (n) => this.drop(n));
    /** @type {() => void} */
    this.endPicking = () => {};
    this.listen();
    if (opened && !opened.laid) {
      void this.open();
    }
  }

  listen() {
    button("#plan-leave", () => this.leave());
    button("#plan-save-points", () => void this.save("points"));
    button("#plan-save-picture", () => void this.save("picture"));
    find("#plan-typed", HTMLFormElement).addEventListener("submit", (event) => {
      event.preventDefault();
      void this.addTyped();
    });
    this.fit.addEventListener("change", () => {
      this.pairs.choose(/** @type {Fit} */ (this.fit.value));
      this.changed();
    });
    for (const node of [this.bar, this.node]) {
      node.addEventListener("keydown", ({ key }) => {
        if (key === "Escape" && this.pairs.waits) {
          this.pairs.forget();
          this.draw();
        } else if (key === "Escape") {
          this.leave();
        }
      });
    }
  }

  async open() {
    const answer = await ask(this.editing.page, "plan").catch(() => null);
    const plan = /** @type {Plan | null} */ (answer?.done ?? null);
    if (!plan) {
      this.editing.messages.complain(answer?.refusal?.error ?? "trackkit does not answer.");
      return;
    }
    const { view } = this;
    this.editing.drafting.begin(() => this.leave());
    this.plan = plan;
    this.pairs = new PlanPairs(plan.pairs, plan.fit);
    this.credit.value = plan.credit;
    this.name.value = plan.save_as;
    this.bar.hidden = false;
    this.node.hidden = false;
    this.opener.hidden = true;
    view.map.invalidateSize({ animate: false });
    view.fit();
    view.held = true;
    view.map.doubleClickZoom.disable();
    view.taken = (at) => this.pickOnGround(at);
    this.endPicking = picksInMiddle(view.map, ({ lng, lat }) => void this.pickOnGround([lng, lat]));
    this.pane ??= new PlanPane(this.node, plan, (place) => {
      this.after(this.pairs.pickOnPlan(place));
    });
    this.pane.fit();
    this.node.scrollIntoView({ block: "nearest" });
    this.bar.focus({ preventScroll: true });
    this.changed();
  }

  leave() {
    if (!this.plan) {
      return;
    }
    this.plan = null;
    this.bar.hidden = true;
    this.node.hidden = true;
    this.opener.hidden = false;
    this.endPicking();
    this.view.taken = () => false;
    this.view.map.doubleClickZoom.enable();
    this.marks.draw([], null, () => false);
    this.show(null);
    this.editing.drafting.end();
    this.view.map.invalidateSize({ animate: false });
    this.opener.focus({ preventScroll: true });
  }

  /**
   * @param {Position} at
   * @returns {boolean} true: the click was for the plan
   */
  pickOnGround(at) {
    const { line } = this.session;
    const [lon, lat] = at;
    const on = this.snap.checked ? this.view.under(L.latLng(lat, lon)) : null;
    const place = on === null ? at : [line.at(on).lon, line.at(on).lat];
    this.after(this.pairs.pickOnGround(/** @type {Position} */ (place)));
    return true;
  }

  /** @param {boolean} paired */
  after(paired) {
    if (paired) {
      this.changed();
    } else {
      this.draw();
    }
  }

  async addTyped() {
    const [x, y] = [this.x.valueAsNumber, this.y.valueAsNumber];
    const answer = await this.request("place", { place: this.place.value });
    if (answer?.done) {
      this.pairs.add({ x, y, at: answer.done.at });
      this.changed();
      this.x.focus();
    } else if (answer) {
      this.place.focus();
    }
  }

  /** @param {number} n */
  drop(n) {
    this.pairs.drop(n);
    this.changed();
    if (!this.table.focus(Math.min(n, this.pairs.pairs.length - 1))) {
      this.bar.focus({ preventScroll: true });
    }
  }

  /** The pairs are others: tell the server, which tells what they are worth. */
  changed() {
    this.tellDraft();
    this.tried = null;
    this.draw();
    void this.tryPairs();
  }

  tellDraft() {
    const { pairs } = this;
    const step = (/** @type {() => void} */ deed) => () => {
      deed();
      this.changed();
    };
    this.editing.drafting.set({
      kept: true,
      ...(pairs.undoes === null ? {} : { undo: step(() => pairs.undo()), undoes: pairs.undoes }),
      ...(pairs.redoes === null ? {} : { redo: step(() => pairs.redo()), redoes: pairs.redoes }),
    });
  }

  /** Ask once more where pairs changed meanwhile: an answer for pairs of before serves nobody. */
  async tryPairs() {
    this.asked += 1;
    if (this.trying) {
      return;
    }
    this.trying = true;
    for (let asked = -1; asked !== this.asked && this.plan;) {
      ({ asked } = this);
      const answer = await this.request("pairs", this.sent());
      if (asked === this.asked && answer?.done) {
        this.tried = /** @type {Tried} */ (answer.done);
        this.draw();
      }
    }
    this.trying = false;
  }

  sent() {
    const { pairs, fit } = this.pairs;
    return { pairs, fit, credit: this.credit.value };
  }

  draw() {
    const { plan, pairs, tried } = this;
    if (!plan) {
      return;
    }
    this.fit.value = pairs.fit;
    this.drawMarks();
    this.fillFields();
    this.table.draw(pairs.pairs, tried?.pairs ?? [], plan.unit);
    const enough = pairs.pairs.length >= plan.fewest[pairs.fit];
    this.say([pairs.hint(plan.fewest), ...(enough && tried ? saidOf(tried) : [])]);
    this.lays.disabled = !tried?.fits;
    if (tried || !enough) {
      this.show(tried?.underlay ?? null);
    }
  }

  /** @param {string[]} sentences  the first is what to do next */
  say([next, ...more]) {
    this.said.replaceChildren(element("strong", {}, next), ...more.map((text) => ` ${text}`));
  }

  drawMarks() {
    const { pairs, plan, ground } = this.pairs;
    const isBad = (/** @type {number} */ n) => Boolean(this.tried?.pairs?.[n]?.bad);
    this.pane?.marks.draw(
      pairs.map(({ x, y }) => PlanPane.latLng([x, y])),
      plan ? PlanPane.latLng(plan) : null,
      isBad,
    );
    this.marks.draw(
      pairs.map(({ at }) => this.onMap(at)),
      ground ? this.onMap(ground) : null,
      isBad,
    );
  }

  /** @param {Position} at */
  onMap([lon, lat]) {
    return L.latLng(lat, this.session.line.nearLongitude(lon));
  }

  /** What is picked stands in the fields, so that only the other half has to be typed. */
  fillFields() {
    const { plan, ground } = this.pairs;
    if (plan) {
      [this.x.value, this.y.value] = plan.map(String);
    }
    if (ground) {
      this.place.value = `${ground[1].toFixed(7)} ${ground[0].toFixed(7)}`;
    }
  }

  /** @param {Underlay | null} underlay  laid under the map for as long as pairs are put together */
  show(underlay) {
    this.picture?.remove();
    this.picture = underlay && pictureLayer(underlay).addTo(this.view.map);
    this.view.showUnderlay(!underlay);
    document.body.classList.toggle("on-picture", Boolean(underlay ?? this.session.base.underlay));
    this.view.ground.redraw();
  }

  async lay() {
    this.lays.disabled = true;
    const answer = await this.request("lay", this.sent());
    this.lays.disabled = false;
    if (answer?.done) {
      this.editing.messages.say("The plan lies under the map.");
      this.editing.drafting.end();
      this.session.setState(/** @type {StateDocument} */ (answer.done));
    } else if (!this.credit.value.trim()) {
      this.credit.focus();
    }
  }

  /** @param {"points" | "picture"} what */
  async save(what) {
    const answer = await this.request("save", {
      ...this.sent(),
      what,
      name: this.name.value,
    });
    if (answer?.done) {
      this.said.textContent = `Saved to ${answer.done.file}.`;
    }
  }

  /**
   * Ask the server something about the plan; what it refuses is said.
   *
   * @param {string} what
   * @param {object} body
   * @returns {Promise<Answer<any> | null>} null where it does not answer
   */
  async request(what, body) {
    const { messages, page } = this.editing;
    try {
      const answer = await ask(page, `plan/${what}`, body);
      messages.complain(answer.refusal?.error ?? "");
      return answer;
    } catch (error) {
      const why = error instanceof Error ? error.message : String(error);
      messages.complain(`trackkit does not answer any more (${why}).`);
      return null;
    }
  }
}

/**
 * @param {Tried} tried
 * @returns {string[]} sentences
 */
function saidOf({ remarks, why }) {
  return (remarks ?? (why ? [why] : [])).map((text) => `${text[0].toUpperCase()}${text.slice(1)}.`);
}
