// What an edit did, in words.

import { lengthText } from "./figures.js";

/**
 * @import { Edit } from "./requests.js"
 * @import { Session } from "./session.js"
 */

/**
 * @param {Session} session
 * @param {Edit} edit
 */
export function reportOf(session, edit) {
  const { state } = session;
  const gate = session.gate(edit.gate ?? null);
  const open = gate ? session.findingsOf(gate).filter((finding) => !finding.accepted) : [];
  return [
    outcomeOf(session, edit),
    ...state.remarks.map((remark) => `${remark}.`),
    ...open.map(({ severity, message }) => `${severity}: ${message}.`),
  ].join(" ");
}

/**
 * @param {Session} session
 * @param {Edit} edit
 */
function outcomeOf(session, edit) {
  const { undo_what: undo, redo_what: redo } = session.state;
  const { place: digits } = session.base.decimals;
  const gate = session.gate(edit.gate ?? null);
  const name = gate?.name ?? "";
  const done = () => (undo ? `Done: ${undo}.` : "Done.");
  /** @type {Record<string, () => string>} */
  const outcomes = {
    place: () => "Gate placed.",
    remove: () => "Gate removed.",
    undo: () => (redo ? `Undone: ${redo}.` : "Undone."),
    redo: () => (undo ? `Done again: ${undo}.` : "Done again."),
    set: done,
    "pit-lane": done,
    line: done,
    edge: done,
    rename: () => `The gate is called ${name}.`,
    width: () => `${name} is ${lengthText(gate?.width_m ?? NaN, digits)} wide.`,
    move: () => `${name} is at ${lengthText(gate?.chainage_m ?? NaN, digits)}.`,
  };
  return outcomes[edit.do]();
}
