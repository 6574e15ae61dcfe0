import assert from "node:assert/strict";
import { test } from "node:test";
import { Comparison } from "../src/comparison.js";
import { contrast, driversOf } from "../src/drivers.js";
import { Session } from "../src/session.js";
import { answers, baseDocument, pack, stateDocument } from "./documents.js";

/** @import { BaseDocument } from "../src/base_document.js" */

/** @param {[number, number]} numbers */
const lapOf = ([session, number]) => ({ recording: 0, session, number });

test("losses by section and their sigmas are those that Python finds", () => {
  const comparison = new Comparison(/** @type {any} */ (baseDocument().comparison));
  assert.ok(answers.compared.length > 1);
  for (const { lap, other, losses } of answers.compared) {
    const found = comparison.pair(lapOf(lap), lapOf(other))?.losses() ?? [];
    assert.equal(found.length, losses.length);
    found.forEach(({ time }, n) => assert.ok(n === 0 || time <= found[n - 1].time));
    for (const [kind, begin, time, sigma] of losses) {
      const row = found.find(({ from }) => Math.abs(from - begin) < 0.01);
      assert.equal(row?.section.kind, kind);
      // Passings are packed in steps of 0.1 ms, sigmas in steps of 1 µs.
      assert.ok(Math.abs(Number(row?.time) - time) <= 2.1e-4);
      assert.ok(Math.abs(Number(row?.sigma) - sigma) <= 2e-6);
    }
  }
});

test("the difference at any place and its band are those that Python finds", () => {
  const session = new Session(baseDocument(), stateDocument());
  for (const { lap, other, difference } of answers.compared) {
    const laps = [lap, other].map((numbers) => {
      const own = session.laps().find((one) => one.key === `0:${numbers.join(":")}`);
      return /** @type {import("../src/session.js").KeyedLap} */ (own);
    });
    const traces = laps.map((one) => session.traceOf(one));
    const pair = session.pair(laps[0], laps[1]);
    assert.ok(traces[0] && traces[1] && pair);
    const band = pair.band(traces[0], traces[1]);
    const off = difference.map(([at, , sigma]) => Math.abs(band(at) / sigma - 1)).sort();
    for (const [at, time] of difference) {
      const found = Number(traces[0]?.time(at)) - Number(traces[1]?.time(at));
      assert.ok(Math.abs(found - time) < 0.003, `${found} and ${time} at ${at}`);
    }
    // Drawn straight between places that are up to 60 m apart.
    assert.ok(off[Math.floor(off.length / 2)] < 0.1, `median ${off[Math.floor(off.length / 2)]}`);
    assert.ok(off[Math.floor(0.9 * off.length)] < 0.35, `${off[Math.floor(0.9 * off.length)]}`);
  }
});

test("errors of two recordings are independent, those of laps past the fastest as well", () => {
  /** @type {NonNullable<BaseDocument["comparison"]>} */
  const document = {
    place_m: [0, 100],
    sections: [{ kind: "straight", name: "all", from: 0, to: 1 }],
    recordings: [3, 4].map((sigma) => ({
      laps: [
        [1, 1],
        [1, 2],
        [1, 3],
      ],
      together: 2,
      passed_s: pack([0, 10, 0, 11, 0, 12], 1e-4),
      sigma_s: pack([sigma, sigma, sigma, sigma, 4, 4], 1e-6),
      pair_sigma_s: pack([0.5, 0.25], 1e-6),
      errors: null,
    })),
  };
  const comparison = new Comparison(document);
  const lap = { recording: 0, session: 1, number: 1 };
  /** @param {number} recording @param {number} number */
  const against = (recording, number) =>
    comparison.pair(lap, { recording, session: 1, number })?.whole();
  assert.deepEqual(against(0, 1), { time: 0, sigma: 0 });
  assert.deepEqual(against(0, 2), { time: -1, sigma: 0.5 });
  assert.deepEqual(against(0, 3), { time: -2, sigma: 5 });
  assert.deepEqual(against(1, 2), { time: -1, sigma: 5 });
  assert.equal(comparison.pair(lap, { ...lap, number: 9 }), null);
});

test("each driver's best is compared with the best of all, a driver's own two where alone", () => {
  const base = baseDocument();
  const [recording] = base.recordings;
  base.recordings = ["Ada", "Bo", "Ada", "Cy"].map((driver) => ({ ...recording, driver }));
  const state = stateDocument();
  const [lap] = state.laps.filter(({ counts }) => counts);
  state.laps = [
    [0, 60],
    [1, 58],
    [2, 59],
    [3, 61],
    [1, 57],
  ].map(([n, time_s], k) => ({ ...lap, recording: n, number: k + 1, time_s }));
  const session = new Session(base, state);
  assert.deepEqual(session.chosen, ["1:1:5", "2:1:3", "3:1:4"]);
  assert.deepEqual(session.compared, ["2:1:3", "1:1:5"]);
  state.laps = state.laps.filter((other) => other.recording === 1);
  assert.deepEqual(new Session(base, state).chosen, ["1:1:5", "1:1:2"]);
});

test("drivers that follow one another differ by colour and dash, and no two look alike", () => {
  const [recording] = baseDocument().recordings;
  const many = Array.from({ length: 24 }, (_, n) => ({ ...recording, driver: `driver ${n}` }));
  const drivers = driversOf([...many, many[3]]);
  assert.equal(drivers.length, 24);
  assert.deepEqual(drivers[3].recordings, [3, 24]);
  drivers.slice(1).forEach(({ colour, dash }, n) => {
    assert.notEqual(colour, drivers[n].colour);
    assert.notEqual(dash, drivers[n].dash);
  });
  assert.equal(new Set(drivers.map(({ colour, dash }) => `${colour} ${dash.join()}`)).size, 24);
});

test("contrast is what WCAG 2.2 says", () => {
  assert.ok(Math.abs(contrast("#000", "#ffffff") - 21) < 1e-9);
  // By hand: #767676 is the lightest grey of 4.5 to 1 on white, as often published (from memory).
  assert.ok(contrast("#767676", "#fff") >= 4.5 && contrast("#777777", "#fff") < 4.5);
});
