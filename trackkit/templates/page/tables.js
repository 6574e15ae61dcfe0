"use strict";
// What the page says in words and figures: gates and sectors in racing order, laps, findings, the
// lists of corners and straights.  Rows are kept while they last, so that focus stays where it is.
trackkit.Ledger = class {
  // `edits` is null where nothing can be changed.
  constructor(session, node, edits) {
    Object.assign(this, { session, node, edits, rows: new Map() });
    ["state", "sliding", "selected"].forEach((what) => session.on(what, () => this.draw()));
    this.draw();
  }

  draw() {
    const { session } = this, order = [];
    session.state.gates.forEach((gate) => {
      if (!this.rows.has(gate.id)) { this.rows.set(gate.id, this.makeRow(gate.id)); }
      const row = this.rows.get(gate.id);
      this.update(row, gate);
      order.push(row.item);
      session.state.sectors.filter((sector) => sector.from === gate.id).forEach((sector) => order.push(this.sectorRow(sector)));
    });
    const known = new Set(session.state.gates.map((gate) => gate.id));
    this.rows.forEach((row, id) => { if (!known.has(id)) { this.rows.delete(id); } });
    this.sectorRows = this.sectorRows || new Map();
    if (order.length !== this.node.children.length || order.some((item, n) => item !== this.node.children[n])) {
      const focused = document.activeElement;
      this.node.replaceChildren(...order);
      if (this.node.contains(focused)) { focused.focus({ preventScroll: true }); }
    }
  }

  sectorRow(sector) {
    this.sectorRows = this.sectorRows || new Map();
    if (!this.sectorRows.has(sector.number)) {
      this.sectorRows.set(sector.number, trackkit.element("li", { class: "sector-row" }, trackkit.element("span", {}), trackkit.element("span", { class: "n" })));
    }
    const item = this.sectorRows.get(sector.number);
    item.firstChild.textContent = "Sector " + sector.number;
    item.lastChild.textContent = trackkit.metres(this.sectorLength(sector));
    return item;
  }

  sectorLength(sector) {
    const { session } = this;
    if (!session.sliding) { return sector.length_m; }
    const [from, to] = [sector.from, sector.to].map((id) => session.gatePlace(session.gate(id)).base);
    const length = session.line.closed ? session.line.wrap(to - from) : to - from;
    return length < 1e-6 && sector.from === sector.to ? session.length : length;
  }

  makeRow(id) {
    const row = { id };
    row.kind = trackkit.element("span", { class: "kind" });
    row.sigma = trackkit.element("span", { class: "sigma" });
    row.findings = trackkit.element("div", { class: "row-findings" });
    if (!this.edits) {
      row.name = trackkit.element("button", { type: "button", class: "name", onclick: () => this.session.select(id) });
      row.at = trackkit.element("span", { class: "n" });
      row.width = trackkit.element("span", { class: "n" });
      row.item = trackkit.element("li", { class: "gate-row" }, row.name, row.kind, trackkit.element("span", { class: "figures" }, row.at, row.width, row.sigma), row.findings);
      return row;
    }
    const { edits } = this;
    const field = (label, attributes, changed) => {
      const input = trackkit.element("input", Object.assign({ "aria-label": label, autocomplete: "off" }, attributes));
      // Enter makes the browser tell of the change too, and only once.
      input.addEventListener("change", () => changed(input));
      input.addEventListener("focus", () => this.session.select(id));
      // What was refused, or left blank, does not stay behind as if it were so.
      input.addEventListener("blur", () => this.edits.whenDone(() => this.draw()));
      return input;
    };
    row.name = field("Name", { class: "name", maxlength: "80" }, (input) => edits.rename(id, input.value));
    row.at = field("Chainage", { type: "number", step: "0.1", class: "n", inputmode: "decimal" }, (input) => edits.moveTo(id, input.valueAsNumber));
    row.width = field("Width", { type: "number", step: "0.1", min: "0.5", max: "500", class: "n narrow", inputmode: "decimal" }, (input) => edits.widthTo(id, input.valueAsNumber));
    const step = (by, text) => trackkit.element("button", { type: "button", class: "step", onclick: () => edits.nudge(id, by) },
      trackkit.element("span", { "aria-hidden": "true" }, text), trackkit.element("span", { class: "unseen" }));
    row.steps = [[-10, "\u221210"], [-1, "\u22121"], [1, "+1"], [10, "+10"]].map(([by, text]) => ({ by, button: step(by, text) }));
    row.remove = trackkit.element("button", { type: "button", class: "remove", onclick: () => edits.remove(id) }, "Remove");
    row.tools = trackkit.element("div", { class: "tools" }, ...row.steps.map((one) => one.button), row.remove);
    row.item = trackkit.element("li", { class: "gate-row" }, row.name, row.kind,
      trackkit.element("span", { class: "figures" },
        trackkit.element("span", { class: "unit" }, row.at, " m"), trackkit.element("span", { class: "unit" }, row.width, " m wide"), row.sigma),
      row.tools, row.findings);
    return row;
  }

  update(row, gate) {
    const { session } = this;
    const place = session.gatePlace(gate), shown = session.shown(place.base);
    const moving = session.sliding && session.sliding.gate === gate.id;
    const selected = session.selected === gate.id;
    row.item.className = "gate-row " + gate.kind + (selected ? " selected" : "");
    row.kind.textContent = trackkit.kinds[gate.kind] + (gate.surveyed ? ", surveyed" : "");
    const sigma = session.sliding ? session.qualityAt(place.base) : gate.sigma_s === null ? NaN : gate.sigma_s;
    row.sigma.textContent = Number.isFinite(sigma) ? trackkit.millis(sigma) : "";
    row.sigma.title = "One sigma of a crossing there";
    if (this.edits) {
      const write = (input, text, now) => { if (now || document.activeElement !== input || !input.matches(":focus")) { if (input.value !== text) { input.value = text; } } };
      const fresh = moving || session.state.edit !== row.edit;
      write(row.name, gate.name, fresh && !moving);
      write(row.at, shown.toFixed(1), fresh);
      write(row.width, place.width.toFixed(1), fresh);
      row.edit = session.state.edit;
      row.name.setAttribute("aria-label", "Name of " + gate.name);
      row.at.setAttribute("aria-label", "Chainage of " + gate.name + ", metres");
      row.width.setAttribute("aria-label", "Width of " + gate.name + ", metres");
      row.steps.forEach(({ by, button }) => { button.lastChild.textContent = "Move " + gate.name + " by " + by + " metres"; });
      row.remove.setAttribute("aria-label", "Remove " + gate.name);
      row.remove.hidden = gate.kind === "finish" || (gate.kind === "start" && !session.base.track.closed);
      row.tools.hidden = !selected;
    } else {
      row.name.replaceChildren(trackkit.element("bdi", {}, gate.name));
      row.at.textContent = trackkit.metres(shown);
      row.width.textContent = trackkit.metres(place.width) + " wide";
    }
    const said = (gate.findings || []).map((n) => session.state.findings[n]).filter(Boolean);
    const key = JSON.stringify(said);
    if (key !== row.said) {
      row.said = key;
      row.findings.replaceChildren(...said.map((one) => trackkit.element("p", { class: one.accepted ? "accepted" : null },
        trackkit.element("span", { class: "tag " + one.severity }, one.severity + (one.accepted ? ", accepted" : "")), " " + one.message)));
    }
  }
};

