"use strict";
// Finds room for labels on the map: each tries places around its point, nearest first, and takes
// the one that covers the least of the track; one that finds no room waits until the map is zoomed.
trackkit.placeLabels = function (map, items, track, margin) {
  const topLeft = map.containerPointToLayerPoint([0, 0]);
  const size = map.getSize();
  const edge = [topLeft.x + 2, topLeft.y + 2, topLeft.x + size.x - 2, topLeft.y + size.y - 2];
  const taken = furniture(map, topLeft);
  const points = spaced(track, edge);
  const overlaps = (a, b) => a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];
  items.forEach((item) => {
    const point = map.latLngToLayerPoint(item.at);
    Object.assign(item, { x: point.x, y: point.y, width: item.node.offsetWidth, height: item.node.offsetHeight });
    if (item.rank <= 2) { taken.push([item.x - 6, item.y - 6, item.x + 6, item.y + 6]); }
  });
  items.slice().sort((a, b) => a.rank - b.rank).forEach((item) => {
    const inside = item.x > edge[0] && item.x < edge[2] && item.y > edge[1] && item.y < edge[3];
    let best = null;
    candidates(item).forEach((spot) => {
      const w = item.width / 2, h = item.height / 2;
      const box = [spot.x - w - 1, spot.y - h - 1, spot.x + w + 1, spot.y + h + 1];
      if (taken.some((other) => overlaps(box, other))) { return; }
      let cost = spot.cost;
      if (inside && (box[0] < edge[0] || box[1] < edge[1] || box[2] > edge[2] || box[3] > edge[3])) { cost += 60; }
      points.forEach(([x, y]) => {
        if (x > box[0] - margin && x < box[2] + margin && y > box[1] - margin && y < box[3] + margin) { cost += 1; }
      });
      if (!best || cost < best.cost) { best = { cost, box, spot }; }
    });
    // A gate that can be dragged, or reached with Tab, is never without its label.
    if (!best && item.always) {
      const spot = candidates(item)[0];
      best = { cost: 0, box: [spot.x - item.width / 2, spot.y - item.height / 2, spot.x + item.width / 2, spot.y + item.height / 2], spot };
    }
    const shown = best && (best.cost < 60 || item.always);
    item.node.classList.toggle("placed", Boolean(shown));
    if (shown) {
      taken.push(best.box);
      item.node.style.transform = "translate(" + Math.round(best.spot.x - item.x - item.width / 2) + "px," +
        Math.round(best.spot.y - item.y - item.height / 2) + "px)";
    }
  });

  // `away` is the direction to look in first, radians clockwise from up; null means any.
  function candidates(item) {
    const turn = Math.PI / 180;
    const away = item.away === null ? [0, 45, 90, 135, 180, 225, 270, 315].map((a) => a * turn) : [item.away, item.away + Math.PI];
    const turns = item.away === null ? [0] : [0, -30, 30, -60, 60, 90];
    const found = [];
    [4, 9, 15, 23, 34].forEach((gap, g) => turns.forEach((more) => away.forEach((bearing, side) => {
      const angle = bearing + more * turn;
      const x = Math.sin(angle), y = -Math.cos(angle);
      const reach = item.half + gap + Math.abs(x) * item.width / 2 + Math.abs(y) * item.height / 2;
      found.push({
        x: item.x + x * reach, y: item.y + y * reach,
        cost: 2 * g + 0.08 * Math.abs(more) + (item.away === null ? 0.1 : 0.8) * side,
      });
    })));
    return found;
  }

  function furniture(shownMap, corner) {
    const frame = shownMap.getContainer().getBoundingClientRect();
    return Array.from(shownMap.getContainer().querySelectorAll(".leaflet-control")).map((control) => {
      const box = control.getBoundingClientRect();
      return [box.left - frame.left + corner.x - 3, box.top - frame.top + corner.y - 3,
        box.right - frame.left + corner.x + 3, box.bottom - frame.top + corner.y + 3];
    });
  }

  // Points every few pixels along the track, near the view.
  function spaced(line, box) {
    const found = [];
    let last = null;
    line.forEach((place) => {
      const point = map.latLngToLayerPoint(place);
      const steps = last ? Math.min(400, Math.ceil(point.distanceTo(last) / 5)) : 1;
      for (let n = 1; n <= steps; n++) {
        const x = last ? last.x + (point.x - last.x) * n / steps : point.x;
        const y = last ? last.y + (point.y - last.y) * n / steps : point.y;
        if (x > box[0] - 60 && x < box[2] + 60 && y > box[1] - 60 && y < box[3] + 60) { found.push([x, y]); }
      }
      last = point;
    });
    return found;
  }
};
