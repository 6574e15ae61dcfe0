// What the page asks of the server that `trackkit edit` runs.

/**
 * @import { StateDocument } from "./state_document.js"
 *
 * @typedef {object} Opened  the document that tells the page of its server
 * @property {string} token
 * @property {string} file
 * @property {number} base  number of the base document that the page was made of
 * @property {string} page  what the server calls this page
 * @property {{ file: string, laid: boolean } | null} plan  that is laid by points
 *
 * @typedef {object} Saved
 * @property {string} file
 * @property {string | null} previous
 * @property {StateDocument} state
 *
 * @typedef {object} Disk
 * @property {boolean} changed_on_disk
 * @property {boolean} gone
 * @property {number} edit
 *
 * @typedef {object} Refusal
 * @property {string} error
 * @property {boolean} [changed_on_disk]
 * @property {boolean} [gone]
 */

/**
 * @template T
 * @typedef {{ done: T, refusal: null } | { done: null, refusal: Refusal }} Answer
 */

/**
 * Ask the server; rejected only where it does not answer.
 *
 * @template T
 * @param {string} page  what the server calls this page
 * @param {string} path
 * @param {object} [body]  sent as JSON
 * @returns {Promise<Answer<T>>}
 */
export async function ask(page, path, body) {
  const answer = await fetch(
    `${path}?page=${page}`,
    body === undefined
      ? { cache: "no-store" }
      : {
          method: "POST",
          headers: { "Content-Type": "application/json" },
          body: JSON.stringify(body),
          cache: "no-store",
        },
  );
  const document = await answer.json();
  return answer.status === 200
    ? { done: document, refusal: null }
    : { done: null, refusal: document };
}

/**
 * Tell the server that this page is being left; it cannot wait for an answer.
 *
 * @param {string} page  what the server calls it
 */
export function tellClosed(page) {
  navigator.sendBeacon(`closed?page=${page}`, new Blob(["{}"], { type: "application/json" }));
}
