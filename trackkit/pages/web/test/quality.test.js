import assert from "node:assert/strict";
import { test } from "node:test";
import { Session } from "../src/session.js";
import { answers, baseDocument, stateDocument } from "./documents.js";

test("one sigma of a crossing is what Python says, all along the line", () => {
  const session = new Session(baseDocument(), stateDocument());
  assert.ok(answers.sigma_s.length > 50);
  for (const [chainage, sigma] of answers.sigma_s) {
    const off = Math.abs(session.qualityAt(chainage) - sigma);
    assert.ok(off < 0.000002, `${1e6 * off} us at ${chainage} m`);
  }
});

test("without a quality it is not known", () => {
  const session = new Session({ ...baseDocument(), quality: null }, stateDocument());
  assert.ok(Number.isNaN(session.qualityAt(10)));
});
