// What the page says when another program has written the file, or taken it away.

import { find } from "./elements.js";

/**
 * @import { Editing } from "./editing.js"
 * @import { Session } from "./session.js"
 */

const WORDS = {
  changed: {
    notice: "Another program has changed the file.",
    title: "The file has changed",
    text:
      "Another program wrote the track file after this page read it. " +
      "Nothing of yours is saved yet.",
    write: "Write over it, keeping what it holds as the previous file",
  },
  // A file that is gone can be written again, but not taken.
  gone: {
    notice: "The file was deleted or moved.",
    title: "The file is gone",
    text:
      "The track file was deleted or moved after this page read it. " +
      "What this page shows is saved nowhere.",
    write: "Write it again",
  },
};

export class DiskNotice {
  /**
   * @param {Session} session
   * @param {Editing} editing
   */
  constructor(session, editing) {
    this.editing = editing;
    this.notice = find("#changed", HTMLElement);
    this.dialog = find("#disk-dialog", HTMLDialogElement);
    this.take = find('[value="theirs"]', HTMLButtonElement, this.dialog);
    this.write = find('[value="ours"]', HTMLButtonElement, this.dialog);
    for (const button of this.dialog.querySelectorAll("button")) {
      button.addEventListener("click", () => this.dialog.close(button.value));
    }
    this.dialog.addEventListener("close", () => this.answered());
    find("#changed-look", HTMLElement).addEventListener("click", () => this.ask());
    session.on(["disk"], () => this.draw());
    session.on(["conflict"], () => this.ask());
  }

  draw() {
    const { changed, gone } = this.editing.disk;
    const words = gone ? WORDS.gone : WORDS.changed;
    this.notice.hidden = !changed;
    find("span", HTMLElement, this.notice).textContent = words.notice;
    find("#disk-title", HTMLElement).textContent = words.title;
    find("p", HTMLElement, this.dialog).textContent = words.text;
    this.write.textContent = words.write;
    this.take.hidden = gone;
  }

  ask() {
    this.draw();
    if (!this.dialog.open) {
      this.dialog.returnValue = "";
      this.dialog.showModal();
    }
  }

  answered() {
    if (this.dialog.returnValue === "theirs") {
      void this.editing.reload();
    }
    if (this.dialog.returnValue === "ours") {
      void this.editing.save(true);
    }
  }
}
