// Where pit lanes are on the ground; they change by hand, and when the file is read again.

import { worldOfPositions } from "./mercator.js";

/**
 * @import { WorldPoints } from "./mercator.js"
 * @import { Session } from "./session.js"
 */

export class LanePaths {
  /**
   * @param {Session} session
   * @param {() => void} changed
   */
  constructor(session, changed) {
    this.session = session;
    /** @type {WorldPoints[]} */
    this.world = [];
    this.laid = "";
    this.lay();
    session.on(["state"], () => {
      if (this.lay()) {
        changed();
      }
    });
  }

  /** @returns {boolean}  whether they are others than before */
  lay() {
    const lines = this.session.state.pit_lanes.map((lane) => lane.line);
    const text = JSON.stringify(lines);
    const fresh = text !== this.laid;
    if (fresh) {
      this.laid = text;
      this.world = lines.map((line) => worldOfPositions(line));
    }
    return fresh;
  }
}
