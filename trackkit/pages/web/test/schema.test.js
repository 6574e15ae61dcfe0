import assert from "node:assert/strict";
import { test } from "node:test";
import { Ajv2020 } from "ajv/dist/2020.js";
import { baseDocument, readJson, stateDocument } from "./documents.js";

/** @param {string} name */
function validator(name) {
  return new Ajv2020({ allErrors: true, strict: false }).compile(readJson(`../${name}`));
}

const isBase = validator("base.schema.json");
const isState = validator("state.schema.json");

test("documents that Python makes are what the schemas say", () => {
  assert.ok(isBase(baseDocument()), JSON.stringify(isBase.errors));
  assert.ok(isState(stateDocument()), JSON.stringify(isState.errors));
});

test("a base document without its limits, or with one that nobody reads, is refused", () => {
  const { limits, ...without } = baseDocument();
  assert.equal(isBase(without), false);
  assert.equal(isBase({ ...without, limits: { ...limits, gate_height_m: 3 } }), false);
});

test("a state whose gate is not on the line is refused", () => {
  const state = stateDocument();
  const gate = { ...state.gates[0], chainage_m: null };
  assert.equal(isState({ ...state, gates: [gate] }), false);
});
