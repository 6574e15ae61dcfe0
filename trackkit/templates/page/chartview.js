"use strict";
// The lap laid out along its chainage: speed of the laps chosen, the time difference of two, what a
// crossing is worth, and the gates as posts through all of them.
trackkit.lapStyles = [
  { name: "lap1", dash: [] }, { name: "lap2", dash: [] }, { name: "lap3", dash: [7, 4] },
  { name: "lap4", dash: [2, 3] }, { name: "lap5", dash: [9, 3, 2, 3] }, { name: "lap6", dash: [4, 4] },
];

trackkit.ChartView = class {
  constructor(session, node, hooks) {
    Object.assign(this, { session, node, hooks, from: 0, span: session.length, posts: new Map(), frozen: null });
    this.canvas = node.querySelector("canvas");
    this.postBox = node.querySelector(".posts");
    this.mark = node.querySelector(".mark");
    this.readout = document.getElementById("readout");
    this.slider = document.getElementById("along");
    this.key = document.getElementById("lap-key");
    this.left = 46;
    this.listen();
    this.arrange();
  }

  listen() {
    const { session } = this;
    const later = trackkit.eachFrame(() => this.draw());
    ["state", "laps"].forEach((what) => session.on(what, () => { if (!session.sliding) { this.arrange(); } }));
    session.on("sliding", () => {
      // While the finish gate is dragged the chart stays where it is under the hand.
      if (session.sliding && this.frozen === null) { this.frozen = session.datum; }
      if (!session.sliding) { this.frozen = null; this.arrange(); } else { this.placePosts(); }
    });
    session.on("selected", () => this.placePosts());
    session.on("place", () => this.drawPlace());
    new ResizeObserver(later).observe(this.node);
    ["(prefers-color-scheme: dark)", "print"].forEach((query) => window.matchMedia(query).addEventListener("change", () => this.draw()));
    this.node.addEventListener("pointermove", (event) => {
      if (session.sliding) { return; }
      session.point(this.baseAt(event.clientX));
    });
    this.node.addEventListener("pointerleave", () => { if (!session.sliding) { session.point(null); } });
    this.slider.addEventListener("input", () => session.point(this.base(Number(this.slider.value))));
    this.slider.addEventListener("focus", () => session.point(this.base(Number(this.slider.value))));
    document.querySelectorAll("[data-chart]").forEach((button) => button.addEventListener("click", () => this.zoom(button.dataset.chart)));
  }

  // Chainages as the chart's axis counts them; the axis holds still while a gate is dragged.
  get datum() { return this.frozen === null ? this.session.datum : this.frozen; }
  shown(base) { return this.session.line.closed ? this.session.line.wrap(base - this.datum) : base; }
  base(shown) { return this.session.line.wrap(shown + (this.session.line.closed ? this.datum : 0)); }
  x(shown) { return this.left + (shown - this.from) / this.span * (this.width - this.left - 8); }
  baseAt(clientX) {
    const x = clientX - this.node.getBoundingClientRect().left;
    const shown = this.from + (x - this.left) / (this.width - this.left - 8) * this.span;
    return this.base(Math.min(Math.max(shown, 0), this.session.length - 1e-6));
  }
  metresPerPixel() { return this.span / (this.width - this.left - 8); }

  zoom(way) {
    const { session } = this;
    const gate = session.selected && session.gate(session.selected);
    const focus = session.place !== null ? this.shown(session.place) : gate ? gate.chainage_m : this.from + this.span / 2;
    const centre = way === "earlier" ? this.from + this.span / 4 : way === "later" ? this.from + 3 * this.span / 4 : way === "closer" ? focus : this.from + this.span / 2;
    if (way === "closer") { this.span = Math.max(60, this.span / 2); }
    if (way === "wider") { this.span = Math.min(session.length, this.span * 2); }
    this.from = Math.min(Math.max(centre - this.span / 2, 0), session.length - this.span);
    this.arrange();
  }

  // The laps drawn, the two compared first.
  lines() {
    const { session } = this;
    const laps = new Map(session.timedLaps().map((lap) => [lap.key, lap]));
    const order = [...(session.compared || []), ...session.chosen.filter((key) => !(session.compared || []).includes(key))];
    return order.filter((key) => laps.has(key) && session.chosen.includes(key)).slice(0, 6)
      .map((key, n) => ({ lap: laps.get(key), trace: session.traceOf(laps.get(key)), style: trackkit.lapStyles[n] })).filter((one) => one.trace);
  }

  compared() {
    const { session } = this;
    if (!session.compared) { return null; }
    const laps = session.compared.map((key) => session.timedLaps().find((lap) => lap.key === key));
    if (!laps.every(Boolean)) { return null; }
    const [first, second] = laps.map((lap) => session.traceOf(lap));
    return first && second ? { laps, at: (shown) => first.time(shown) - second.time(shown) } : null;
  }

  arrange() {
    this.drawn = this.lines();
    this.difference = this.compared();
    this.slider.max = this.session.length.toFixed(0);
    // The two compared have their strokes beside their names already.
    const compared = this.session.compared || [];
    this.key.replaceChildren(...this.drawn.filter(({ lap }) => !this.difference || !compared.includes(lap.key)).map(({ lap, style }) => trackkit.element("li", {},
      trackkit.element("span", { class: "stroke " + style.name, "aria-hidden": "true" }), this.session.lapName(lap))));
    this.draw();
  }

  // Room for the gates' names above the rows: one line of them, or two where they crowd.
  get head() { return this.crowded ? 44 : 24; }

  rows() {
    const height = this.height - 24 - 15 - this.head;
    const parts = [];
    if (this.drawn.length) { parts.push(["speed", 4.2]); }
    if (this.difference) { parts.push(["difference", 2.6]); }
    if (this.session.quality) { parts.push(["quality", 2.4]); }
    const whole = parts.reduce((sum, [, share]) => sum + share, 0);
    let top = this.head;
    return parts.map(([name, share]) => {
      const row = { name, title: top + 2, top: top + 20, bottom: top + height * share / whole - 2 };
      top += height * share / whole;
      return row;
    });
  }

  draw() {
    const box = this.node.getBoundingClientRect();
    this.width = box.width;
    this.height = box.height;
    if (this.width < 60) { return; }
    const dots = Math.min(2, Math.max(1, window.devicePixelRatio || 1)), canvas = this.canvas;
    canvas.width = dots * box.width;
    canvas.height = dots * box.height;
    const context = canvas.getContext("2d");
    context.setTransform(dots, 0, 0, dots, 0, 0);
    context.font = "12px system-ui, sans-serif";
    const colours = trackkit.colours();
    this.placePosts();
    this.drawAxis(context, colours);
    this.rows().forEach((row) => this["draw_" + row.name](context, colours, row));
    this.drawPlace();
  }

  drawAxis(context, colours) {
    const bottom = this.height - 22;
    // Corners are shaded, with their numbers, so that a place can be found again on the map.
    context.textAlign = "center";
    this.session.base.corners.forEach((corner) => {
      const entry = this.shown(corner.entry_m);
      const size = this.session.line.between(corner.entry_m, corner.exit_m);
      [entry, entry - this.session.length].forEach((at) => {
        const x0 = Math.max(this.x(at), this.left), x1 = Math.min(this.x(at + size), this.width - 8);
        if (x1 <= x0) { return; }
        context.fillStyle = colours.rule;
        context.globalAlpha = 0.35;
        context.fillRect(x0, this.head, x1 - x0, bottom - this.head);
        context.globalAlpha = 1;
        if (x1 - x0 > 9) { context.fillStyle = colours.soft; context.fillText(String(corner.number), (x0 + x1) / 2, bottom - 3); }
      });
    });
    const steps = [5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000];
    const step = steps.find((one) => one / this.metresPerPixel() >= 64) || 10000;
    context.fillStyle = colours.ink;
    let end = -Infinity;
    for (let at = Math.ceil(this.from / step) * step; at <= this.from + this.span + 1e-6; at += step) {
      const x = this.x(at);
      context.fillRect(x - 0.5, bottom, 1, 4);
      const text = trackkit.number(at, 0) + " m", half = context.measureText(text).width / 2;
      const middle = Math.min(x, this.width - half - 1);
      if (middle - half < end) { continue; }
      end = middle + half + 6;
      context.textAlign = "center";
      context.fillText(text, middle, this.height - 5);
    }
    context.fillRect(this.left, bottom, this.width - 8 - this.left, 1);
  }

  // Level lines with figures, at steps of 1, 2 or 5.
  drawLevels(context, colours, row, low, high, text) {
    const y = (value) => row.bottom - (value - low) / (high - low) * (row.bottom - row.top);
    const wanted = (high - low) / Math.max(2, Math.floor((row.bottom - row.top) / 22));
    const power = 10 ** Math.floor(Math.log10(wanted));
    const step = [1, 2, 5, 10].map((one) => one * power).find((one) => one >= wanted * 0.999);
    context.textAlign = "right";
    for (let value = Math.ceil(low / step - 1e-9) * step; value <= high + 1e-9; value += step) {
      context.fillStyle = colours.rule;
      context.fillRect(this.left, y(value) - 0.5, this.width - 8 - this.left, 1);
      context.fillStyle = colours.soft;
      context.fillText(text(Math.abs(value) < step / 1e6 ? 0 : value), this.left - 5, y(value) + 4);
    }
    return y;
  }

  title(context, colours, row, text) {
    context.textAlign = "left";
    context.fillStyle = colours.ink;
    context.fillText(text, this.left + 8, row.title + 12);
  }

  trace(context, y, value, colour, width, dash) {
    context.save();
    context.beginPath();
    context.rect(this.left, 0, this.width - 8 - this.left, this.height);
    context.clip();
    context.beginPath();
    const step = Math.max(0.5, this.metresPerPixel());
    let open = false;
    for (let at = this.from; at <= this.from + this.span; at += step) {
      const found = value(at);
      if (!Number.isFinite(found)) { open = false; continue; }
      if (open) { context.lineTo(this.x(at), y(found)); } else { context.moveTo(this.x(at), y(found)); }
      open = true;
    }
    context.setLineDash(dash || []);
    context.strokeStyle = colour;
    context.lineWidth = width;
    context.lineJoin = "round";
    context.stroke();
    context.restore();
  }

  range(values) {
    let low = Infinity, high = -Infinity;
    const step = Math.max(1, this.span / 600);
    values.forEach((value) => {
      for (let at = this.from; at <= this.from + this.span; at += step) {
        const found = value(at);
        if (found < low) { low = found; }
        if (found > high) { high = found; }
      }
    });
    return low <= high ? [low, high] : [0, 1];
  }

  draw_speed(context, colours, row) {
    const [low, high] = this.range(this.drawn.map(({ trace }) => (at) => 3.6 * trace.speed(at)));
    const room = Math.max(4, 0.08 * (high - low));
    const y = this.drawLevels(context, colours, row, low - room, high + room, (value) => trackkit.number(value, 0));
    this.drawn.slice().reverse().forEach(({ trace, style }) => {
      this.trace(context, y, (at) => 3.6 * trace.speed(at), colours[style.name], 2, style.dash);
    });
    this.title(context, colours, row, "Speed, km/h");
  }

  draw_difference(context, colours, row) {
    const [low, high] = this.range([this.difference.at]);
    const room = Math.max(0.02, 0.1 * (high - low));
    const y = this.drawLevels(context, colours, row, Math.min(low, 0) - room, Math.max(high, 0) + room, (value) => trackkit.signed(value, 2).replace("+0.00", "0"));
    context.fillStyle = colours.soft;
    context.fillRect(this.left, y(0) - 0.75, this.width - 8 - this.left, 1.5);
    this.trace(context, y, this.difference.at, colours.lap1, 2);
    const [first, second] = this.difference.laps;
    this.title(context, colours, row, "Lap " + first.number + " behind lap " + second.number + ", s");
  }

  draw_quality(context, colours, row) {
    const value = (at) => 1000 * this.session.qualityAt(this.base(at));
    const high = this.range([value])[1];
    const y = this.drawLevels(context, colours, row, 0, 1.12 * high, (one) => trackkit.number(one, high < 2 ? 1 : 0));
    this.trace(context, y, value, colours.quality, 2);
    this.title(context, colours, row, "A crossing there is good to \u00b1 ms (one sigma)");
  }

  // Posts are for the pointer; the keyboard finds the same gates on the map and in the list.
  placePosts() {
    const { session } = this;
    const known = new Set(session.state.gates.map((gate) => gate.id));
    this.posts.forEach((post, id) => { if (!known.has(id)) { post.remove(); this.posts.delete(id); } });
    const rows = [-Infinity, -Infinity];
    session.state.gates.map((gate) => ({ gate, at: this.shown(session.gatePlace(gate).base) })).sort((a, b) => a.at - b.at).forEach(({ gate, at }) => {
      let post = this.posts.get(gate.id);
      if (!post) {
        post = trackkit.element("div", { class: "post" }, trackkit.element("span", { class: "post-name" }));
        this.posts.set(gate.id, post);
        this.postBox.append(post);
        post.addEventListener("click", () => session.select(gate.id));
        if (this.hooks) { this.hooks.post(gate.id, post); }
      }
      const x = this.x(at), name = post.firstChild;
      post.className = "post " + gate.kind + (session.selected === gate.id ? " selected" : "");
      post.hidden = at < this.from - 1e-6 || at > this.from + this.span + 1e-6;
      post.style.transform = "translateX(" + x.toFixed(1) + "px)";
      name.textContent = gate.name;
      const width = Math.min(110, 14 + 6.4 * gate.name.length);
      // Names take the upper row, or the lower one; without room only the post is shown.
      const start = Math.min(Math.max(x - 10, 2), this.width - width - 2);
      const row = rows.findIndex((end) => start > end + 4);
      name.hidden = row < 0 && session.selected !== gate.id;
      name.style.top = (row > 0 ? 20 : 0) + "px";
      name.style.left = (start - x + 13).toFixed(1) + "px";
      name.style.maxWidth = width + "px";
      if (!post.hidden && row >= 0) { rows[row] = start + width; }
    });
    this.crowded = rows[1] > -Infinity;
  }

  drawPlace() {
    const place = this.session.place;
    const shown = place === null ? null : this.shown(place);
    this.mark.hidden = shown === null || shown < this.from || shown > this.from + this.span;
    if (shown === null) { this.readout.textContent = this.readout.dataset.idle; return; }
    this.mark.style.transform = "translateX(" + this.x(shown).toFixed(1) + "px)";
    const words = [trackkit.metres(shown, 0)];
    const corner = this.session.base.corners.find((one) => this.session.line.between(one.entry_m, place) >= 0 && this.session.line.between(place, one.exit_m) >= 0);
    if (corner) { words.push("corner " + corner.number); }
    this.drawn.forEach(({ lap, trace }) => words.push("lap " + lap.number + ": " + trackkit.kmh(trace.speed(shown))));
    if (this.difference) {
      const [first, second] = this.difference.laps;
      words.push("lap " + first.number + " behind lap " + second.number + ": " + trackkit.signed(this.difference.at(shown)) + "\u00a0s");
    }
    if (this.session.quality) { words.push("a crossing " + trackkit.millis(this.session.qualityAt(place))); }
    this.readout.textContent = words.join(" \u00b7 ");
    if (document.activeElement !== this.slider) { this.slider.value = shown.toFixed(0); }
    this.slider.setAttribute("aria-valuetext", words.join(", "));
  }
};
