// Keys of laps, which stay the same while gates move.

/** @param {{ recording: number, session: number, number: number }} lap */
export function keyOf({ recording, session, number }) {
  return `${recording}:${session}:${number}`;
}
