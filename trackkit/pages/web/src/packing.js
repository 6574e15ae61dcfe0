// Arrays as the base document packs them.

/** @import { Packed } from "./base_document.js" */

/**
 * Read packed numbers; a missing one is NaN.
 *
 * @param {Packed} packed
 */
export function unpack(packed) {
  const text = atob(packed.data);
  const bytes = Uint8Array.from(text, (letter) => letter.charCodeAt(0));
  const view = new DataView(bytes.buffer);
  const small = packed.type === "u16";
  const missing = small ? 65535 : -2147483648;
  const values = new Float64Array(packed.count);
  for (let n = 0; n < packed.count; n++) {
    const steps = small ? view.getUint16(2 * n, true) : view.getInt32(4 * n, true);
    values[n] = steps === missing ? NaN : packed.zero + packed.scale * steps;
  }
  return values;
}

/**
 * Times from the first and the steps between them.
 *
 * @param {number} first
 * @param {Float64Array} steps
 */
export function timesOf(first, steps) {
  const times = new Float64Array(steps.length + 1);
  times[0] = first;
  steps.forEach((step, n) => (times[n + 1] = times[n] + step));
  return times;
}
