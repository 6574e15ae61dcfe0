// Undo, redo and save, and whether there is anything to save.

import { isLoose } from "./drafting.js";
import { find } from "./elements.js";

/**
 * @import { Editing } from "./editing.js"
 * @import { Session } from "./session.js"
 */

export class Toolbar {
  /**
   * @param {Session} session
   * @param {Editing} editing
   */
  constructor(session, editing) {
    this.session = session;
    this.editing = editing;
    this.undo = find("#undo", HTMLButtonElement);
    this.redo = find("#redo", HTMLButtonElement);
    this.save = find("#save", HTMLButtonElement);
    this.unsaved = find("#unsaved", HTMLElement);
    this.undo.addEventListener("click", () => editing.undo());
    this.redo.addEventListener("click", () => editing.redo());
    this.save.addEventListener("click", () => void editing.save());
    session.on(["state", "draft"], () => this.draw());
    this.draw();
  }

  draw() {
    const { state } = this.session;
    const { draft } = this.editing.drafting;
    const { undo, undoes, redo, redoes } = draft;
    enable(this.undo, Boolean(undo) || state.can_undo, "Undo", undoes ?? state.undo_what);
    enable(this.redo, Boolean(redo) || state.can_redo, "Redo", redoes ?? state.redo_what);
    enable(this.save, true, "Save", null);
    const unsaved = state.unsaved || isLoose(draft);
    this.unsaved.textContent = unsaved ? "Not saved" : "Saved";
    this.unsaved.className = unsaved ? "unsaved" : "saved";
    document.title = (unsaved ? "\u2022 " : "") + state.track.name;
  }
}

/**
 * @param {HTMLButtonElement} button
 * @param {boolean} can
 * @param {string} name
 * @param {string | null} what
 */
function enable(button, can, name, what) {
  button.setAttribute("aria-disabled", String(!can));
  button.title = can && what ? `${name}: ${what}` : name;
}
