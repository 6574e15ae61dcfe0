import assert from "node:assert/strict";
import { test } from "node:test";
import { decimals, duration, speedText, lengthText, millis, signed } from "../src/figures.js";
import { showIn } from "../src/units.js";
import { answers, baseDocument } from "./documents.js";

const { time: most } = baseDocument().decimals;

test("a time has as many decimals as in the reports of the command line", () => {
  assert.ok(answers.decimals.length > 20);
  for (const [sigma, digits] of answers.decimals) {
    assert.equal(decimals(sigma, most), digits, `sigma ${sigma}`);
  }
});

test("0.0996 s, which rounds to 0.10 s, supports two decimals", () => {
  assert.equal(decimals(0.0996, 3), 2);
  assert.equal(decimals(0.0994, 3), 3);
});

test("a time is written as in the reports of the command line", () => {
  assert.ok(answers.durations.length > 60);
  for (const [seconds, digits, text] of answers.durations) {
    assert.equal(duration(seconds, digits), text, `${seconds} with ${digits} decimals`);
  }
});

test("a negative time has a minus sign, an unknown one is a dash", () => {
  assert.equal(duration(-65.25, 2), "\u22121:05.25");
  assert.equal(duration(null), "\u2013");
  assert.equal(duration(NaN), "\u2013");
});

test("differences always have a sign", () => {
  assert.equal(signed(0.1234), "+0.123");
  assert.equal(signed(-0.1, 1), "\u22120.1");
  assert.equal(signed(NaN), "\u2013");
});

test("lengths, speeds and uncertainties have their unit, and thousands a comma", () => {
  assert.equal(lengthText(1234.56), "1,234.6\u00a0m");
  assert.equal(lengthText(12.5, 0), "13\u00a0m");
  assert.equal(speedText(27.7777778), "100\u00a0km/h");
  assert.equal(speedText(NaN), "no speed");
  assert.equal(millis(0.00234), "\u00b12.3\u00a0ms");
  assert.equal(millis(0.0234), "\u00b123\u00a0ms");
  assert.equal(millis(null), "unknown");
});

test("speeds and lengths are written as by the command line, in either units", () => {
  assert.equal(answers.units.length, 2);
  const plain = (/** @type {string} */ text) => text.replace("\u00a0", " ");
  for (const { units, speeds, lengths } of answers.units) {
    showIn(units);
    for (const [mps, text] of speeds) {
      assert.equal(plain(speedText(mps)), text);
    }
    for (const [length, digits, text] of lengths) {
      assert.equal(plain(lengthText(length, digits)), text);
    }
  }
  showIn(baseDocument().units);
});
