// What is drawn on the page and is no edit yet: one thing at a time, with undo and redo of its own.

/**
 * @import { Session } from "./session.js"
 *
 * @typedef {object} Draft
 * @property {() => void} [undo]  left out where there is nothing to undo
 * @property {string} [undoes]  what undo takes back
 * @property {() => void} [redo]
 * @property {string} [redoes]
 * @property {boolean} [kept]  whether the server has it: it outlives the page
 * @property {() => Promise<boolean>} [finish]  makes the edit; whether it was made
 */

/**
 * Whether a draft would be lost with the page.
 *
 * @param {Draft} draft
 */
export function isLoose({ undo, kept }) {
  return Boolean(undo) && !kept;
}

export class Drafting {
  /** @param {Session} session */
  constructor(session) {
    this.session = session;
    /** @type {Draft} */
    this.draft = {};
    /** @type {(() => void) | null} leaves what is being drawn */
    this.leave = null;
  }

  /** @param {() => void} leave  leaves what is going to be drawn */
  begin(leave) {
    const before = this.leave;
    this.leave = null;
    before?.();
    this.leave = leave;
  }

  end() {
    this.leave = null;
    this.set({});
  }

  /** @param {Draft} draft */
  set(draft) {
    this.draft = draft;
    this.session.tell("draft");
  }
}
