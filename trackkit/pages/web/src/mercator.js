// The web's Mercator projection (EPSG:3857), the world being 1 wide and high.

/** @import { Position } from "./line.js" */

/**
 * @typedef {object} WorldPoints
 * @property {Float64Array} x
 * @property {Float64Array} y
 */

/**
 * @param {ArrayLike<number>} lon
 * @param {ArrayLike<number>} lat
 * @returns {WorldPoints}
 */
export function worldOf(lon, lat) {
  const x = new Float64Array(lon.length);
  const y = new Float64Array(lon.length);
  for (let n = 0; n < lon.length; n++) {
    const sine = Math.sin((lat[n] * Math.PI) / 180);
    x[n] = lon[n] / 360 + 0.5;
    y[n] = 0.5 - Math.log((1 + sine) / (1 - sine)) / (4 * Math.PI);
  }
  return { x, y };
}

/** @param {Position[]} positions */
export function worldOfPositions(positions) {
  return worldOf(
    positions.map(([lon]) => lon),
    positions.map(([, lat]) => lat),
  );
}
