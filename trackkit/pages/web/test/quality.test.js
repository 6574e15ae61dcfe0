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

test("it follows the pit lane, and goes back with it", () => {
  const base = baseDocument();
  const session = new Session(base, stateDocument());
  assert.ok(base.quality);
  const before = session.qualityAt(10);
  const sigma = { ...base.quality.sigma_s, scale: 2 * base.quality.sigma_s.scale };
  sigma.zero *= 2;
  session.setState({ ...stateDocument(), quality: { ...base.quality, sigma_s: sigma } });
  assert.ok(Math.abs(session.qualityAt(10) - 2 * before) < 1e-9);
  session.setState(stateDocument());
  assert.equal(session.qualityAt(10), before);
});