trackkit.LapTable = class {
  constructor(session, node) {
    Object.assign(this, { session, node, body: node.querySelector("tbody"), head: node.querySelector("thead"), foot: node.querySelector("tfoot") });
    ["state", "laps"].forEach((what) => session.on(what, () => this.draw()));
    this.draw();
  }

  draw() {
    const { session } = this, laps = session.laps();
    const several = session.base.recordings.length > 1;
    const sectors = session.state.sectors.length;
    const cell = (tag, text, attributes) => trackkit.element(tag, attributes || {}, text);
    this.head.replaceChildren(trackkit.element("tr", {},
      cell("th", "Lap", { scope: "col" }), cell("th", "Time", { scope: "col", class: "n" }),
      ...session.state.sectors.map((sector) => trackkit.element("th", { scope: "col", class: "n" }, "S", trackkit.element("span", { class: "long" }, "ector\u00a0"), String(sector.number)))));
    const complete = laps.filter((lap) => lap.complete && lap.kind === "flying");
    const least = (values) => values.reduce((best, value) => value !== null && value < best ? value : best, Infinity);
    const best = [least(complete.map((lap) => lap.time_s))];
    for (let n = 0; n < sectors; n++) { best.push(least(complete.map((lap) => lap.sectors[n] ? lap.sectors[n].time_s : null))); }
    const time = (value, sigma, fastest) => trackkit.element("td", { class: "n" + (fastest ? " best" : "") },
      trackkit.time(value, trackkit.decimals(sigma)), fastest ? trackkit.element("span", { class: "unseen" }, " best") : null);
    const focused = document.activeElement && document.activeElement.dataset.lap;
    let before = null;
    const rows = [];
    laps.forEach((lap) => {
      if (several && lap.recording !== before) {
        rows.push(trackkit.element("tr", { class: "of" }, trackkit.element("th", { colspan: String(2 + sectors), scope: "rowgroup" }, trackkit.element("bdi", {}, session.base.recordings[lap.recording].file))));
        before = lap.recording;
      }
      const name = "Lap " + lap.number;
      const box = trackkit.element("input", {
        type: "checkbox", "data-lap": lap.key, "aria-label": "Draw " + session.lapName(lap), disabled: lap.time_s === null,
        onchange: (event) => session.showLap(lap.key, event.target.checked),
      });
      box.checked = session.chosen.includes(lap.key);
      const counted = lap.complete && lap.kind === "flying";
      const kind = lap.kind === "flying" ? (lap.complete ? "" : " part") : " " + lap.kind;
      rows.push(trackkit.element("tr", {},
        trackkit.element("th", { scope: "row" }, trackkit.element("label", {}, box, " " + name, kind ? trackkit.element("span", { class: "soft" }, kind) : null)),
        time(lap.time_s, lap.sigma_s, counted && lap.time_s === best[0]),
        ...Array.from({ length: sectors }, (_, n) => {
          const sector = lap.sectors[n];
          return sector ? time(sector.time_s, sector.sigma_s, counted && sector.time_s === best[n + 1]) : cell("td", "\u2013", { class: "n" });
        })));
    });
    this.body.replaceChildren(...rows);
    if (focused) { const again = this.body.querySelector('[data-lap="' + focused + '"]'); if (again) { again.focus({ preventScroll: true }); } }
    this.drawBest(complete, sectors);
    this.node.closest("section").hidden = !laps.length;
  }

  drawBest(complete, sectors) {
    const median = (values) => { const known = values.filter((v) => v > 0).sort((a, b) => a - b); return known.length ? known[Math.floor(known.length / 2)] : NaN; };
    const rows = [];
    if (complete.length) {
      rows.push(trackkit.element("tr", {}, trackkit.element("th", { scope: "row" }, "one sigma"),
        trackkit.element("td", { class: "n" }, trackkit.millis(median(complete.map((lap) => lap.sigma_s)))),
        ...Array.from({ length: sectors }, (_, n) => trackkit.element("td", { class: "n" }, trackkit.millis(median(complete.map((lap) => lap.sectors[n] && lap.sectors[n].sigma_s)))))));
    }
    this.session.state.best.forEach((best) => {
      const of = this.session.base.recordings.length > 1 ? ", " + this.session.base.recordings[best.recording].file : "";
      [["theoretical best", best.theoretical_best_s], ["continuous best", best.continuous_best_s]].forEach(([name, value]) => {
        if (value !== null) {
          rows.push(trackkit.element("tr", {}, trackkit.element("th", { scope: "row" }, name + of), trackkit.element("td", { class: "n" }, trackkit.time(value)),
            trackkit.element("td", { colspan: String(sectors) })));
        }
      });
    });
    this.foot.replaceChildren(...rows);
  }
};

