// Which laps are drawn and compared, what they are called, and how they are drawn.

import { lapStyle } from "./drivers.js";

/**
 * @import { Session } from "./session.js"
 * @import { Lap } from "./state_document.js"
 */

/**
 * At first each driver's best lap is compared with the best of all, and one driver's two fastest;
 * the user's own choice is kept.
 *
 * @param {Session} session
 */
export function chooseLaps(session) {
  const timed = session.timedLaps();
  const keys = new Set(timed.map((lap) => lap.key));
  session.chosen = session.chosen.filter((key) => keys.has(key));
  if (session.compared && !session.compared.every((key) => keys.has(key))) {
    session.compared = null;
  }
  if (session.chosen.length && session.compared) {
    return;
  }
  const ranked = timed.sort(countedThenFast);
  const bests = session.drivers
    .flatMap(({ recordings }) => ranked.find((lap) => recordings.includes(lap.recording)) ?? [])
    .sort(countedThenFast);
  const fastest = bests.length > 1 ? bests : ranked.slice(0, 2);
  if (!session.chosen.length) {
    session.chosen = fastest.map((lap) => lap.key);
  }
  if (!session.compared && fastest.length > 1) {
    session.compared = [fastest[1].key, fastest[0].key];
  }
}

/**
 * How a lap is drawn.
 *
 * @param {Session} session
 * @param {string} key
 */
export function styleOf(session, key) {
  const driver = session.driverOf(recordingOf(key));
  const { reference, chosen } = session;
  const own = [reference, ...chosen.filter((other) => other !== reference)].filter(
    (other) => other !== null && driver.recordings.includes(recordingOf(other)),
  );
  return lapStyle(driver, Math.max(own.indexOf(key), 0), key === reference);
}

/** @param {string} key */
function recordingOf(key) {
  return Number(key.split(":")[0]);
}

/**
 * A lap's number, after that of its session where the recording holds several, as 2.5.
 *
 * @param {Session} session
 * @param {Lap} lap
 */
export function lapNumber(session, lap) {
  const several = session.state.laps.some(
    (other) => other.recording === lap.recording && other.session !== lap.session,
  );
  return several ? `${lap.session}.${lap.number}` : String(lap.number);
}

/**
 * A lap's number and its driver, where there are several; of a driver with several recordings,
 * the recording.
 *
 * @param {Session} session
 * @param {Lap} lap
 */
export function lapName(session, lap) {
  const name = `Lap ${lapNumber(session, lap)}`;
  const { recordings } = session.base;
  if (recordings.length < 2) {
    return name;
  }
  const driver = session.driverOf(lap.recording);
  const several = driver.recordings.length > 1;
  return `${name}, ${several ? recordings[lap.recording].file : driver.name}`;
}

/**
 * @param {Lap} a
 * @param {Lap} b
 */
function countedThenFast(a, b) {
  return (
    Number(b.counts) - Number(a.counts) ||
    Number(b.complete) - Number(a.complete) ||
    Number(a.time_s) - Number(b.time_s)
  );
}
