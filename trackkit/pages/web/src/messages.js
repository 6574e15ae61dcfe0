// What the page says of changes: done, for those who listen, or not done, for everyone.

import { find } from "./elements.js";

export class Messages {
  constructor() {
    this.status = find("#status", HTMLElement);
    this.trouble = find("#trouble", HTMLElement);
    this.box = find("#trouble-box", HTMLElement);
    find("#trouble-close", HTMLElement).addEventListener("click", () => this.complain(""));
  }

  /** @param {string} text */
  say(text) {
    this.status.textContent = text;
  }

  /** @param {string} text  nothing takes back what was said before */
  complain(text) {
    this.box.hidden = !text;
    this.trouble.textContent = text;
  }
}
