"use strict";
// The map: what lies on the ground, and over it gates, corners, findings and the place pointed at.
trackkit.MapView = class {
  // `hooks` is null where nothing can be changed; else {gate(id, elements), end(id, side, element),
  // track(base, event)} makes what was drawn answer to the hand.
  constructor(session, node, hooks, tiles) {
    this.session = session;
    this.hooks = hooks;
    this.gates = new Map();
    this.findings = [];
    this.held = false;
    const line = session.line;
    this.places = Array.from(line.lat, (lat, n) => L.latLng(lat, line.lon[n]));
    this.map = L.map(node, { preferCanvas: true, zoomSnap: 0.25, zoomDelta: 0.5, maxZoom: 23, zoomControl: false });
    L.control.zoom({ position: "topright" }).addTo(this.map);
    L.control.scale({ imperial: false }).addTo(this.map);
    this.map.attributionControl.setPrefix("Leaflet");
    if (tiles) { L.tileLayer(tiles.url, { attribution: tiles.attribution, maxZoom: 23, maxNativeZoom: 19 }).addTo(this.map); }
    this.map.createPane("ground").style.zIndex = 410;
    this.map.createPane("gates").style.zIndex = 440;
    this.bars = L.svg({ pane: "gates", padding: 0.5 });
    this.map.fitBounds(this.bounds(), { animate: false });
    this.ground = new trackkit.Ground(session).addTo(this.map);
    this.addNorth();
    this.here = L.marker(this.places[0], { icon: L.divIcon({ className: "here", iconSize: [18, 18], html: "" }), interactive: false, keyboard: false });
    this.corners = session.base.corners.map((corner) => this.addCorner(corner));
    this.drawGates();
    this.drawFindings();
    this.fit();
    this.listen();
  }

  bounds() {
    const box = L.latLngBounds(this.places);
    this.session.state.gates.forEach((gate) => this.session.gatePlace(gate).ends.forEach(([lon, lat]) => box.extend([lat, lon])));
    return box;
  }

  listen() {
    const { session, map } = this;
    const container = map.getContainer();
    // Until someone takes hold of the map it keeps showing the whole track, also when a phone is
    // turned.
    ["pointerdown", "wheel", "keydown"].forEach((kind) => container.addEventListener(kind, () => { this.held = true; }, { passive: true }));
    map.on("zoomend", () => this.settle());
    map.on("resize", () => { if (this.held) { this.settle(); } else { this.fit(); } });
    map.on("mousemove", (event) => this.pointed(event));
    map.on("mouseout", () => session.point(null));
    map.on("click", (event) => {
      const found = this.under(event);
      if (found && this.hooks) { this.hooks.track(found.chainage, event.originalEvent); }
      if (found) { session.point(found.chainage); }
    });
    session.on("state", () => { this.drawGates(); this.drawFindings(); if (!session.sliding) { this.settle(); } });
    session.on("sliding", () => { this.drawGates(); if (!session.sliding) { this.settle(); } });
    session.on("selected", () => { this.drawGates(); this.settle(); });
    session.on("laps", () => { if (this.ground.drawnLaps === "chosen") { this.ground.redraw(); } });
    session.on("place", () => this.drawPlace());
    ["(prefers-color-scheme: dark)", "(prefers-contrast: more)"].forEach((query) => {
      window.matchMedia(query).addEventListener("change", () => this.ground.redraw());
    });
    window.matchMedia("print").addEventListener("change", () => { this.held = false; map.invalidateSize({ animate: false }); this.fit(); });
    // The frame may change without the window: panels open, fonts come.
    new ResizeObserver(() => map.invalidateSize({ animate: false })).observe(container);
  }

  fit() {
    const narrow = this.map.getSize().x < 500;
    const [beside, above] = narrow ? [30, 34] : [64, 44];
    this.map.fitBounds(this.bounds(), { paddingTopLeft: [beside, above], paddingBottomRight: [beside, above + 8], animate: false });
    this.settle();
  }

  metresPerPixel() {
    const middle = this.map.getSize().divideBy(2);
    return this.map.distance(this.map.containerPointToLatLng(middle), this.map.containerPointToLatLng(middle.add([100, 0]))) / 100;
  }

  // The place of the track under the pointer, or null where that is off the track.
  under(event) {
    const line = this.session.line;
    const found = line.nearest(line.east(event.latlng.lng), line.north(event.latlng.lat));
    const p = line.at(found.chainage);
    const reach = Math.max(Math.max(p.left, p.right) + 4, 18 * this.metresPerPixel());
    return found.distance <= reach ? found : null;
  }

  pointed(event) {
    if (this.session.sliding) { return; }
    const found = this.under(event);
    this.session.point(found ? found.chainage : null);
    this.map.getContainer().classList.toggle("over-track", Boolean(found && this.hooks));
  }

  drawPlace() {
    const place = this.session.place;
    // A gate that is held shows its place itself.
    if (place === null || this.session.sliding) { this.here.remove(); return; }
    const p = this.session.line.at(place), [lon, lat] = this.session.line.toLonLat(p.x, p.y);
    this.here.setLatLng([lat, lon]).addTo(this.map);
  }

  // Gates

  drawGates() {
    const { session } = this;
    const known = new Set(session.state.gates.map((gate) => gate.id));
    this.gates.forEach((drawn, id) => { if (!known.has(id)) { this.removeGate(drawn); this.gates.delete(id); } });
    session.state.gates.forEach((gate) => {
      if (!this.gates.has(gate.id)) { this.gates.set(gate.id, this.addGate(gate)); }
      this.updateGate(this.gates.get(gate.id), gate);
    });
    this.keepOrder();
  }

  addGate(gate) {
    const bar = (className, weight) => L.polyline([[0, 0], [0, 0]], {
      renderer: this.bars, pane: "gates", className, weight, interactive: className === "t-hold", lineCap: "butt", bubblingMouseEvents: false,
    }).addTo(this.map);
    const drawn = { id: gate.id, halo: bar("t-halo", 9), bar: bar("t-gate", 5), hold: bar("t-hold", 26), ends: [] };
    drawn.node = trackkit.element(this.hooks ? "div" : "button", this.hooks
      ? { role: "slider", tabindex: "0", "aria-valuemin": "0", "aria-describedby": "gate-keys", "data-gate": gate.id }
      : { type: "button", "data-gate": gate.id });
    const icon = trackkit.element("div", { class: "at" }, drawn.node);
    drawn.marker = L.marker([0, 0], { icon: L.divIcon({ className: "at", iconSize: [0, 0], html: icon }), keyboard: false, interactive: false }).addTo(this.map);
    drawn.marker.getElement().removeAttribute("alt");
    L.DomEvent.disableClickPropagation(drawn.node);
    drawn.node.addEventListener("focus", () => this.session.select(gate.id));
    drawn.node.addEventListener("click", () => this.session.select(gate.id));
    drawn.hold.on("click", () => { this.session.select(gate.id); drawn.node.focus({ preventScroll: true }); });
    if (this.hooks) {
      L.DomEvent.disableClickPropagation(drawn.hold.getElement());
      this.hooks.gate(gate.id, [drawn.node, drawn.hold.getElement()]);
      ["left", "right"].forEach((side) => {
        const handle = trackkit.element("div", { class: "end", title: "Drag to change the width" });
        const marker = L.marker([0, 0], { icon: L.divIcon({ className: "end-at", iconSize: [28, 28], html: handle }), keyboard: false, interactive: false });
        drawn.ends.push({ marker, handle, side });
        L.DomEvent.disableClickPropagation(handle);
        this.hooks.end(gate.id, side, handle);
      });
    }
    return drawn;
  }

  removeGate(drawn) {
    [drawn.halo, drawn.bar, drawn.hold, drawn.marker, ...drawn.ends.map((end) => end.marker)].forEach((layer) => layer.remove());
  }

  updateGate(drawn, gate) {
    const { session } = this;
    const place = session.gatePlace(gate);
    const shown = session.shown(place.base);
    drawn.place = place;
    drawn.kind = gate.kind;
    const selected = session.selected === gate.id;
    this.sizeBar(drawn);
    drawn.bar.getElement().setAttribute("class", "t-gate t-" + gate.kind + (selected ? " selected" : ""));
    const middle = L.latLng((place.ends[0][1] + place.ends[1][1]) / 2, (place.ends[0][0] + place.ends[1][0]) / 2);
    drawn.marker.setLatLng(middle);
    drawn.middle = middle;
    const worst = trackkit.worstFinding(session.state, gate);
    drawn.node.className = "label gate " + gate.kind + (selected ? " selected" : "") + (drawn.node.classList.contains("placed") ? " placed" : "");
    drawn.node.replaceChildren(trackkit.element("bdi", {}, gate.name), " " + trackkit.metres(shown, selected ? 1 : 0));
    if (worst) { drawn.node.append(trackkit.element("span", { class: "tag " + worst }, worst)); }
    const sigma = session.qualityAt(place.base);
    if (this.hooks) {
      drawn.node.setAttribute("aria-label", gate.name + ", " + trackkit.kinds[gate.kind] + " gate");
      drawn.node.setAttribute("aria-valuemax", session.length.toFixed(1));
      drawn.node.setAttribute("aria-valuenow", shown.toFixed(1));
      drawn.node.setAttribute("aria-valuetext", shown.toFixed(1) + " metres" + (Number.isFinite(sigma) ? ", a crossing is good to " + trackkit.millis(sigma) : "") + (worst ? ", " + worst : ""));
    }
    drawn.ends.forEach((end) => {
      const [lon, lat] = place.ends[end.side === "left" ? 0 : 1];
      end.marker.setLatLng([lat, lon]);
      if (selected && !gate.surveyed && drawn.pixels > 44) { end.marker.addTo(this.map); } else { end.marker.remove(); }
    });
  }

  // Zoomed far out a gate of 12 m would be a dot; it is drawn at least 20 pixels long, and at its
  // true length as soon as that is longer.
  sizeBar(drawn) {
    const ends = drawn.place.ends.map(([lon, lat]) => this.map.project([lat, lon]));
    const middle = ends[0].add(ends[1]).divideBy(2);
    const stretch = Math.max(1, 20 / Math.max(ends[0].distanceTo(ends[1]), 0.001));
    const drawnEnds = ends.map((end) => this.map.unproject(middle.add(end.subtract(middle).multiplyBy(stretch))));
    drawn.pixels = ends[0].distanceTo(ends[1]);
    drawn.half = 0.5 * stretch * ends[0].distanceTo(ends[1]);
    const along = ends[0].subtract(ends[1]);
    drawn.away = Math.atan2(along.x, -along.y);
    [drawn.halo, drawn.bar, drawn.hold].forEach((layer) => layer.setLatLngs(drawnEnds));
  }

  // Tab goes through gates in racing order.
  keepOrder() {
    const wanted = this.session.state.gates.map((gate) => this.gates.get(gate.id).marker.getElement());
    const pane = this.map.getPane("markerPane");
    const now = Array.from(pane.children).filter((child) => wanted.includes(child));
    if (wanted.every((node, n) => node === now[n])) { return; }
    const focused = document.activeElement;
    wanted.forEach((node) => pane.append(node));
    if (pane.contains(focused)) { focused.focus({ preventScroll: true }); }
  }

  // Corners and findings

  addLabel(node, at) {
    const icon = L.divIcon({ className: "at", iconSize: [0, 0], html: trackkit.element("div", { class: "at" }, node) });
    const marker = L.marker(at, { icon, keyboard: false, interactive: false }).addTo(this.map);
    marker.getElement().removeAttribute("alt");
    L.DomEvent.disableClickPropagation(node);
    return marker;
  }

  addCorner(corner) {
    const line = this.session.line;
    const at = L.latLng(corner.at[1], line.nearLongitude(corner.at[0]));
    const node = trackkit.element("div", { class: "label corner", title: "Corner " + corner.number + (corner.name ? ": " + corner.name : "") },
      trackkit.element("span", { class: "unseen" }, "Corner "), String(corner.number));
    const p = line.at(corner.apex_m), out = corner.turn === "left" ? -1 : 1;
    this.addLabel(node, at);
    return { node, at, rank: 4, away: Math.atan2(-p.dy * out, p.dx * out), reach: Math.max(p.left, p.right) };
  }

  // Findings at a gate stand beside its label; others get a label of their own.
  drawFindings() {
    this.findings.forEach((drawn) => { drawn.marker.remove(); drawn.ring.remove(); });
    this.findings = [];
    const gates = new Set(this.session.state.gates.map((gate) => gate.id));
    (this.session.state.findings || []).forEach((finding, n) => {
      const place = this.session.findingPlace(finding);
      if (!place || gates.has(finding.feature)) { return; }
      const at = L.latLng(place);
      const text = finding.severity + " " + (n + 1) + (finding.accepted ? ", accepted" : "");
      const node = trackkit.element("button", { type: "button", class: "label tag " + finding.severity, onclick: () => trackkit.showFinding(n) }, text);
      const ring = L.circleMarker(at, { renderer: this.bars, pane: "gates", radius: 7, weight: 2, className: "t-ring", interactive: false }).addTo(this.map);
      this.findings.push({ node, at, ring, marker: this.addLabel(node, at), rank: { error: 1, warning: 3, note: 6 }[finding.severity], away: null, reach: 0, index: n });
    });
  }

  // Turn to a place, closely enough to see it.
  show(at) {
    this.held = true;
    this.map.getContainer().scrollIntoView({ block: "nearest" });
    this.map.setView(at, Math.max(this.map.getZoom(), 18), { animate: false });
  }

  settle() {
    const perPixel = this.metresPerPixel();
    this.drawGates();
    const items = [...this.gates.values()].map((drawn) => ({
      node: drawn.node, at: drawn.middle, away: drawn.away, half: drawn.half, always: true,
      rank: drawn.id === this.session.selected ? -1 : drawn.kind === "finish" || drawn.kind === "start" ? 0 : 2,
    }));
    [...this.corners, ...this.findings].forEach((one) => items.push({
      node: one.node, at: one.at, away: one.away, half: one.reach / perPixel, rank: one.rank, always: one.rank === 1,
    }));
    const p = this.session.line.at(0);
    trackkit.placeLabels(this.map, items, this.places, Math.min(14, Math.max(p.left, p.right) / perPixel));
  }

  addNorth() {
    const control = L.control({ position: "topleft" });
    control.onAdd = () => {
      const node = L.DomUtil.create("div", "north");
      node.innerHTML = '<svg width="12" height="15" viewBox="0 0 12 15" aria-hidden="true"><path d="M6 0 11 15 6 11.5 1 15z"/></svg>N';
      node.title = "North is up";
      return node;
    };
    control.addTo(this.map);
  }
};

trackkit.worstFinding = function (state, gate) {
  const severities = (gate.findings || []).map((n) => state.findings[n]).filter((one) => one && !one.accepted).map((one) => one.severity);
  return ["error", "warning", "note"].find((one) => severities.includes(one)) || null;
};
