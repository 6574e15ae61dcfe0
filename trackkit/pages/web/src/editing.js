// Changes to gates: what was done by hand goes to the server one step at a time, and its answer is
// what the page shows. While a gate is dragged only the newest place waits to be sent.

import { lengthName } from "./figures.js";
import { Drafting, isLoose } from "./drafting.js";
import { focusGate } from "./gate_marks.js";
import { Messages } from "./messages.js";
import { reportOf } from "./outcomes.js";
import { Requests } from "./requests.js";
import { ask, tellClosed } from "./server.js";

/**
 * @import { Position } from "./line.js"
 * @import { StateDocument } from "./state_document.js"
 * @import { Change, Edit } from "./requests.js"
 * @import { Disk, Opened, Saved } from "./server.js"
 * @import { Session } from "./session.js"
 */

const WATCH_EVERY_MS = 2000;
/** Steps that follow one another within this are undone together. */
const NUDGES_APART_MS = 1200;
const HAND_RESTS_MS = 500;

export class Editing {
  /** @type {(id: string) => boolean} whether a gate can be moved */
  holds = () => true;
  /**
   * @param {Session} session
   * @param {Opened} opened
   */
  constructor(session, opened) {
    this.session = session;
    this.page = opened.page;
    this.base = opened.base;
    this.messages = new Messages();
    this.requests = new Requests((change) => this.send(change));
    /** The file on disk, as far as it is not what was read or written last. */
    this.disk = { changed: false, gone: false };
    this.leaving = false;
    this.drafting = new Drafting(session);
    this.saving = false;
    /** @type {{ id: string, merge: string, at: number } | null} */
    this.nudged = null;
    /** @type {ReturnType<typeof setTimeout> | undefined} */
    this.resting = undefined;
    session.on(["state"], () => {
      this.beginAnew();
    });
    window.addEventListener("beforeunload", (event) => {
      if ((session.state.unsaved || isLoose(this.drafting.draft)) && !this.leaving) {
        event.preventDefault();
        // Browsers of before 2023 ask only where this is set too.
        event.returnValue = "";
      }
    });
    window.addEventListener("pagehide", () => tellClosed(opened.page));
    setInterval(() => void this.watch(), WATCH_EVERY_MS);
    document.addEventListener("visibilitychange", () => void this.watch());
  }

  get busy() {
    return this.requests.busy;
  }

  get waiting() {
    return this.requests.waiting;
  }

  /** Settled once nothing that was asked is under way any more. */
  whenDone() {
    return this.requests.idle();
  }

  /**
   * Make one edit.
   *
   * @param {Edit} edit
   */
  edit(edit) {
    const gate = edit.gate === undefined ? {} : { gate: edit.gate };
    return this.requests.add({ edit: () => edit, ...gate });
  }

  undo() {
    void (this.drafting.draft.undo ? this.drafting.draft.undo() : this.edit({ do: "undo" }));
  }

  redo() {
    void (this.drafting.draft.redo ? this.drafting.draft.redo() : this.edit({ do: "redo" }));
  }

  /** Where the line is another one, drawn or taken from disk, the page begins anew with it. */
  beginAnew() {
    if (this.session.state.base === this.base || this.saving || this.leaving) {
      return;
    }
    this.leaving = true;
    // What there is to say of the change is said first.
    setTimeout(() => {
      this.session.tell("anew");
      window.location.reload();
    });
  }

  /**
   * Make an edit that a finding offers.
   *
   * @param {Edit} edit
   */
  async carryOut(edit) {
    await this.edit(edit);
    // The button is gone with the finding.
    if (edit.gate !== undefined && this.session.gate(edit.gate)) {
      focusGate(edit.gate);
    }
  }