// Which two laps the time difference is of.
trackkit.CompareChoice = class {
  constructor(session) {
    this.session = session;
    this.selects = ["compare-first", "compare-second"].map((id) => document.getElementById(id));
    this.selects.forEach((select) => select.addEventListener("change", () => session.compare(this.selects[0].value, this.selects[1].value)));
    ["state", "laps"].forEach((what) => session.on(what, () => this.draw()));
    this.draw();
  }

  draw() {
    const { session } = this, laps = session.timedLaps();
    const key = laps.map((lap) => lap.key).join();
    this.selects.forEach((select, n) => {
      if (key !== this.key) { select.replaceChildren(...laps.map((lap) => trackkit.element("option", { value: lap.key }, session.lapName(lap)))); }
      if (session.compared) { select.value = session.compared[n]; }
    });
    this.key = key;
    this.selects[0].closest(".compare").hidden = laps.length < 2;
  }
};

trackkit.FindingList = class {
  constructor(session, node, map) {
    Object.assign(this, { session, node, map });
    session.on("state", () => this.draw());
    trackkit.showFinding = (n) => {
      const item = node.children[n];
      node.closest("details").open = true;
      item.setAttribute("tabindex", "-1");
      item.focus();
      item.scrollIntoView({ block: "nearest" });
    };
    this.draw();
  }

  draw() {
    const { session } = this, findings = session.state.findings;
    const panel = this.node.closest("details");
    panel.hidden = findings === null;
    if (findings === null) { return; }
    const key = JSON.stringify(findings);
    if (key === this.key) { return; }
    this.key = key;
    panel.querySelector("summary").textContent = "Findings (" + findings.length + ")";
    document.getElementById("no-findings").hidden = findings.length > 0;
    const names = new Map(session.state.gates.map((gate) => [gate.id, gate.name]));
    this.node.replaceChildren(...findings.map((one, n) => {
      const place = one.chainage_m !== null ? "at " + trackkit.metres(one.chainage_m, 0) : names.has(one.feature) ? "gate " + names.get(one.feature) : one.position ? "" : "the whole track";
      const text = (words) => words.split("`").map((part, k) => k % 2 ? trackkit.element("code", {}, part) : part);
      return trackkit.element("li", { class: one.accepted ? "accepted" : null },
        trackkit.element("span", { class: "tag " + one.severity }, one.severity + " " + (n + 1)), one.accepted ? " accepted " : " ",
        trackkit.element("span", { class: "soft" }, place), " ",
        session.findingPlace(one) && trackkit.element("button", { type: "button", class: "go", onclick: () => this.map.show(session.findingPlace(one)) },
          "show on the map", trackkit.element("span", { class: "unseen" }, ": " + one.severity + " " + (n + 1))),
        trackkit.element("p", {}, one.message),
        one.remedy && trackkit.element("p", { class: "soft" }, trackkit.element("b", {}, "What to do: "), ...text(one.remedy)));
    }));
  }
};

// Chainages of corners and straights follow the finish gate.
trackkit.CornerTables = class {
  constructor(session) {
    Object.assign(this, { session, corners: document.querySelector("#corners tbody"), straights: document.querySelector("#straights tbody") });
    session.on("state", () => { if (session.datum !== this.datum) { this.draw(); } });
    this.draw();
  }

  draw() {
    const { session } = this;
    this.datum = session.datum;
    const cell = (text, number) => trackkit.element("td", { class: number ? "n" : null }, text);
    if (this.corners) {
      this.corners.replaceChildren(...session.base.corners.map((one) => trackkit.element("tr", {},
        trackkit.element("th", { scope: "row" }, String(one.number), one.name ? trackkit.element("bdi", {}, " " + one.name) : null),
        cell(one.turn), cell(trackkit.metres(one.min_radius_m, 0), true), cell(trackkit.metres(session.shown(one.apex_m), 0), true))));
    }
    if (this.straights) {
      this.straights.replaceChildren(...session.base.straights.map((one) => trackkit.element("tr", {},
        cell(trackkit.metres(session.shown(one.from_m), 0), true), cell(trackkit.metres(one.length_m, 0), true))));
    }
  }
};
