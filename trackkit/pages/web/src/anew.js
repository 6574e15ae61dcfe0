// A page that begins anew with another line shows the same ground, and says what was done.

/**
 * @import { MapView } from "./map.js"
 * @import { Messages } from "./messages.js"
 *
 * @typedef {object} Left  what is kept of the page before
 * @property {string} said
 * @property {{ lat: number, lng: number }} middle
 * @property {number} zoom
 */

/**
 * Keep what the page after this one goes on with.
 *
 * @param {MapView} view
 * @param {Messages} messages
 */
export function keepPlace({ map, held }, messages) {
  const { lat, lng } = map.getCenter();
  /** @type {{ left: Left | null }} */
  const kept = { left: null };
  if (held) {
    kept.left = {
      said: messages.status.textContent ?? "",
      middle: { lat, lng },
      zoom: map.getZoom(),
    };
  }
  history.replaceState(kept, "");
}

/**
 * Go on where the page before was left.
 *
 * @param {MapView} view
 * @param {Messages} messages
 */
export function takeUpPlace(view, messages) {
  /** @type {Left | null | undefined} */
  const left = history.state?.left;
  if (!left) {
    return;
  }
  history.replaceState(null, "");
  view.held = true;
  view.map.setView(left.middle, left.zoom, { animate: false });
  messages.say(left.said);
}
