// Drivers by colour, dash and name. Colours are of Okabe and Ito's palette (from memory); what is
// too light or too dark for its ground gets a casing.

/**
 * @import { BaseDocument } from "./base_document.js"
 * @import { Colours } from "./colours.js"
 *
 * @typedef {"driver1" | "driver2" | "driver3" | "driver4" | "driver5" | "driver6" | "driver7"
 *   | "driver8"} DriverColour
 *
 * @typedef {object} Driver
 * @property {string} name
 * @property {DriverColour} colour
 * @property {number[]} dash
 * @property {number[]} recordings
 *
 * @typedef {object} LapStyle
 * @property {DriverColour} colour
 * @property {number[]} dash
 * @property {number} width  pixels
 */

const COLOURS = 8;
/** Drivers of the same colour differ by their dash, and so do those next to each other. */
const DASHES = [[], [11, 4], [4, 3], [11, 3, 3, 3]];
const SVG = "http://www.w3.org/2000/svg";
/** WCAG 2.2, success criterion 1.4.11. */
const LEAST_CONTRAST = 3;

/**
 * @param {BaseDocument["recordings"]} recordings
 * @returns {Driver[]}  in the order of their recordings
 */
export function driversOf(recordings) {
  /** @type {Map<string, Driver>} */
  const drivers = new Map();
  recordings.forEach(({ driver: name }, recording) => {
    const n = drivers.size;
    const colour = /** @type {DriverColour} */ (`driver${(n % COLOURS) + 1}`);
    const dash = DASHES[(n + Math.floor(n / COLOURS)) % DASHES.length];
    const driver = drivers.get(name) ?? { name, colour, dash, recordings: [] };
    driver.recordings.push(recording);
    drivers.set(name, driver);
  });
  return [...drivers.values()];
}

/**
 * How a lap is drawn: in its driver's colour and dash; further laps of a driver are thinner, and
 * dashed otherwise.
 *
 * @param {Driver} driver
 * @param {number} nth  among the laps of the driver that are drawn
 * @param {boolean} reference  whether others are compared with it
 * @returns {LapStyle}
 */
export function lapStyle(driver, nth, reference) {
  const first = DASHES.indexOf(driver.dash);
  const dash = DASHES[(first + nth) % DASHES.length];
  return { colour: driver.colour, dash, width: reference ? 3.2 : nth ? 1.5 : 2 };
}

/**
 * Contrast of two colours (WCAG 2.2, relative luminance).
 *
 * @param {string} a  as #rrggbb
 * @param {string} b
 */
export function contrast(a, b) {
  const [dark, light] = [luminance(a), luminance(b)].sort((x, y) => x - y);
  return (light + 0.05) / (dark + 0.05);
}

/** @param {string} colour */
function luminance(colour) {
  const parts = colour.length === 4 ? /[^#]/g : /[^#]{2}/g;
  const [red, green, blue] = (colour.match(parts) ?? []).map((part) => {
    const value = parseInt(part.length === 1 ? part + part : part, 16) / 255;
    return value <= 0.04045 ? value / 12.92 : ((value + 0.055) / 1.055) ** 2.4;
  });
  return 0.2126 * red + 0.7152 * green + 0.0722 * blue;
}

/**
 * Whether a driver's colour cannot be seen well enough on the panel without a casing.
 *
 * @param {Colours} named
 * @param {DriverColour} colour
 */
export function needsCasing(named, colour) {
  return contrast(named[colour], named.panel) < LEAST_CONTRAST;
}

/**
 * A short stroke in a lap's style, to stand before its name.
 *
 * @param {LapStyle} style
 */
export function strokeOf({ colour, dash, width }) {
  const drawing = document.createElementNS(SVG, "svg");
  drawing.setAttribute("class", `stroke of-${colour}`);
  drawing.setAttribute("viewBox", "0 0 30 10");
  drawing.setAttribute("aria-hidden", "true");
  for (const [name, extra] of /** @type {const} */ ([
    ["casing", 1.6],
    [colour, 0],
  ])) {
    const path = document.createElementNS(SVG, "path");
    path.setAttribute("class", name);
    path.setAttribute("d", "M1 5h28");
    path.setAttribute("stroke-width", String(width + 1 + extra));
    path.setAttribute("stroke-dasharray", dash.join(" "));
    drawing.append(path);
  }
  return drawing;
}
