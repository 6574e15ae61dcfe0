// Edits on their way to the server: one at a time, and of places along a drag only the newest.

/**
 * @typedef {object} Edit  as docs/editing.md lists them
 * @property {string} do
 * @property {string} [gate]
 * @property {string} [merge]
 * @property {boolean} [light]
 * @property {number} [to_m]
 * @property {number} [at_m]
 * @property {number} [width_m]
 * @property {string} [kind]
 * @property {string} [name]
 *
 * @typedef {object} Change
 * @property {() => Edit} edit  as it stands when it is sent
 * @property {string} [gate]  id of the gate that it changes
 * @property {string} [merge]  a later change of the same key takes the place of one that waits
 * @property {boolean} [last]  whether the gate is let go with it
 *
 * @typedef {object} Job
 * @property {Change} change
 * @property {Promise<void>} done
 * @property {() => void} settle
 */

export class Requests {
  /** @param {(change: Change) => Promise<void>} send */
  constructor(send) {
    this.send = send;
    this.busy = false;
    /** @type {Job[]} */
    this.waiting = [];
  }

  /**
   * Send a change once those before it are answered.
   *
   * @param {Change} change
   * @returns {Promise<void>}  settled once it is answered itself
   */
  add(change) {
    const last = this.waiting[this.waiting.length - 1];
    if (last && change.merge !== undefined && last.change.merge === change.merge) {
      last.change = change;
      return last.done;
    }
    let settle = () => {};
    /** @type {Promise<void>} */
    const done = new Promise((resolve) => {
      settle = resolve;
    });
    this.waiting.push({ change, done, settle });
    void this.work();
    return done;
  }

  async work() {
    if (this.busy) {
      return;
    }
    this.busy = true;
    try {
      for (let job = this.waiting.shift(); job; job = this.waiting.shift()) {
        await this.send(job.change).finally(job.settle);
      }
    } finally {
      this.busy = false;
    }
  }

  /** @param {string | undefined} gate  id of a gate that a change waits for */
  awaits(gate) {
    return this.waiting.some((job) => job.change.gate === gate);
  }

  /** Settled once nothing that was asked is under way any more. */
  async idle() {
    while (this.busy) {
      await new Promise((resolve) => {
        setTimeout(resolve, 20);
      });
    }
  }
}
