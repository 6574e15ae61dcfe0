// Undo, redo and save, and whether there is anything to save.

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
    this.redo.addEventListener("click", () => void editing.edit({ do: "redo" }));
    this.save.addEventListener("click", () => void editing.save());
    session.on(["state", "draft"], () => this.draw());
    this.draw();
  }

  draw() {
    const { state } = this.session;
    const drawn = this.editing.draft.length > 0;
    const undone = drawn ? "the last point" : state.undo_what;
    enable(this.undo, drawn || state.can_undo, "Undo", undone);
    enable(this.redo, state.can_redo, "Redo", state.redo_what);
    enable(this.save, true, "Save", null);
    this.unsaved.textContent = state.unsaved ? "Not saved" : "Saved";
    this.unsaved.className = state.unsaved ? "unsaved" : "saved";
    document.title = (state.unsaved ? "\u2022 " : "") + state.track.name;
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
