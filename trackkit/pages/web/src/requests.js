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
 * @property {string} [key]
 * @property {string} [value]
 * @property {import("./line.js").Position[] | null} [line]  of the pit lane; null takes it away
 * @property {number} [datum_m]  where the chainages of the stretches count from
 * @property {"left" | "right"} [side]  of the edge that was drawn
 * @property {SentStretch[]} [stretches]  of the line or of the edge
 *
 * @typedef {object} SentStretch
 * @property {number | null} from_m
 * @property {number | null} to_m
 * @property {import("./line.js").Position[]} points
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
 * @property {() => void} resolve
 * @property {(error: unknown) => void} reject
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
   * @returns {Promise<void>}  of the answer to it, or to the one that took its place
   */
  add(change) {
    const last = this.waiting[this.waiting.length - 1];
    if (last && change.merge !== undefined && last.change.merge === change.merge) {
      last.change = change;
      return last.done;
    }
    /** @type {Partial<Job>} */
    const job = { change };
    /** @type {Promise<void>} */
    const done = new Promise((resolve, reject) => Object.assign(job, { resolve, reject }));
    this.waiting.push(/** @type {Job} */ ({ ...job, done }));
    void this.work();
    return done;
  }

  async work() {
    if (this.busy) {
      return;
    }
    this.busy = true;
    for (let job = this.waiting.shift(); job; job = this.waiting.shift()) {
      await this.send(job.change).then(job.resolve, job.reject);
    }
    this.busy = false;
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
