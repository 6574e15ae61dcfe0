"use strict";
// What lies on the ground, drawn on one canvas: band, fixes coloured by speed, centreline, arrows,
// pit lane, bridges.  Panning only shifts the canvas; it is drawn again when the map stands still.
trackkit.speedStyles = [
  { colour: "#0072b2", width: 1.6 }, { colour: "#56b4e9", width: 2.2 }, { colour: "#f0e442", width: 2.8 },
  { colour: "#e69f00", width: 3.6 }, { colour: "#d55e00", width: 4.6 },
];

(function () {
  const CASING = "#16181a";
  const ARROW_EVERY_PX = 90;
  const LEAST_STEP_PX = 1.3;     // fixes nearer together on the screen are left out

  // The web's Mercator projection (EPSG:3857), the world being 1 wide and high.
  function worldOf(lon, lat) {
    const x = new Float64Array(lon.length), y = new Float64Array(lon.length);
    for (let n = 0; n < lon.length; n++) {
      const sine = Math.sin(lat[n] * Math.PI / 180);
      x[n] = lon[n] / 360 + 0.5;
      y[n] = 0.5 - Math.log((1 + sine) / (1 - sine)) / (4 * Math.PI);
    }
    return { x, y };
  }

  function worldOfPlaces(places) {
    return worldOf(places.map((p) => p[0]), places.map((p) => p[1]));
  }

  trackkit.Ground = L.Renderer.extend({
    options: { padding: 0.5, pane: "ground" },

    initialize(session) {
      L.Renderer.prototype.initialize.call(this, this.options);
      this.session = session;
      this.drawnLaps = "all";
      this.hidden = new Set();
      const line = session.line, base = session.base;
      this.world = worldOf(line.lon, line.lat);
      const side = (reach, sign) => worldOfPlaces(Array.from(line.chainage, (chainage, n) => {
        const p = line.at(chainage);
        return line.toLonLat(p.x - sign * p.dy * reach[n], p.y + sign * p.dx * reach[n]);
      }));
      this.leftSide = side(line.left, 1);
      this.rightSide = side(line.right, -1);
      this.lanes = base.pit_lanes.map((lane) => worldOf(trackkit.unpack(lane.lon), trackkit.unpack(lane.lat)));
      this.bridges = base.bridges.map((bridge) => this.bridgeEdges(bridge));
      this.drives = base.recordings.map((recording) => this.driveOf(recording.fixes));
    },

    bridgeEdges(bridge) {
      const line = this.session.line, under = line.at(bridge.under_m);
      const reach = Math.max(under.left, under.right) + 4;
      const edge = (sign) => worldOfPlaces(Array.from({ length: 9 }, (_, n) => {
        const p = line.at(bridge.over_m + reach * (n / 4 - 1));
        const half = sign > 0 ? p.left : p.right;
        return line.toLonLat(p.x - sign * p.dy * half, p.y + sign * p.dx * half);
      }));
      return [edge(1), edge(-1)];
    },

    driveOf(fixes) {
      if (!fixes) { return null; }
      const world = worldOf(trackkit.unpack(fixes.lon), trackkit.unpack(fixes.lat));
      const speed = trackkit.unpack(fixes.speed_mps);
      const bounds = this.session.base.speed_bounds_kmh;
      const group = Uint8Array.from(speed, (value) => bounds.filter((bound) => 3.6 * value >= bound).length);
      const broken = new Uint8Array(speed.length);
      fixes.breaks.forEach((n) => { broken[n] = 1; });
      return { world, group, broken };
    },

    // A map pulled farther than what was drawn beyond its edges is drawn again under way.
    getEvents() {
      return Object.assign(L.Renderer.prototype.getEvents.call(this), {
        move: () => {
          const map = this._map, corner = map.containerPointToLayerPoint([0, 0]);
          const view = L.bounds(corner, corner.add(map.getSize()));
          if (this._bounds && map.getZoom() === this._zoom && !this._bounds.contains(view)) { this._update(); }
        },
      });
    },

    _initContainer() {
      this._container = document.createElement("canvas");
      this._context = this._container.getContext("2d");
    },

    _destroyContainer() { this._container.remove(); delete this._context; },

    _update() {
      if (this._map._animatingZoom && this._bounds) { return; }
      L.Renderer.prototype._update.call(this);
      const size = this._bounds.getSize(), canvas = this._container;
      const dots = Math.min(2, Math.max(1, window.devicePixelRatio || 1));
      L.DomUtil.setPosition(canvas, this._bounds.min);
      canvas.width = dots * size.x;
      canvas.height = dots * size.y;
      canvas.style.width = size.x + "px";
      canvas.style.height = size.y + "px";
      this._context.setTransform(dots, 0, 0, dots, -dots * this._bounds.min.x, -dots * this._bounds.min.y);
      this.draw();
    },

    _updatePaths() {},

    redraw() { if (this._map) { this._update(); } },

    draw() {
      const context = this._context, map = this._map;
      const scale = map.options.crs.scale(map.getZoom()), origin = map.getPixelOrigin();
      const points = (world) => ({
        x: world.x.map((value) => value * scale - origin.x),
        y: world.y.map((value) => value * scale - origin.y),
      });
      const colours = trackkit.colours();
      const onTiles = document.body.classList.contains("on-tiles");
      context.lineJoin = "round";
      context.lineCap = "round";
      context.setLineDash([]);
      const middle = points(this.world);
      this.drawBand(context, colours, onTiles, points(this.leftSide), points(this.rightSide));
      this.drawLanes(context, colours, points);
      this.drawDrives(context, scale, origin);
      this.drawBridges(context, colours, points);
      this.drawLine(context, colours, middle);
    },

    // Quadrilaterals between neighbouring cross-sections, all turned the same way, so that the band
    // stays whole where a tight corner's inside folds over itself or a bridge crosses it.
    drawBand(context, colours, onTiles, left, right) {
      const band = new Path2D(), edges = new Path2D();
      const count = left.x.length;
      for (let n = 0; n < count - 1; n++) {
        const ring = [[left.x[n], left.y[n]], [left.x[n + 1], left.y[n + 1]], [right.x[n + 1], right.y[n + 1]], [right.x[n], right.y[n]]];
        let area = 0;
        ring.forEach(([x, y], k) => { const [u, v] = ring[(k + 1) % 4]; area += x * v - u * y; });
        if (area < 0) { ring.reverse(); }
        ring.forEach(([x, y], k) => { if (k) { band.lineTo(x, y); } else { band.moveTo(x, y); } });
        band.closePath();
      }
      [left, right].forEach((side) => {
        for (let n = 0; n < count; n++) { if (n) { edges.lineTo(side.x[n], side.y[n]); } else { edges.moveTo(side.x[n], side.y[n]); } }
      });
      context.globalAlpha = onTiles ? 0.6 : 1;
      context.strokeStyle = colours.bandEdge;
      context.lineWidth = 2.4;
      context.stroke(edges);
      context.globalAlpha = onTiles ? 0.45 : 1;
      context.fillStyle = colours.band;
      context.fill(band);
      // Without this the seams between quadrilaterals shine through.
      if (!onTiles) { context.strokeStyle = colours.band; context.lineWidth = 0.7; context.stroke(band); }
      context.globalAlpha = 1;
    },

    drawLanes(context, colours, points) {
      this.lanes.map(points).forEach((lane) => {
        [[colours.halo, 5, []], [colours.pit, 3, [6, 5]]].forEach(([colour, width, dashes]) => {
          context.strokeStyle = colour;
          context.lineWidth = width;
          context.setLineDash(dashes);
          this.stroke(context, lane);
        });
      });
      context.setLineDash([]);
    },

    drawBridges(context, colours, points) {
      this.bridges.flat().map(points).forEach((edge) => {
        [[colours.bandEdge, 5.5], [colours.line, 2.5]].forEach(([colour, width]) => {
          context.strokeStyle = colour;
          context.lineWidth = width;
          this.stroke(context, edge);
        });
      });
    },

    drawLine(context, colours, middle) {
      context.strokeStyle = colours.line;
      context.lineWidth = 1.6;
      context.setLineDash([7, 6]);
      context.lineCap = "butt";
      this.stroke(context, middle);
      context.setLineDash([]);
      context.lineCap = "round";
      // Arrows in racing direction, evenly along what is drawn.
      const arrows = new Path2D();
      let way = ARROW_EVERY_PX / 2;
      for (let n = 1; n < middle.x.length; n++) {
        const dx = middle.x[n] - middle.x[n - 1], dy = middle.y[n] - middle.y[n - 1];
        way -= Math.hypot(dx, dy);
        if (way > 0 || !(dx || dy)) { continue; }
        way += ARROW_EVERY_PX;
        const turn = Math.atan2(dy, dx), x = middle.x[n], y = middle.y[n];
        [-2.5, 2.5].forEach((side, k) => {
          const back = turn + side;
          const px = x + 8 * Math.cos(back), py = y + 8 * Math.sin(back);
          if (k) { arrows.lineTo(px, py); } else { arrows.moveTo(px, py); arrows.lineTo(x, y); }
        });
      }
      [[CASING, 5], ["#ffffff", 2.4]].forEach(([colour, width]) => {
        context.strokeStyle = colour;
        context.lineWidth = width;
        context.stroke(arrows);
      });
    },

    stroke(context, line) {
      context.beginPath();
      line.x.forEach((x, n) => { if (n) { context.lineTo(x, line.y[n]); } else { context.moveTo(x, line.y[n]); } });
      context.stroke();
    },

    // Every class of speed over one dark casing, so that light colours also hold outside the band.
    drawDrives(context, scale, origin) {
      if (this.drawnLaps === "none") { return; }
      const paths = trackkit.speedStyles.map(() => new Path2D());
      this.drives.forEach((drive, index) => {
        if (!drive || this.hidden.has(index)) { return; }
        this.stretches(index, drive.group.length).forEach(([first, last]) => this.addStretch(paths, drive, first, last, scale, origin));
      });
      paths.forEach((path, n) => {
        context.strokeStyle = CASING;
        context.lineWidth = trackkit.speedStyles[n].width + 1.6;
        context.stroke(path);
      });
      paths.forEach((path, n) => {
        context.strokeStyle = trackkit.speedStyles[n].colour;
        context.lineWidth = trackkit.speedStyles[n].width;
        context.stroke(path);
      });
    },

    // Which fixes of a recording are drawn: all, or those of the laps chosen.
    stretches(index, count) {
      if (this.drawnLaps === "all") { return [[0, count]]; }
      const chosen = new Set(this.session.chosen);
      return this.session.base.laps
        .filter((lap) => lap.recording === index && lap.fixes && chosen.has(index + ":" + lap.number))
        .map((lap) => lap.fixes);
    },

    addStretch(paths, drive, first, last, scale, origin) {
      const { world, group, broken } = drive, box = this._bounds;
      const beside = (x, y) => (x < box.min.x ? 1 : x > box.max.x ? 2 : 0) | (y < box.min.y ? 4 : y > box.max.y ? 8 : 0);
      let px = 0, py = 0, where = 0, kind = -1;
      for (let n = first; n < last; n++) {
        const x = world.x[n] * scale - origin.x, y = world.y[n] * scale - origin.y;
        const fresh = n === first || broken[n];
        if (!fresh) {
          const dx = x - px, dy = y - py;
          if (group[n] === kind && n < last - 1 && !broken[n + 1] && dx * dx + dy * dy < LEAST_STEP_PX * LEAST_STEP_PX) { continue; }
          const side = beside(x, y);
          if (side & where) {
            kind = -1;
          } else {
            if (group[n] !== kind) { kind = group[n]; paths[kind].moveTo(px, py); }
            paths[kind].lineTo(x, y);
          }
          where = side;
        } else {
          kind = -1;
          where = beside(x, y);
        }
        px = x;
        py = y;
      }
    },
  });
})();

// Colours are said once, in the style sheet, where light, dark and paper differ.
trackkit.colours = function () {
  const style = getComputedStyle(document.documentElement);
  const named = {};
  ["ground", "panel", "ink", "soft", "rule", "band", "band-edge", "line", "halo", "pit", "lap-1", "lap-2", "lap-3", "lap-4", "lap-5", "lap-6", "quality"].forEach((name) => {
    named[name.replace(/-(\w)/g, (_, letter) => letter.toUpperCase())] = style.getPropertyValue("--" + name).trim();
  });
  return named;
};
