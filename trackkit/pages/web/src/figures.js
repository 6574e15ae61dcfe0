// Numbers as people read them.

import { units } from "./units.js";

const UNKNOWN = "\u2013";
const MINUS = "\u2212";

/** @type {Map<number, Intl.NumberFormat>} by decimals: making one takes longer than many figures */
const formats = new Map();

/**
 * @param {number} value
 * @param {number} digits
 */
export function number(value, digits) {
  let format = formats.get(digits);
  if (!format) {
    const both = { minimumFractionDigits: digits, maximumFractionDigits: digits };
    format = new Intl.NumberFormat("en", both);
    formats.set(digits, format);
  }
  return format.format(value);
}

/** @param {number} value  metres */
export function lengthText(value, digits = 1) {
  const { length, length_per_m } = units();
  return `${number(length_per_m * value, digits)}\u00a0${length}`;
}

/** The name of the unit that lengths are read in. */
export function lengthName() {
  return units().length_name;
}

/** @param {number} mps */
export function speedText(mps) {
  const { speed, speed_per_mps } = units();
  return Number.isFinite(mps) ? `${number(speed_per_mps * mps, 0)}\u00a0${speed}` : "no speed";
}

/** @param {number | null} seconds  one sigma */
export function millis(seconds) {
  if (seconds === null || !Number.isFinite(seconds)) {
    return "unknown";
  }
  const ms = 1000 * seconds;
  return `\u00b1${number(ms, ms < 9.95 ? 1 : 0)}\u00a0ms`;
}

/**
 * A time as 47.132 or 1:47.132.
 *
 * @param {number | null} seconds
 */
export function duration(seconds, digits = 3) {
  if (seconds === null || !Number.isFinite(seconds)) {
    return UNKNOWN;
  }
  const ticks = roundedToEven(Math.abs(seconds) * 10 ** digits);
  const minutes = Math.floor(ticks / (60 * 10 ** digits));
  const rest = (ticks / 10 ** digits - 60 * minutes).toFixed(digits);
  const sign = seconds < 0 ? MINUS : "";
  const secondsWidth = digits ? 3 + digits : 2;
  return sign + (minutes ? `${minutes}:${rest.padStart(secondsWidth, "0")}` : rest);
}

/** @param {number} seconds */
export function signed(seconds, digits = 3) {
  if (!Number.isFinite(seconds)) {
    return UNKNOWN;
  }
  return (seconds < 0 ? MINUS : "+") + Math.abs(seconds).toFixed(digits);
}

/**
 * How many decimals of a time its uncertainty supports: the last is no finer than the second
 * significant digit of one sigma, which is rounded to two digits first, and never finer than
 * `most`. The reports of the command line count them likewise.
 *
 * @param {number | null} sigma  seconds
 * @param {number} most
 */
export function decimals(sigma, most) {
  if (sigma === null || !(sigma > 0)) {
    return most;
  }
  const exponent = Number(sigma.toExponential(1).split("e")[1]);
  return Math.min(Math.max(1 - exponent, 0), most);
}

/**
 * Halves go to the even neighbour, as in Python.
 *
 * @param {number} value  not negative
 */
function roundedToEven(value) {
  const below = Math.floor(value);
  if (value - below !== 0.5) {
    return Math.round(value);
  }
  return below + (below % 2);
}