  /** @param {Change} change */
  async send(change) {
    const edit = change.edit();
    const answer = await ask(this.page, "edit", edit).catch(
      (error) =>
        `trackkit does not answer any more (${error.message}). Start it again and reload ` +
        "this page; nothing was written since the last save.",
    );
    // A gate stays under the hand until the server has answered for its last place.
    if (change.last && !this.requests.awaits(change.gate)) {
      this.session.slide(null);
    }
    if (typeof answer === "string" || answer.refusal) {
      this.messages.complain(typeof answer === "string" ? answer : answer.refusal.error);
      this.session.tell("state");
      return;
    }
    const state = /** @type {StateDocument} */ (answer.done);
    this.messages.complain("");
    this.session.setState(state);
    if (!edit.light) {
      this.messages.say(reportOf(this.session, edit));
    }
  }

  /**
   * Hold a gate at a place. Places are sent with the decimals that are shown.
   *
   * @param {string} id
   * @param {number} base  chainage
   * @param {number} width  metres
   * @param {string} merge
   * @param {boolean} last  whether it is let go there
   */
  slideTo(id, base, width, merge, last) {
    const { session } = this;
    session.slide({ gate: id, base: session.toBase(session.rounded(base)), width });
    // Chainages count from the finish gate as it is once the changes before are answered.
    const edit = () => ({
      do: "move",
      gate: id,
      to_m: session.rounded(base),
      merge,
      light: !last,
    });
    return this.requests.add({ edit, gate: id, merge, last });
  }

  /**
   * Hold an end of a gate.
   *
   * @param {string} id
   * @param {number} base  chainage
   * @param {number} width  metres
   * @param {string} merge
   * @param {boolean} last  whether it is let go there
   */
  stretchTo(id, base, width, merge, last) {
    const rounded = this.session.roundedWidth(width);
    this.session.slide({ gate: id, base, width: rounded });
    const edit = () => ({ do: "width", gate: id, width_m: rounded, merge, light: !last });
    return this.requests.add({ edit, gate: id, merge, last });
  }

  /**
   * Move a gate by a step; steps that follow one another quickly are undone together.
   *
   * @param {string} id
   * @param {number} by  metres
   */
  nudge(id, by) {
    const { session } = this;
    const gate = session.gate(id);
    if (!gate) {
      return;
    }
    const now = performance.now();
    const again = this.nudged?.id === id && now - this.nudged.at <= NUDGES_APART_MS;
    const merge = again && this.nudged ? this.nudged.merge : `step-${id}-${Math.round(now)}`;
    this.nudged = { id, merge, at: now };
    const place = session.gatePlace(gate);
    const to = session.line.wrap(place.base + by);
    clearTimeout(this.resting);
    const movesDatum = gate.kind === "finish" && session.line.closed;
    void this.slideTo(id, to, place.width, merge, !movesDatum);
    if (movesDatum) {
      // Where chainage zero moves, working out everything takes long: that waits for the hand to
      // rest.
      this.resting = setTimeout(
        () => void this.slideTo(id, to, place.width, merge, true),
        HAND_RESTS_MS,
      );
    }
  }

  /**
   * @param {string} id
   * @param {number} shown  chainage as it was typed
   */
  moveTo(id, shown) {
    const gate = this.session.gate(id);
    if (!Number.isFinite(shown)) {
      this.messages.complain(`A chainage is a number of ${lengthName()}, for example 412.3.`);
    } else if (gate && this.session.differ(shown, gate.chainage_m)) {
      void this.edit({ do: "move", gate: id, to_m: shown });
    }
  }

  /**
   * @param {string} id
   * @param {number} width  as it was typed
   */
  widthTo(id, width) {
    const gate = this.session.gate(id);
    if (!Number.isFinite(width)) {
      this.messages.complain(`A width is a number of ${lengthName()}, for example 14.`);
    } else if (gate && this.session.differ(width, gate.width_m)) {
      void this.edit({ do: "width", gate: id, width_m: width });
    }
  }

  /**
   * @param {string} id
   * @param {string} name
   */
  rename(id, name) {
    const gate = this.session.gate(id);
    if (gate && name.trim() && name !== gate.name) {
      void this.edit({ do: "rename", gate: id, name: name.trim() });
    }
  }

  /**
   * @param {string} key  a fact, or `corner:` and a corner's id
   * @param {string} value  as it was typed
   */
  setFact(key, value) {
    void this.edit({ do: "set", key, value });
  }

