"use strict";
// Keys: arrows move the gate that has the focus, Delete removes it; undo, redo and save anywhere.
trackkit.focusGate = function (id) {
  const node = document.querySelector('[role="slider"][data-gate="' + CSS.escape(id) + '"]');
  if (node) { node.focus({ preventScroll: true }); }
};

trackkit.keys = function (editing) {
  const steps = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 10, PageDown: -10 };
  document.addEventListener("keydown", (event) => {
    const gate = event.target.dataset && event.target.getAttribute("role") === "slider" && event.target.dataset.gate;
    if (gate && event.key in steps && !event.ctrlKey && !event.metaKey && !event.altKey) {
      event.preventDefault();
      editing.nudge(gate, steps[event.key] * (event.shiftKey && Math.abs(steps[event.key]) === 1 ? 10 : 1));
      return;
    }
    if (gate && (event.key === "Delete" || event.key === "Backspace")) {
      event.preventDefault();
      editing.remove(gate);
      return;
    }
    if (!(event.ctrlKey || event.metaKey) || event.altKey || document.querySelector("dialog[open]")) { return; }
    const key = event.key.toLowerCase();
    // In a field that is being typed in, undo is the field's own.
    const typing = event.target.matches("input:not([type=range]):not([type=checkbox])") && event.target.value !== event.target.defaultValue && event.target.dataset.typed === "yes";
    if (key === "s") { event.preventDefault(); editing.save(); }
    if (typing) { return; }
    if (key === "z") { event.preventDefault(); editing.edit({ do: event.shiftKey ? "redo" : "undo" }); }
    if (key === "y") { event.preventDefault(); editing.edit({ do: "redo" }); }
  });
  document.addEventListener("input", (event) => { if (event.target.dataset) { event.target.dataset.typed = "yes"; } });
  document.addEventListener("change", (event) => { if (event.target.dataset) { event.target.dataset.typed = ""; } });
};
