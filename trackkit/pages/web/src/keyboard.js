// Keys: arrows move the gate that has the focus, Delete removes it; undo, redo and save anywhere.

import { metresOf } from "./units.js";

/**
 * @import { Editing } from "./editing.js"
 * @import { GateHand } from "./page.js"
 */

/** @type {Record<string, number>} in the unit that is read */
const STEPS = {
  ArrowRight: 1,
  ArrowUp: 1,
  ArrowLeft: -1,
  ArrowDown: -1,
  PageUp: 10,
  PageDown: -10,
};

/** @param {Editing} editing */
export function listenToKeys(editing) {
  document.addEventListener("keydown", (event) => {
    const gate = gateOf(event.target);
    const done = gate !== null && pressedAtGate(editing, gate, event);
    if (done || pressedAnywhere(editing, event)) {
      event.preventDefault();
    }
  });
  document.addEventListener("input", ({ target }) => noteTyped(target, true));
  document.addEventListener("change", ({ target }) => noteTyped(target, false));
}

/**
 * The keys of gates alone.
 *
 * @param {GateHand} hand
 */
export function listenToGateKeys(hand) {
  document.addEventListener("keydown", (event) => {
    const gate = gateOf(event.target);
    if (gate !== null && pressedAtGate(hand, gate, event)) {
      event.preventDefault();
    }
  });
}

/**
 * The gate whose label on the map something is.
 *
 * @param {EventTarget | null} target
 */
function gateOf(target) {
  const slider = target instanceof HTMLElement && target.getAttribute("role") === "slider";
  return slider ? (target.dataset.gate ?? null) : null;
}

/**
 * @param {GateHand} editing
 * @param {string} gate
 * @param {KeyboardEvent} event
 * @returns {boolean}  whether the key was one for the gate
 */
function pressedAtGate(editing, gate, event) {
  const by = STEPS[event.key];
  if (by !== undefined && !event.ctrlKey && !event.metaKey && !event.altKey) {
    editing.nudge(gate, metresOf(event.shiftKey && Math.abs(by) === 1 ? 10 * by : by));
    return true;
  }
  if (event.key === "Delete" || event.key === "Backspace") {
    void editing.remove(gate);
    return true;
  }
  return false;
}

/**
 * @param {Editing} editing
 * @param {KeyboardEvent} event
 * @returns {boolean}  whether the key was one for the page
 */
function pressedAnywhere(editing, event) {
  const command = (event.ctrlKey || event.metaKey) && !event.altKey;
  if (!command || document.querySelector("dialog[open]")) {
    return false;
  }
  const key = event.key.toLowerCase();
  if (key === "s") {
    void editing.save();
    return true;
  }
  // In a field that is being typed in, undo is the field's own.
  if ((key !== "z" && key !== "y") || isTypedIn(event.target)) {
    return false;
  }
  if (key === "y" || event.shiftKey) {
    editing.redo();
  } else {
    editing.undo();
  }
  return true;
}

/**
 * @param {EventTarget | null} target
 * @param {boolean} typed
 */
function noteTyped(target, typed) {
  if (target instanceof HTMLElement) {
    target.dataset.typed = typed ? "yes" : "";
  }
}

/** @param {EventTarget | null} target */
function isTypedIn(target) {
  return (
    target instanceof HTMLInputElement &&
    target.matches("input:not([type=range]):not([type=checkbox])") &&
    target.value !== target.defaultValue &&
    target.dataset.typed === "yes"
  );
}
