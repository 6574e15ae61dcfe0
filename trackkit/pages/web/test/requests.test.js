import assert from "node:assert/strict";
import { test } from "node:test";
import { Requests } from "../src/requests.js";

/** @import { Change } from "../src/requests.js" */

/** A server that answers when it is told to. */
function slowServer() {
  /** @type {{ change: Change, answer: () => void, refuse: (error: Error) => void }[]} */
  const asked = [];
  const requests = new Requests(
    (change) =>
      new Promise((resolve, reject) => {
        asked.push({ change, answer: () => resolve(), refuse: reject });
      }),
  );
  return { asked, requests };
}

/**
 * @param {number} to
 * @param {Partial<Change>} [more]
 * @returns {Change}
 */
function move(to, more = {}) {
  return { edit: () => ({ do: "move", gate: "g", to_m: to }), gate: "g", ...more };
}

const settled = () => new Promise((resolve) => setImmediate(resolve));

test("changes are sent one at a time, in order", async () => {
  const { asked, requests } = slowServer();
  void requests.add(move(1));
  void requests.add(move(2));
  await settled();
  assert.deepEqual(
    asked.map(({ change }) => change.edit().to_m),
    [1],
  );
  assert.ok(requests.busy);
  asked[0].answer();
  await settled();
  assert.deepEqual(
    asked.map(({ change }) => change.edit().to_m),
    [1, 2],
  );
  asked[1].answer();
  await settled();
  assert.ok(!requests.busy);
});

test("of places along a drag only the newest waits", async () => {
  const { asked, requests } = slowServer();
  for (const to of [1, 2, 3, 4]) {
    void requests.add(move(to, { merge: "drag-1" }));
  }
  assert.equal(requests.waiting.length, 1);
  asked[0].answer();
  await settled();
  assert.deepEqual(
    asked.map(({ change }) => change.edit().to_m),
    [1, 4],
  );
});

test("another drag, and what is no drag, waits behind", () => {
  const { requests } = slowServer();
  void requests.add(move(1, { merge: "drag-1" }));
  void requests.add(move(2, { merge: "drag-1" }));
  void requests.add(move(3, { merge: "drag-2" }));
  void requests.add(move(4));
  void requests.add(move(5));
  assert.equal(requests.waiting.length, 4);
  assert.ok(requests.awaits("g"));
  assert.ok(!requests.awaits("h"));
});

test("a change is done when it is answered, not before", async () => {
  const { asked, requests } = slowServer();
  let done = false;
  void requests.add(move(1)).then(() => {
    done = true;
  });
  await settled();
  assert.ok(!done);
  asked[0].answer();
  await settled();
  assert.ok(done);
});

test("what goes wrong with one change is told, and does not stop later ones", async () => {
  const { asked, requests } = slowServer();
  const [first, second] = [requests.add(move(1)), requests.add(move(2))];
  asked[0].refuse(new Error("broken"));
  await assert.rejects(first, /broken/);
  await settled();
  assert.equal(asked[1].change.edit().to_m, 2);
  asked[1].answer();
  await second;
  await settled();
  assert.ok(!requests.busy);
});

test("idle waits for everything that was asked", async () => {
  const { asked, requests } = slowServer();
  void requests.add(move(1));
  let idle = false;
  const waiting = requests.idle().then(() => {
    idle = true;
  });
  await settled();
  assert.ok(!idle);
  asked[0].answer();
  await waiting;
  assert.ok(idle);
});
