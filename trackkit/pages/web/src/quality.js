// What a crossing is worth, by chainage.

import { unpack } from "./packing.js";

/**
 * @import { Quality as PackedQuality } from "./base_document.js"
 * @import { Line } from "./line.js"
 */

export class Quality {
  /**
   * @param {PackedQuality} quality
   * @param {Line} line
   */
  constructor(quality, line) {
    this.line = line;
    this.sigma = unpack(quality.sigma_s);
    this.step = line.length / (line.closed ? this.sigma.length : this.sigma.length - 1);
  }

  /**
   * One sigma of a crossing, seconds.
   *
   * @param {number} chainage  along the line as the page was given it
   */
  at(chainage) {
    const { sigma } = this;
    const place = this.line.wrap(chainage) / this.step;
    const n = Math.min(Math.floor(place), sigma.length - 1);
    const last = this.line.closed ? 0 : n;
    const following = n + 1 < sigma.length ? n + 1 : last;
    return sigma[n] + (place - n) * (sigma[following] - sigma[n]);
  }
}
