// A picture of the ground under what is drawn, which the page carries with it.

import { element } from "./elements.js";

/**
 * @import { Underlay } from "./base_document.js"
 * @import { Ground } from "./ground.js"
 */

/** @param {Underlay} underlay */
export function pictureLayer({ picture, west, south, east, north, credit }) {
  // The credit is text, where Leaflet takes HTML.
  const named = element("span", {}, credit).innerHTML;
  return L.imageOverlay(
    picture,
    [
      [south, west],
      [north, east],
    ],
    { attribution: named, pane: "tilePane", className: "underlay" },
  );
}

/**
 * Lay the picture under the map, to be shown or hidden.
 *
 * @param {L.Map} map
 * @param {Ground} ground
 * @param {Underlay} underlay
 */
export function layUnderlay(map, ground, underlay) {
  const layer = pictureLayer(underlay).addTo(map);
  const box = document.querySelector("#show-underlay");
  if (box instanceof HTMLInputElement) {
    box.addEventListener("change", () => {
      document.body.classList.toggle("on-picture", box.checked);
      if (box.checked) {
        layer.addTo(map);
      } else {
        layer.remove();
      }
      ground.redraw();
    });
  }
  return layer;
}
