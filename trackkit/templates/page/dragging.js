"use strict";
// A gate dragged on the map or in the chart, an end dragged on the map.
trackkit.dragging = function (session, editing, view) {
  let count = 0;
  const place = (event, offset) => {
    const frame = view().map.getContainer().getBoundingClientRect();
    const at = view().map.containerPointToLatLng([event.clientX - frame.left - offset.x, event.clientY - frame.top - offset.y]);
    return [session.line.east(at.lng), session.line.north(at.lat)];
  };
  const drag = (element, begin) => {
    element.addEventListener("pointerdown", (event) => {
      if (event.button) { return; }
      event.preventDefault();
      const held = begin(event);
      let moved = false;
      const x0 = event.clientX, y0 = event.clientY;
      element.setPointerCapture(event.pointerId);
      const move = (now) => {
        // A finger that only taps shakes by a few pixels.
        if (!moved && Math.hypot(now.clientX - x0, now.clientY - y0) < 4) { return; }
        moved = true;
        held.move(now, false);
      };
      const up = (now) => {
        ["pointermove", "pointerup", "pointercancel"].forEach((kind) => element.removeEventListener(kind, kind === "pointermove" ? move : up));
        session.point(null);
        if (moved) { held.move(now.type === "pointercancel" ? null : now, true); }
      };
      element.addEventListener("pointermove", move);
      element.addEventListener("pointerup", up);
      element.addEventListener("pointercancel", up);
    });
  };

  const gate = (id, elements) => elements.forEach((element) => drag(element, (event) => {
    session.select(id);
    trackkit.focusGate(id);
    const start = session.gatePlace(session.gate(id));
    const middle = view().map.latLngToContainerPoint(view().gates.get(id).middle);
    const frame = view().map.getContainer().getBoundingClientRect();
    const offset = { x: event.clientX - frame.left - middle.x, y: event.clientY - frame.top - middle.y };
    const merge = "drag-" + (++count);
    let at = start.base, last = null;
    return { move(now, done) {
      if (now) {
        const [x, y] = place(now, offset);
        const way = last ? Math.hypot(x - last[0], y - last[1]) : 30;
        last = [x, y];
        at = session.line.nearest(x, y, at, Math.max(25, 2 * way)).chainage;
      }
      if (!done) { session.point(at); }
      editing.slideTo(id, at, start.width, merge, done);
    } };
  }));

  const post = (id, element) => drag(element, (event) => {
    session.select(id);
    trackkit.focusGate(id);
    const start = session.gatePlace(session.gate(id));
    const chart = trackkit.page.chart, merge = "drag-" + (++count), x0 = event.clientX;
    let at = start.base;
    return { move(now, done) {
      if (now) { at = session.line.wrap(start.base + (now.clientX - x0) * chart.metresPerPixel()); }
      if (!done) { session.point(at); }
      editing.slideTo(id, at, start.width, merge, done);
    } };
  });

  const end = (id, side, element) => drag(element, () => {
    const start = session.gatePlace(session.gate(id)), merge = "width-" + (++count);
    const p = session.line.at(start.base), sign = side === "left" ? 1 : -1;
    let width = start.width;
    return { move(now, done) {
      if (now) {
        const [x, y] = place(now, { x: 0, y: 0 });
        width = Math.max(0.5, 2 * sign * (-(x - p.x) * p.dy + (y - p.y) * p.dx));
      }
      editing.stretchTo(id, start.base, width, merge, done);
    } };
  });
  return { gate, post, end };
};
