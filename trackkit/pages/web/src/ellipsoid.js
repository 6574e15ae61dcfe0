// Lengths of a degree on the WGS 84 ellipsoid (NIMA TR8350.2; from memory).

const SEMI_MAJOR_M = 6378137;
const FLATTENING = 1 / 298.257223563;
const ECCENTRICITY_SQUARED = FLATTENING * (2 - FLATTENING);
const RADIANS = Math.PI / 180;

/**
 * Metres per degree of longitude and of latitude, from the radii of curvature in the prime
 * vertical and in the meridian.
 *
 * @param {number} latitudeDeg
 */
export function metresPerDegree(latitudeDeg) {
  const sine = Math.sin(latitudeDeg * RADIANS);
  const flat = 1 - ECCENTRICITY_SQUARED * sine * sine;
  const primeVertical = SEMI_MAJOR_M / Math.sqrt(flat);
  return {
    east: primeVertical * Math.cos(latitudeDeg * RADIANS) * RADIANS,
    north: ((primeVertical * (1 - ECCENTRICITY_SQUARED)) / flat) * RADIANS,
  };
}