  /**
   * Lay the pit lane along a line, or take it away.
   *
   * @param {Position[] | null} line
   * @param {string} [merge]
   */
  layPitLane(line, merge) {
    const key = merge === undefined ? {} : { merge };
    return this.requests.add({ edit: () => ({ do: "pit-lane", line, ...key }), ...key });
  }

  /** @param {string} id */
  async remove(id) {
    const gates = this.session.state.gates.map((gate) => gate.id);
    const at = gates.indexOf(id);
    const next = gates[at + 1] ?? gates[at - 1];
    await this.edit({ do: "remove", gate: id });
    // Focus must not be lost with what was removed.
    if (!this.session.gate(id) && next) {
      focusGate(next);
    }
  }

  /**
   * Place a gate, or move there the one of its kind that a track has at most.
   *
   * @param {string} kind
   * @param {number} shown  chainage
   */
  async place(kind, shown) {
    const { session } = this;
    const before = new Set(session.state.gates.map((gate) => gate.id));
    const there = session.kind(kind).single
      ? session.state.gates.find((gate) => gate.kind === kind)
      : undefined;
    await this.edit(
      there ? { do: "move", gate: there.id, to_m: shown } : { do: "place", kind, at_m: shown },
    );
    const made = there ?? session.state.gates.find((gate) => !before.has(gate.id));
    if (made) {
      focusGate(made.id);
    }
  }

  /**
   * @param {boolean} [replaceChanged]  whether a file that another program wrote is written over
   */
  async save(replaceChanged = false) {
    await this.whenDone();
    this.saving = true;
    const { finish } = this.drafting.draft;
    if (!finish || (await finish())) {
      await this.write(replaceChanged);
    }
    this.saving = false;
    this.beginAnew();
  }

  /** @param {boolean} replaceChanged */
  async write(replaceChanged) {
    const body = replaceChanged ? { replace_changed: true } : {};
    /** @type {Awaited<ReturnType<typeof ask<Saved>>>} */
    let answer;
    try {
      answer = await ask(this.page, "save", body);
    } catch (error) {
      const why = error instanceof Error ? error.message : String(error);
      this.messages.complain(`Could not save: trackkit does not answer (${why}).`);
      return;
    }
    if (answer.done) {
      const { state, file, previous } = answer.done;
      this.messages.complain("");
      this.session.setState(state);
      this.noteDisk(false, false);
      const kept = previous ? `; the previous file is ${previous}` : "";
      this.messages.say(`Saved to ${file}${kept}.`);
    } else if (answer.refusal.changed_on_disk) {
      this.noteDisk(true, answer.refusal.gone === true);
      this.session.tell("conflict");
    } else {
      this.messages.complain(answer.refusal.error);
    }
  }

  /** Take the file as it is on disk. */
  async reload() {
    const answer = await ask(this.page, "reload", {});
    if (answer.refusal) {
      this.messages.complain(answer.refusal.error);
      return;
    }
    this.session.setState(/** @type {StateDocument} */ (answer.done));
    this.noteDisk(false, false);
    this.messages.say("The file's gates are shown; Undo brings yours back.");
  }

  /** Another program may write the file meanwhile; another page may edit the same track. */
  async watch() {
    const { session } = this;
    if (document.hidden || this.busy || session.sliding) {
      return;
    }
    const answer = await ask(this.page, "disk").catch(() => null);
    if (!answer) {
      this.messages.complain(
        "trackkit does not answer any more; start it again and reload this page.",
      );
      return;
    }
    const disk = /** @type {Disk | null} */ (answer.done);
    if (!disk) {
      return;
    }
    this.noteDisk(disk.changed_on_disk, disk.gone);
    if (disk.edit !== session.state.edit && !this.busy) {
      const now = /** @type {{ done: StateDocument | null }} */ (await ask(this.page, "state"));
      if (now.done) {
        session.setState(now.done);
      }
    }
  }

  /**
   * @param {boolean} changed
   * @param {boolean} gone
   */
  noteDisk(changed, gone) {
    this.disk = { changed, gone };
    this.session.tell("disk");
  }
}
