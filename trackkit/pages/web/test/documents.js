// Documents that Python made, for tests: see tests/shared/page_documents.py.

import { readFileSync } from "node:fs";

/**
 * @import { BaseDocument, Packed } from "../src/base_document.js"
 * @import { StateDocument } from "../src/state_document.js"
 * @import { Position } from "../src/line.js"
 *
 * @typedef {object} Answers  what Python says
 * @property {[number | null, number][]} decimals  of one sigma, seconds
 * @property {[number, number, string][]} durations  of seconds, with so many decimals
 * @property {AnswersInUnits[]} units
 * @property {[number, number, [Position, Position]][]} square_ends  of chainage and width
 * @property {[number, number][]} sigma_s  of chainage
 * @property {AnswerCompared[]} compared
 *
 * @typedef {object} AnswerCompared  of two laps, by the numbers of session and lap
 * @property {[number, number]} lap
 * @property {[number, number]} other
 * @property {[string, number, number, number][]} losses  kind, chainage, seconds, sigma
 * @property {[number, number, number][]} difference  chainage, seconds, sigma
 *
 * @typedef {object} AnswersInUnits
 * @property {BaseDocument["units"]} units
 * @property {[number, string][]} speeds  metres a second
 * @property {[number, number, string][]} lengths  metres, with so many decimals
 */

/**
 * @param {string} name
 * @returns {any}
 */
export function readJson(name) {
  return JSON.parse(readFileSync(new URL(name, import.meta.url), "utf-8"));
}

/** @returns {BaseDocument} */
export const baseDocument = () => readJson("documents/base.json");

/** @returns {StateDocument} */
export const stateDocument = () => readJson("documents/state.json");

/** @type {Answers} */
export const answers = readJson("documents/answers.json");

/**
 * Pack numbers as the base document does, in 32 bits.
 *
 * @param {number[]} values
 * @param {number} scale
 * @returns {Packed}
 */
export function pack(values, scale) {
  const zero = Math.min(...values.filter(Number.isFinite));
  const view = new DataView(new ArrayBuffer(4 * values.length));
  values.forEach((value, n) => {
    const steps = Number.isFinite(value) ? Math.round((value - zero) / scale) : -2147483648;
    view.setInt32(4 * n, steps, true);
  });
  const data = btoa(String.fromCharCode(...new Uint8Array(view.buffer)));
  return { scale, zero, type: "i32", count: values.length, data };
}
