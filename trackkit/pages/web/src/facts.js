// What people say of the track, to be changed by hand: its names, where it is, since when.

import { find } from "./elements.js";

/**
 * @import { Editing } from "./editing.js"
 * @import { Session } from "./session.js"
 * @import { StateDocument } from "./state_document.js"
 */

export class FactFields {
  /**
   * @param {Session} session
   * @param {Editing} editing
   */
  constructor(session, editing) {
    this.session = session;
    this.title = find("h1 bdi", HTMLElement);
    /** @type {(HTMLInputElement | HTMLTextAreaElement)[]} */
    this.fields = [...find("#facts", HTMLElement).querySelectorAll("input, textarea")].map(
      (node) => /** @type {HTMLInputElement | HTMLTextAreaElement} */ (node),
    );
    for (const field of this.fields) {
      field.addEventListener("change", () => editing.setFact(field.name, field.value));
      // What was refused does not stay behind as if it were so.
      field.addEventListener("blur", () => void editing.whenDone().then(() => this.draw()));
    }
    this.edit = -1;
    session.on(["state"], () => this.draw());
    this.draw();
  }

  draw() {
    const { state } = this.session;
    const fresh = state.edit !== this.edit;
    this.edit = state.edit;
    this.title.textContent = state.track.name;
    for (const field of this.fields) {
      const text = factOf(state, field.name);
      if ((fresh || !field.matches(":focus")) && field.value !== text) {
        field.value = text;
      }
    }
  }
}

/**
 * @param {StateDocument} state
 * @param {string} key
 */
export function factOf(state, key) {
  /** @type {Record<string, string | null>} */
  const facts = { ...state.facts, name: state.track.name, layout: state.track.layout };
  return facts[key] ?? "";
}
