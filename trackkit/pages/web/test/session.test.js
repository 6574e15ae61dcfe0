import assert from "node:assert/strict";
import { test } from "node:test";
import { sectorLength } from "../src/sector_length.js";
import { Session } from "../src/session.js";
import { baseDocument, stateDocument } from "./documents.js";

/** @import { Lap, StateDocument } from "../src/state_document.js" */

/** @param {Partial<StateDocument>} [changes] */
function session(changes = {}) {
  return new Session(baseDocument(), { ...stateDocument(), ...changes });
}

test("the two fastest complete laps are drawn and compared at first", () => {
  const { chosen, compared, state } = session();
  const times = new Map(state.laps.map((lap) => [`0:1:${lap.number}`, lap]));
  const complete = state.laps.filter((lap) => lap.complete).map((lap) => Number(lap.time_s));
  const [first, second] = complete.sort((a, b) => a - b);
  assert.deepEqual(
    chosen.map((key) => times.get(key)?.time_s),
    [first, second],
  );
  assert.deepEqual(compared, [chosen[1], chosen[0]]);
});

test("laps chosen by hand stay chosen while gates move", () => {
  const here = session();
  here.showLap("0:1:1", true);
  here.showLap("0:1:2", false);
  const { chosen } = here;
  here.setState(stateDocument());
  assert.deepEqual(here.chosen, chosen);
});

test("a lap that is gone is chosen no more, and others take its place", () => {
  const here = session();
  here.chosen = ["0:1:3"];
  here.compared = ["0:1:3", "0:1:2"];
  const laps = stateDocument().laps.filter((lap) => lap.number !== 3);
  here.setState({ ...stateDocument(), laps });
  assert.ok(here.chosen.length > 0);
  assert.ok(![...here.chosen, ...(here.compared ?? [])].includes("0:1:3"));
});

test("comparing two laps draws both", () => {
  const here = session();
  here.chosen = ["0:1:2"];
  here.compare("0:1:1", "0:1:2");
  assert.deepEqual(here.chosen, ["0:1:2", "0:1:1"]);
});

test("chainages count from where the finish gate is now", () => {
  const here = session({ datum_m: 100 });
  assert.equal(here.shown(130), 30);
  assert.equal(here.toBase(30), 130);
  assert.ok(Math.abs(here.shown(40) - (here.length - 60)) < 1e-9);
});

test("corners are called as they are now, and those without ids each as they were", () => {
  const here = session();
  const names = here.base.corners.map(({ number, name }) => [number, name]);
  assert.ok(names.length > 1);
  const called = () => here.corners.map(({ number, name }) => [number, name]);
  const [first, ...others] = here.state.corners;
  here.setState({ ...stateDocument(), corners: [{ ...first, name: "Elbow" }, ...others] });
  assert.equal(here.corners[0].name, "Elbow");
  here.base.corners.forEach((corner) => (corner.id = ""));
  here.setState({ ...here.state, corners: here.state.corners.map((c) => ({ ...c, id: "" })) });
  assert.deepEqual(called(), names);
});

test("places are sent with the decimals that are shown, and never beyond the line", () => {
  const here = session();
  assert.equal(here.rounded(12.34), 12.3);
  assert.ok(Number((here.length - 0.01).toFixed(1)) > here.length, "as this circuit has it");
  assert.equal(here.rounded(here.length - 0.01), 0);
});

test("widths are sent within what a gate may have", () => {
  const base = baseDocument();
  base.limits.gate_width_m = [2, 30];
  const here = new Session(base, stateDocument());
  assert.deepEqual(
    [0.1, 12.34, 99].map((width) => here.roundedWidth(width)),
    [2, 12.3, 30],
  );
});

test("two lengths differ where they read differently", () => {
  const here = session();
  assert.ok(here.differ(302.16, 302.3));
  assert.ok(!here.differ(302.16, 302.2));
});

test("a gate that is dragged is where the hand has it, square to the track", () => {
  const here = session();
  const [gate, other] = here.state.gates;
  here.slide({ gate: gate.id, base: 55, width: 20 });
  const { base, width, ends } = here.gatePlace(gate);
  assert.deepEqual([base, width], [55, 20]);
  assert.deepEqual(ends, here.line.squareEnds(55, 20));
  assert.deepEqual(here.gatePlace(other).ends, [other.left, other.right]);
});

test("sectors beside a gate that is dragged follow it, and sum up to a lap", () => {
  const here = session();
  const [, gate] = here.state.gates;
  here.slide({ gate: gate.id, base: gate.chainage_m + 40, width: 12 });
  const lengths = here.state.sectors.map((sector) => sectorLength(here, sector));
  assert.ok(Math.abs(lengths[0] - here.state.sectors[0].length_m - 40) < 0.01);
  assert.ok(Math.abs(lengths.reduce((sum, length) => sum + length) - here.length) < 1e-6);
});

test("findings belong to their position, their chainage or their gate", () => {
  const here = session();
  const [atGate, atChainage] = here.state.findings ?? [];
  const place = here.line.at(120);
  assert.deepEqual(here.findingPlace(atChainage), [place.lon, place.lat]);
  const gate = here.gate(atGate.feature);
  const middle = here.line.at(gate?.chainage_m ?? NaN);
  assert.deepEqual(here.findingPlace(atGate), [middle.lon, middle.lat]);
  assert.deepEqual(here.findingPlace({ ...atGate, position: [83.3, 38.7] }), [83.3, 38.7]);
  assert.equal(here.findingPlace({ ...atGate, feature: null }), null);
});

test("the worst finding of a gate is one that was not accepted", () => {
  const here = session();
  const [finish, sector] = here.state.gates;
  // A warning that was accepted, and a note.
  assert.equal(here.worstFinding(sector), "note");
  assert.equal(here.worstFinding(finish), null);
});

test("a gate that was removed is selected no more", () => {
  const here = session();
  const [, gate] = here.state.gates;
  here.select(gate.id);
  here.setState({ ...stateDocument(), gates: stateDocument().gates.slice(0, 1) });
  assert.equal(here.selected, null);
});

test("those who listen are told of what changed, and only then", () => {
  const here = session();
  /** @type {string[]} */
  const calls = [];
  here.on(["place", "selected"], () => calls.push("called"));
  here.point(12);
  here.point(12);
  here.select("finish");
  here.select("finish");
  assert.equal(calls.length, 2);
});

test("a lap is named with its recording where there are several", () => {
  const base = baseDocument();
  const [recording] = base.recordings;
  base.recordings.push({ ...recording, file: "second.csv" });
  const lap = /** @type {Lap} */ ({ ...stateDocument().laps[1], recording: 1 });
  assert.equal(new Session(base, stateDocument()).lapName(lap), `Lap ${lap.number}, second.csv`);
  assert.equal(session().lapName({ ...lap, recording: 0 }), `Lap ${lap.number}`);
});
