// Which recordings and laps are drawn on the map.

/** @import { MapView } from "./map.js" */

/** @param {MapView} view */
export function listenToGroundChoices({ ground }) {
  const select = document.querySelector("#drawn-laps");
  if (select instanceof HTMLSelectElement) {
    select.value = ground.drawnLaps;
    select.addEventListener("change", () => {
      ground.drawnLaps = select.value;
      ground.redraw();
    });
  }
  for (const box of document.querySelectorAll("[data-recording]")) {
    if (box instanceof HTMLInputElement) {
      const index = Number(box.dataset.recording);
      box.addEventListener("change", () => {
        if (box.checked) {
          ground.hidden.delete(index);
        } else {
          ground.hidden.add(index);
        }
        ground.redraw();
      });
    }
  }
}
