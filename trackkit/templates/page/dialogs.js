"use strict";
// The small menu of kinds where the track was clicked, and the question about a changed file.
trackkit.PlaceMenu = class {
  constructor(session, editing) {
    Object.assign(this, { session, editing, node: document.getElementById("place-menu"), shown: 0 });
    this.node.querySelector(".cancel").addEventListener("click", () => this.node.close());
    this.node.addEventListener("click", (event) => { if (event.target === this.node) { this.node.close(); } });
    document.getElementById("add").addEventListener("click", () => this.open(session.place === null ? session.toBase(session.length / 2) : session.place, null));
    document.getElementById("menu-at").addEventListener("input", (event) => { this.shown = event.target.valueAsNumber; });
  }

  kinds() {
    const { closed } = this.session.base.track;
    const has = (kind) => this.session.state.gates.some((gate) => gate.kind === kind);
    const found = [["sector", "Sector gate"], ["speed", "Speed gate"], ["pit-entry", "Pit entry gate"], ["pit-exit", "Pit exit gate"]];
    if (!closed) { found.push(["start", has("start") ? "Move the start gate here" : "Start gate"]); }
    found.push(["finish", has("finish") ? "Move the finish gate here" : "Finish gate"]);
    return found;
  }

  open(base, event) {
    this.shown = this.session.tenth(base);
    document.getElementById("menu-at").value = this.shown.toFixed(1);
    this.node.querySelector(".kinds").replaceChildren(...this.kinds().map(([kind, text]) => trackkit.element("button", {
      type: "button", class: "choice " + kind, "data-kind": kind,
      onclick: () => {
        const at = this.shown;
        if (!Number.isFinite(at)) { document.getElementById("menu-at").focus(); return; }
        this.node.close();
        this.editing.place(kind, at);
      },
    }, text)));
    this.node.showModal();
    const box = this.node.getBoundingClientRect();
    const x = event ? event.clientX + 14 : (window.innerWidth - box.width) / 2;
    const y = event ? event.clientY - 40 : (window.innerHeight - box.height) / 2;
    this.node.style.left = Math.max(8, Math.min(x, window.innerWidth - box.width - 8)) + "px";
    this.node.style.top = Math.max(8, Math.min(y, window.innerHeight - box.height - 8)) + "px";
    this.node.querySelector(".kinds button").focus();
  }
};

// A file that is gone can be written again, but not taken.
trackkit.sayOfDisk = function (gone) {
  const say = (selector, theirs, lost) => { document.querySelector(selector).textContent = gone ? lost : theirs; };
  say("#changed span", "Another program has changed the file.", "The file was deleted or moved.");
  say("#disk-title", "The file has changed", "The file is gone");
  say("#disk-dialog p", "Another program wrote the track file after this page read it. Nothing of yours is saved yet.", "The track file was deleted or moved after this page read it. What this page shows is saved nowhere.");
  say('#disk-dialog [value="ours"]', "Write over it, keeping what it holds as the previous file", "Write it again");
  document.querySelector('#disk-dialog [value="theirs"]').hidden = gone;
};

trackkit.askAboutDisk = function (editing, gone) {
  const node = document.getElementById("disk-dialog");
  trackkit.sayOfDisk(gone);
  if (!node.open) { node.showModal(); }
  node.onclose = () => {
    if (node.returnValue === "theirs") { editing.reload(); }
    if (node.returnValue === "ours") { editing.save(true); }
    node.returnValue = "";
  };
};

trackkit.diskNotice = function (editing) {
  document.getElementById("disk-dialog").querySelectorAll("button").forEach((button) => {
    button.addEventListener("click", () => document.getElementById("disk-dialog").close(button.value));
  });
  document.getElementById("changed-look").addEventListener("click", () => trackkit.askAboutDisk(editing, editing.gone));
};
