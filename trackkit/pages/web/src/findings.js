// What a check had to say, and where on the map it belongs.

import { element, find } from "./elements.js";
import { lengthText } from "./figures.js";

/**
 * @import { Editing } from "./editing.js"
 * @import { Finding } from "./state_document.js"
 * @import { MapView } from "./map.js"
 * @import { Session } from "./session.js"
 */

export class FindingList {
  /**
   * @param {Session} session
   * @param {MapView} map
   * @param {Editing | null} editing  null where nothing can be changed
   */
  constructor(session, map, editing) {
    this.session = session;
    this.map = map;
    this.editing = editing;
    this.node = find("#finding-list", HTMLElement);
    this.panel = find("#findings", HTMLDetailsElement);
    this.title = find("summary", HTMLElement, this.panel);
    this.none = find("#no-findings", HTMLElement);
    this.listed = "";
    session.on(["state"], () => this.draw());
    session.on(["finding"], () => this.focus());
    this.draw();
  }

  /** Bring the finding that was asked for into view. */
  focus() {
    const item = this.node.children[this.session.finding ?? -1];
    if (item instanceof HTMLElement) {
      this.panel.open = true;
      item.setAttribute("tabindex", "-1");
      item.focus();
      item.scrollIntoView({ block: "nearest" });
    }
  }

  draw() {
    const { findings } = this.session.state;
    this.panel.hidden = findings === null;
    const listed = JSON.stringify(findings);
    if (findings === null || listed === this.listed) {
      return;
    }
    this.listed = listed;
    this.title.textContent = `Findings (${findings.length})`;
    this.none.hidden = findings.length > 0;
    this.node.replaceChildren(...findings.map((finding, n) => this.item(finding, n)));
  }

  /**
   * @param {Finding} finding
   * @param {number} n
   */
  item(finding, n) {
    const { severity, accepted, message, remedy } = finding;
    return element(
      "li",
      { class: accepted ? "accepted" : null },
      element("span", { class: `tag ${severity}` }, `${severity} ${n + 1}`),
      accepted ? " accepted " : " ",
      element("span", { class: "soft" }, this.place(finding)),
      " ",
      this.button(finding, n),
      element("p", {}, message),
      remedy
        ? element(
            "p",
            { class: "soft" },
            element("b", {}, "What to do: "),
            ...withCode(remedy),
            " ",
            this.offered(finding, n),
          )
        : null,
    );
  }

  /**
   * A button that does what there is to do, as an edit that can be undone.
   *
   * @param {Finding} finding
   * @param {number} n
   */
  offered({ offer, severity, accepted }, n) {
    const { editing } = this;
    if (!editing || !offer || accepted) {
      return null;
    }
    return element(
      "button",
      { type: "button", class: "go", onclick: () => void editing.carryOut(offer.edit) },
      offer.label,
      element("span", { class: "unseen" }, `: ${severity} ${n + 1}`),
    );
  }

  /** @param {Finding} finding */
  place(finding) {
    const gate = this.session.gate(finding.feature);
    if (finding.chainage_m !== null) {
      return `at ${lengthText(finding.chainage_m, 0)}`;
    }
    if (gate) {
      return `gate ${gate.name}`;
    }
    return finding.position ? "" : "the whole track";
  }

  /**
   * @param {Finding} finding
   * @param {number} n
   */
  button(finding, n) {
    const show = () => {
      const place = this.session.findingPlace(finding);
      if (place) {
        this.map.show(place);
      }
    };
    return this.session.findingPlace(finding)
      ? element(
          "button",
          { type: "button", class: "go", onclick: show },
          "show on the map",
          element("span", { class: "unseen" }, `: ${finding.severity} ${n + 1}`),
        )
      : null;
  }
}

/**
 * What stands between backticks is code.
 *
 * @param {string} text
 */
function withCode(text) {
  return text.split("`").map((part, n) => (n % 2 ? element("code", {}, part) : part));
}
