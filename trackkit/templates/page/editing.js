"use strict";
// Changes to gates: what was done by hand goes to the server one step at a time, and its answer is
// what the page shows.  While a gate is dragged only the newest place waits to be sent.
trackkit.Editing = class {
  constructor(session, opened) {
    Object.assign(this, { session, opened, busy: false, waiting: [], leaving: false, toldOfChange: false });
    this.status = document.getElementById("status");
    this.trouble = document.getElementById("trouble");
    session.on("state", () => {
      // Another line was taken from disk: the page begins anew with it.
      if (session.state.base !== opened.base) { this.leaving = true; window.location.reload(); return; }
      this.drawTools();
    });
    this.drawTools();
    window.addEventListener("beforeunload", (event) => { if (session.state.unsaved && !this.leaving) { event.preventDefault(); event.returnValue = ""; } });
    window.addEventListener("pagehide", () => navigator.sendBeacon("closed", new Blob(["{}"], { type: "application/json" })));
    document.getElementById("undo").addEventListener("click", () => this.edit({ do: "undo" }));
    document.getElementById("redo").addEventListener("click", () => this.edit({ do: "redo" }));
    document.getElementById("save").addEventListener("click", () => this.save());
    document.getElementById("trouble-close").addEventListener("click", () => { document.getElementById("trouble-box").hidden = true; });
    setInterval(() => this.watch(), 2000);
    document.addEventListener("visibilitychange", () => { if (!document.hidden) { this.watch(); } });
  }

  say(text) { this.status.textContent = text; }

  complain(text) {
    document.getElementById("trouble-box").hidden = !text;
    this.trouble.textContent = text;
  }

  async ask(path, body) {
    const answer = await fetch(path, body === undefined ? { cache: "no-store" } : {
      method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body), cache: "no-store",
    });
    const said = await answer.json();
    return { status: answer.status, said };
  }

  // One request at a time; of places along a drag only the newest is kept.
  edit(change) {
    const last = this.waiting[this.waiting.length - 1];
    if (last && change.light !== undefined && last.change.merge === change.merge && last.change.do === change.do) {
      last.change = change;
      return last.done;
    }
    const job = { change };
    job.done = new Promise((resolve) => { job.resolve = resolve; });
    this.waiting.push(job);
    this.pump();
    return job.done;
  }

  async pump() {
    if (this.busy) { return; }
    this.busy = true;
    while (this.waiting.length) {
      const job = this.waiting.shift();
      const body = typeof job.change.body === "function" ? job.change.body() : job.change;
      try {
        const { status, said } = await this.ask("edit", body);
        if (status === 200) {
          this.complain("");
          this.release(job);
          this.session.setState(said);
          if (!body.light) { this.say(this.told(body, said)); }
        } else {
          this.release(job);
          this.complain(said.error);
          this.session.tell("state");
        }
      } catch (error) {
        this.release(job);
        this.complain("trackkit edit does not answer any more (" + error.message + "). Start it again and reload this page; nothing was written since the last save.");
        this.session.tell("state");
      }
      job.resolve();
    }
    this.busy = false;
  }

  // Once nothing that was asked is under way any more.
  async whenDone(work) {
    while (this.busy) { await new Promise((resolve) => { setTimeout(resolve, 20); }); }
    work();
  }

  // A gate stays under the hand until the server has answered for its last place.
  release(job) {
    if (job.change.last && !this.waiting.some((other) => other.change.gate === job.change.gate)) { this.session.slide(null); }
  }

  told(body, state) {
    const gate = body.gate && state.gates.find((one) => one.id === body.gate);
    const words = {
      place: () => "Gate placed.",
      move: () => gate.name + " is at " + trackkit.metres(gate.chainage_m) + ".",
      width: () => gate.name + " is " + trackkit.metres(gate.width_m) + " wide.",
      rename: () => "The gate is called " + gate.name + ".",
      remove: () => "Gate removed.",
      undo: () => "Undone" + (state.redo_what ? ": " + state.redo_what : "") + ".",
      redo: () => "Done again" + (state.undo_what ? ": " + state.undo_what : "") + ".",
    }[body.do]();
    const found = gate && (gate.findings || []).map((n) => state.findings[n]).filter((one) => one && !one.accepted).map((one) => one.severity + ": " + one.message + ".");
    return [words, ...(state.remarks || []).map((one) => one + "."), ...(found || [])].join(" ");
  }

  // `place` is a base chainage.  Places are sent to the decimetre that is shown.
  slideTo(id, place, width, merge, last) {
    const { session } = this;
    session.slide({ gate: id, base: session.toBase(session.tenth(place)), width });
    return this.edit({
      do: "move", gate: id, merge, light: !last, last,
      body: () => ({ do: "move", gate: id, to_m: session.tenth(place), merge, light: !last }),
    });
  }

  stretchTo(id, base, width, merge, last) {
    const rounded = Math.max(0.5, Math.min(500, Math.round(width * 10) / 10));
    this.session.slide({ gate: id, base, width: rounded });
    return this.edit({ do: "width", gate: id, merge, light: !last, last, body: () => ({ do: "width", gate: id, width_m: rounded, merge, light: !last }) });
  }

  // Steps by key or button that follow one another quickly are undone together.
  nudge(id, by) {
    const gate = this.session.gate(id);
    if (!gate) { return null; }
    const now = performance.now();
    if (!this.nudged || this.nudged.id !== id || now - this.nudged.at > 1200) { this.nudged = { id, merge: "step-" + id + "-" + Math.round(now) }; }
    this.nudged.at = now;
    const place = this.session.gatePlace(gate), { merge } = this.nudged;
    const to = this.session.line.wrap(place.base + by);
    clearTimeout(this.resting);
    // Where chainage zero moves, working out everything takes long: that waits for the hand to rest.
    if (gate.kind !== "finish" || !this.session.line.closed) { return this.slideTo(id, to, place.width, merge, true); }
    this.resting = setTimeout(() => this.slideTo(id, to, place.width, merge, true), 500);
    return this.slideTo(id, to, place.width, merge, false);
  }

  moveTo(id, shown) {
    const gate = this.session.gate(id);
    if (!Number.isFinite(shown)) { this.complain("A chainage is a number of metres, for example 412.3."); return; }
    if (gate && Math.abs(shown - gate.chainage_m) > 0.049) { this.edit({ do: "move", gate: id, to_m: shown }); }
  }

  widthTo(id, width) {
    const gate = this.session.gate(id);
    if (!Number.isFinite(width)) { this.complain("A width is a number of metres, for example 14."); return; }
    if (gate && Math.abs(width - gate.width_m) > 0.049) { this.edit({ do: "width", gate: id, width_m: width }); }
  }

  rename(id, name) {
    const gate = this.session.gate(id);
    if (gate && name.trim() && name !== gate.name) { this.edit({ do: "rename", gate: id, name: name.trim() }); }
  }

  async remove(id) {
    const gates = this.session.state.gates.map((gate) => gate.id);
    const next = gates[gates.indexOf(id) + 1] || gates[gates.indexOf(id) - 1];
    await this.edit({ do: "remove", gate: id });
    // Focus must not be lost with what was removed.
    if (!this.session.gate(id) && next) { trackkit.focusGate(next); }
  }

  async place(kind, shown) {
    const before = new Set(this.session.state.gates.map((gate) => gate.id));
    const finish = this.session.state.gates.find((gate) => gate.kind === kind && (kind === "finish" || kind === "start"));
    await this.edit(finish ? { do: "move", gate: finish.id, to_m: shown } : { do: "place", kind, at_m: shown });
    const made = finish || this.session.state.gates.find((gate) => !before.has(gate.id));
    if (made) { trackkit.focusGate(made.id); }
  }

  drawTools() {
    const { state } = this.session;
    const set = (id, can, name, what) => {
      const button = document.getElementById(id);
      button.setAttribute("aria-disabled", String(!can));
      button.title = name + (can && what ? ": " + what : "");
    };
    set("undo", state.can_undo, "Undo", state.undo_what);
    set("redo", state.can_redo, "Redo", state.redo_what);
    set("save", true, "Save", null);
    document.getElementById("unsaved").textContent = state.unsaved ? "Not saved" : "Saved";
    document.getElementById("unsaved").className = state.unsaved ? "unsaved" : "saved";
    document.title = (state.unsaved ? "\u2022 " : "") + state.track.name;
  }

  async save(replaceChanged) {
    await this.whenDone(() => {});
    try {
      const { status, said } = await this.ask("save", replaceChanged ? { replace_changed: true } : {});
      if (status === 200) {
        this.complain("");
        this.session.setState(said.state);
        this.toldOfChange = false;
        document.getElementById("changed").hidden = true;
        this.say("Saved to " + said.file + (said.previous ? "; the previous file is " + said.previous : "") + ".");
      } else if (said.changed_on_disk) {
        trackkit.askAboutDisk(this, said.gone);
      } else {
        this.complain(said.error);
      }
    } catch (error) {
      this.complain("Could not save: trackkit edit does not answer (" + error.message + ").");
    }
  }

  async reload() {
    const { status, said } = await this.ask("reload", {});
    if (status !== 200) { this.complain(said.error); return; }
    this.session.setState(said);
    document.getElementById("changed").hidden = true;
    this.toldOfChange = false;
    this.say("The file's gates are shown; Undo brings yours back.");
  }

  // Another program may write the file meanwhile; another page may edit the same track.
  async watch() {
    if (document.hidden || this.busy || this.session.sliding) { return; }
    try {
      const { status, said } = await this.ask("disk");
      if (status !== 200) { return; }
      this.gone = said.gone;
      trackkit.sayOfDisk(said.gone);
      if (said.changed_on_disk && !this.toldOfChange) {
        this.toldOfChange = true;
        document.getElementById("changed").hidden = false;
      }
      if (!said.changed_on_disk) { this.toldOfChange = false; document.getElementById("changed").hidden = true; }
      if (said.edit !== this.session.state.edit && !this.busy) { this.session.setState((await this.ask("state")).said); }
    } catch {
      this.complain("trackkit edit does not answer any more; start it again and reload this page.");
    }
  }
};
