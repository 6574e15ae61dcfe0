// The question for the name of a copy. What is refused is said there, so that another can be typed.

import { find } from "./elements.js";
import { ask } from "./server.js";

/**
 * @import { Editing } from "./editing.js"
 * @import { Saved } from "./server.js"
 */

export class CopyDialog {
  /**
   * @param {Editing} editing
   * @param {string} file  the track file
   */
  constructor(editing, file) {
    this.editing = editing;
    this.dialog = find("#copy-dialog", HTMLDialogElement);
    this.name = find("#copy-name", HTMLInputElement);
    this.trouble = find("#copy-trouble", HTMLElement);
    this.name.value = copyName(file);
    find("#save-copy", HTMLElement).addEventListener("click", () => this.ask());
    find(".cancel", HTMLElement, this.dialog).addEventListener("click", () => this.dialog.close());
    find("#copy-form", HTMLFormElement).addEventListener("submit", (event) => {
      event.preventDefault();
      void this.save();
    });
  }

  ask() {
    this.trouble.textContent = "";
    this.dialog.showModal();
    this.name.focus();
    this.name.select();
  }

  async save() {
    const { page, messages } = this.editing;
    this.trouble.textContent = "";
    await this.editing.whenDone();
    /** @type {Awaited<ReturnType<typeof ask<Pick<Saved, "file">>>>} */
    let answer;
    try {
      answer = await ask(page, "copy", { name: this.name.value });
    } catch (error) {
      const why = error instanceof Error ? error.message : String(error);
      this.trouble.textContent = `Could not save: trackkit does not answer (${why}).`;
      return;
    }
    if (answer.done) {
      this.dialog.close();
      messages.say(`Copy saved to ${answer.done.file}.`);
    } else {
      this.trouble.textContent = answer.refusal.error;
      this.name.focus();
    }
  }
}

/**
 * A name that is offered for the copy of a file.
 *
 * @param {string} file
 */
export function copyName(file) {
  const name = file.split(/[/\\]/).pop() ?? "";
  return `${name.replace(/\.[^.]*$/, "")}-copy.geojson`;
}
