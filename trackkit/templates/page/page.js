"use strict";
// Puts the page together.
trackkit.open = function (tiles) {
  const base = trackkit.readDocument("base"), state = trackkit.readDocument("state"), opened = trackkit.readDocument("session");
  const session = new trackkit.Session(base, state, Boolean(opened));
  const page = trackkit.page = { session };
  let hooks = null;
  if (opened) {
    page.editing = new trackkit.Editing(session, opened);
    page.menu = new trackkit.PlaceMenu(session, page.editing);
    hooks = Object.assign(trackkit.dragging(session, page.editing, () => page.map), { track: (place, event) => page.menu.open(place, event) });
    trackkit.keys(page.editing);
    trackkit.diskNotice(page.editing);
  }
  page.ledger = new trackkit.Ledger(session, document.getElementById("ledger"), page.editing || null);
  page.map = new trackkit.MapView(session, document.getElementById("map"), hooks, tiles);
  page.chart = new trackkit.ChartView(session, document.getElementById("chart"), hooks);
  page.laps = new trackkit.LapTable(session, document.getElementById("lap-table"));
  page.compare = new trackkit.CompareChoice(session);
  page.findings = new trackkit.FindingList(session, document.getElementById("finding-list"), page.map);
  page.corners = new trackkit.CornerTables(session);
  trackkit.groundChoices(session, page.map);
  window.trackkitReady = true;
};

// Which recordings and laps are drawn on the map.
trackkit.groundChoices = function (session, view) {
  const select = document.getElementById("drawn-laps");
  if (select) {
    select.addEventListener("change", () => { view.ground.drawnLaps = select.value; view.ground.redraw(); });
  }
  document.querySelectorAll("[data-recording]").forEach((box) => box.addEventListener("change", () => {
    const index = Number(box.dataset.recording);
    if (box.checked) { view.ground.hidden.delete(index); } else { view.ground.hidden.add(index); }
    view.ground.redraw();
  }));
};
