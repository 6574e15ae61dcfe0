"use strict";
var trackkitMap = (function () {
  // A drive is drawn on one canvas; every class of speed over one dark casing, so that the light
  // colours also hold outside the band.
  function drive(lines, styles, pane) {
    var canvas = L.canvas({ pane: pane, padding: 0.3 });
    var group = L.layerGroup();
    var common = { renderer: canvas, pane: pane, interactive: false, smoothFactor: 0.5, lineCap: "round", lineJoin: "round" };
    lines.forEach(function (line, n) {
      if (line.length) {
        group.addLayer(L.polyline(line, Object.assign({}, common, { color: "#16181a", opacity: 0.8, weight: styles[n].weight + 1.6 })));
      }
    });
    lines.forEach(function (line, n) {
      if (line.length) {
        group.addLayer(L.polyline(line, Object.assign({}, common, { color: styles[n].colour, opacity: 1, weight: styles[n].weight })));
      }
    });
    return group;
  }

  function overlaps(a, b) {
    return a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
  }

  // Points every few pixels along what is drawn of the track, to keep labels off it.
  function trackPoints(map, lines, edge) {
    var points = [];
    function keep(p) {
      if (p.x > edge[0] - 60 && p.x < edge[2] + 60 && p.y > edge[1] - 60 && p.y < edge[3] + 60) { points.push(p); }
    }
    lines.forEach(function (line) {
      var last = null;
      line.getLatLngs().forEach(function (place) {
        var point = map.latLngToLayerPoint(place);
        var steps = last ? Math.min(400, Math.ceil(point.distanceTo(last) / 5)) : 1;
        for (var n = 1; n <= steps; n++) {
          keep(last ? last.add(point.subtract(last).multiplyBy(n / steps)) : point);
        }
        last = point;
      });
    });
    return points;
  }

  // Each label tries places around its point, nearest first, and takes the one that covers the
  // least; a label that finds no room waits until the map is zoomed in.
  function candidates(label) {
    var away = label.away === null ? [0, 45, 90, 135, 180, 225, 270, 315] : [label.away, label.away + 180];
    var turns = label.away === null ? [0] : [0, -30, 30, -60, 60];
    var found = [];
    [3, 8, 14, 22].forEach(function (gap, g) {
      turns.forEach(function (turn) {
        away.forEach(function (bearing, s) {
          var angle = (bearing + turn) * Math.PI / 180;
          var x = Math.sin(angle), y = -Math.cos(angle);
          var reach = label.half + gap + Math.abs(x) * label.width / 2 + Math.abs(y) * label.height / 2;
          found.push({ x: label.x + x * reach, y: label.y + y * reach, cost: 2 * g + 0.08 * Math.abs(turn) + (label.away === null ? 0.1 : 0.8) * s });
        });
      });
    });
    return found;
  }

  function place(map, lines, bandHalf) {
    var scale = metresPerPixel(map);
    var topLeft = map.containerPointToLayerPoint([0, 0]);
    var size = map.getSize();
    var edge = [topLeft.x + 2, topLeft.y + 2, topLeft.x + size.x - 2, topLeft.y + size.y - 2];
    var points = trackPoints(map, lines, edge);
    var margin = Math.min(14, bandHalf / scale);
    var taken = furniture(map, topLeft);
    var labels = [];
    map.eachLayer(function (layer) {
      var holder = layer instanceof L.Marker && layer.getElement();
      var node = holder && holder.querySelector("[data-rank]");
      if (!node) { return; }
      var point = map.latLngToLayerPoint(layer.getLatLng());
      labels.push({
        node: node, x: point.x, y: point.y,
        width: node.offsetWidth || 18, height: node.offsetHeight || 18,
        rank: Number(node.dataset.rank), arrow: node.classList.contains("arrow"),
        away: node.dataset.away === undefined ? null : Number(node.dataset.away),
        half: node.dataset.half === undefined ? 0 : Math.max(SHORTEST_GATE_PX / 2, Number(node.dataset.half) / scale)
      });
    });
    labels.sort(function (a, b) { return a.rank - b.rank; });
    labels.forEach(function (label) {
      if (label.rank <= 2) { taken.push([label.x - 6, label.y - 6, label.x + 6, label.y + 6]); }
    });
    labels.filter(function (label) { return !label.arrow; }).forEach(function (label) {
      var inside = label.x > edge[0] && label.x < edge[2] && label.y > edge[1] && label.y < edge[3];
      var best = null;
      candidates(label).forEach(function (spot) {
        var w = label.width / 2, h = label.height / 2;
        var box = [spot.x - w - 1, spot.y - h - 1, spot.x + w + 1, spot.y + h + 1];
        if (taken.some(function (other) { return overlaps(box, other); })) { return; }
        var cost = spot.cost;
        if (inside && (box[0] < edge[0] || box[1] < edge[1] || box[2] > edge[2] || box[3] > edge[3])) { cost += 60; }
        points.forEach(function (p) {
          if (p.x > box[0] - margin && p.x < box[2] + margin && p.y > box[1] - margin && p.y < box[3] + margin) { cost += 1; }
        });
        if (!best || cost < best.cost) { best = { cost: cost, box: box, spot: spot }; }
      });
      var shown = best && (best.cost < 60 || label.rank <= 1);
      label.node.classList.toggle("placed", Boolean(shown));
      if (shown) {
        taken.push(best.box);
        label.node.style.transform = "translate(" + Math.round(best.spot.x - label.x - label.width / 2) + "px," +
          Math.round(best.spot.y - label.y - label.height / 2) + "px)";
      }
    });
    var arrows = [];
    labels.filter(function (label) { return label.arrow; }).forEach(function (label) {
      var box = [label.x - 9, label.y - 9, label.x + 9, label.y + 9];
      var room = !taken.some(function (other) { return overlaps(box, other); }) &&
        !arrows.some(function (other) { return Math.hypot(other.x - label.x, other.y - label.y) < 62; });
      label.node.style.visibility = room ? "visible" : "hidden";
      if (room) { arrows.push(label); }
    });
  }

  function metresPerPixel(map) {
    var size = map.getSize();
    var middle = L.point(size.x / 2, size.y / 2);
    return map.distance(map.containerPointToLatLng(middle), map.containerPointToLatLng(middle.add([100, 0]))) / 100;
  }

  function furniture(map, topLeft) {
    var frame = map.getContainer().getBoundingClientRect();
    return Array.from(map.getContainer().querySelectorAll(".leaflet-control")).map(function (control) {
      var box = control.getBoundingClientRect();
      return [box.left - frame.left + topLeft.x - 3, box.top - frame.top + topLeft.y - 3,
        box.right - frame.left + topLeft.x + 3, box.bottom - frame.top + topLeft.y + 3];
    });
  }

  function north(map) {
    var control = L.control({ position: "topright" });
    control.onAdd = function () {
      var node = L.DomUtil.create("div", "north");
      node.innerHTML = '<svg width="12" height="15" viewBox="0 0 12 15" aria-hidden="true"><path d="M6 0 11 15 6 11.5 1 15z"/></svg>N';
      node.title = "North is up";
      return node;
    };
    control.addTo(map);
  }

  // Zoomed far out a gate of 12 m would be a dot; it is drawn at least this long, and at its true
  // length as soon as that is longer.
  var SHORTEST_GATE_PX = 18;

  function sizeGates(map, bars) {
    bars.forEach(function (bar) {
      var ends = bar.ends.map(function (end) { return map.project(end); });
      var length = ends[0].distanceTo(ends[1]);
      var middle = ends[0].add(ends[1]).divideBy(2);
      var stretch = Math.max(1, SHORTEST_GATE_PX / Math.max(length, 0.001));
      bar.layer.setLatLngs(stretch === 1 ? bar.ends : ends.map(function (end) {
        return map.unproject(middle.add(end.subtract(middle).multiplyBy(stretch)));
      }));
    });
  }

  function finish(map, data) {
    var lines = data.lines.map(function (name) { return window[name]; });
    var bars = data.gateBars.map(function (name) { return { layer: window[name], ends: window[name].getLatLngs() }; });
    map.attributionControl.setPrefix("trackkit, Leaflet");
    north(map);
    function settle() {
      sizeGates(map, bars);
      place(map, lines, data.bandHalf);
    }
    function fit() {
      var narrow = map.getSize().x < 500;
      map.fitBounds(data.bounds, { paddingTopLeft: narrow ? [34, 34] : [70, 60], paddingBottomRight: narrow ? [34, 44] : [70, 60], animate: false });
      settle();
    }
    // Until someone takes hold of the map it keeps showing the whole track, also when a phone is
    // turned.
    var held = false;
    ["pointerdown", "wheel", "keydown"].forEach(function (kind) {
      map.getContainer().addEventListener(kind, function () { held = true; }, { passive: true });
    });
    map.on("zoomend", settle);
    map.on("resize", function () { if (held) { settle(); } else { fit(); } });
    document.querySelectorAll("[data-layer]").forEach(function (box) {
      var layer = window[box.dataset.layer];
      box.checked = true;
      box.addEventListener("change", function () {
        if (box.checked) { map.addLayer(layer); } else { map.removeLayer(layer); }
        settle();
      });
    });
    document.querySelectorAll("[data-go]").forEach(function (button) {
      button.addEventListener("click", function () {
        var marker = window[button.dataset.go];
        held = true;
        map.getContainer().scrollIntoView({ block: "nearest" });
        map.setView(marker.getLatLng(), Math.max(map.getZoom(), data.closeZoom), { animate: false });
        marker.openPopup();
      });
    });
    if (window.matchMedia("(max-width: 820px)").matches) {
      document.querySelectorAll("details.panel:not(#legend)").forEach(function (panel) { panel.open = false; });
    }
    fit();
    window.trackkitReady = true;
  }

  return { drive: drive, finish: finish };
})();
