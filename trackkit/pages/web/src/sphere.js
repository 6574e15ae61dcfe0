// Distances on a sphere as large as the earth: the haversine formula (from memory).

/** @import { Position } from "./line.js" */

/** Mean radius of the earth, (2a + b) / 3 of WGS 84 (IUGG). */
const RADIUS_M = 6371008.8;

/**
 * Distance between two places, right to about half a percent of one on the ellipsoid.
 *
 * @param {Position} first  longitude and latitude, degrees
 * @param {Position} second
 */
export function distanceM([lonA, latA], [lonB, latB]) {
  const radians = Math.PI / 180;
  const north = Math.sin(((latB - latA) * radians) / 2);
  const east = Math.sin(((lonB - lonA) * radians) / 2);
  const half = north ** 2 + Math.cos(latA * radians) * Math.cos(latB * radians) * east ** 2;
  return 2 * RADIUS_M * Math.asin(Math.sqrt(Math.min(1, half)));
}
