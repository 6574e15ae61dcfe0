// Whether the track is fit to hand on, why not, and what to do next.

import { element, find } from "./elements.js";

/**
 * @import { Session } from "./session.js"
 * @import { Verdict } from "./state_document.js"
 */

export class VerdictPanel {
  /** @param {Session} session */
  constructor(session) {
    this.session = session;
    this.title = find("#verdict-title", HTMLElement);
    this.body = find("#verdict-body", HTMLElement);
    session.on(["state"], () => this.draw());
    this.draw();
  }

  draw() {
    const { verdict } = this.session.state;
    if (!verdict) {
      return; // While a gate is dragged the one before stands.
    }
    this.title.textContent = verdict.fit ? "Fit to hand on" : "Not fit to hand on";
    this.body.replaceChildren(...parts(verdict));
  }
}

/** @param {Verdict} verdict */
function parts({ reasons, remarks, next, letters, judged_on: judgedOn }) {
  return [
    ...(reasons.length > 0 ? [list(reasons, "reasons")] : []),
    ...(remarks.length > 0 ? [list(remarks, "soft small")] : []),
    ...(next ? [element("p", {}, element("b", {}, "Next: "), next)] : []),
    element(
      "p",
      { class: "soft small" },
      "Geometry ",
      element("code", { class: "letters" }, letters),
      ": the same letters are the same line and gates.",
      judgedOn ? ` The file was judged on ${judgedOn}, as it is now.` : "",
    ),
  ];
}

/**
 * @param {string[]} texts
 * @param {string} names
 */
function list(texts, names) {
  return element("ul", { class: names }, ...texts.map((text) => element("li", {}, text)));
}
