// The small menu of kinds of gate where the track was clicked.

import { element, find } from "./elements.js";
import { inField, metresOf } from "./units.js";

/**
 * @import { Editing } from "./editing.js"
 * @import { Session } from "./session.js"
 */

export class PlaceMenu {
  /**
   * @param {Session} session
   * @param {Editing} editing
   */
  constructor(session, editing) {
    this.session = session;
    this.editing = editing;
    this.dialog = find("#place-menu", HTMLDialogElement);
    this.at = find("#menu-at", HTMLInputElement);
    this.list = find(".kinds", HTMLElement, this.dialog);
    this.at.step = String(10 ** -session.base.decimals.place);
    find(".cancel", HTMLElement, this.dialog).addEventListener("click", () => this.dialog.close());
    this.dialog.addEventListener("click", (event) => {
      if (event.target === this.dialog) {
        this.dialog.close();
      }
    });
    find("#add", HTMLElement).addEventListener("click", () =>
      this.open(session.place ?? session.toBase(session.length / 2), null),
    );
  }

  /**
   * What can be placed: first kinds of which a track has several.
   *
   * @returns {[string, string][]}
   */
  choices() {
    const { gates } = this.session.state;
    const offered = this.session.base.gate_kinds.filter((kind) => kind.offered);
    const order = [
      ...offered.filter((kind) => !kind.single),
      ...offered.filter((kind) => kind.single).reverse(),
    ];
    return order.map(({ kind, name, single }) => [
      kind,
      single && gates.some((gate) => gate.kind === kind)
        ? `Move the ${name} gate here`
        : `${name[0].toUpperCase()}${name.slice(1)} gate`,
    ]);
  }

  /**
   * @param {number} base  chainage
   * @param {MouseEvent | null} event  what opened it; null puts it into the middle
   */
  open(base, event) {
    const { session, dialog } = this;
    this.at.value = inField(session.rounded(base), session.base.decimals.place);
    this.list.replaceChildren(
      ...this.choices().map(([kind, text]) =>
        element(
          "button",
          {
            type: "button",
            class: `choice ${kind}`,
            "data-kind": kind,
            onclick: () => this.choose(kind),
          },
          text,
        ),
      ),
    );
    dialog.showModal();
    const box = dialog.getBoundingClientRect();
    const x = event ? event.clientX + 14 : (window.innerWidth - box.width) / 2;
    const y = event ? event.clientY - 40 : (window.innerHeight - box.height) / 2;
    dialog.style.left = `${Math.max(8, Math.min(x, window.innerWidth - box.width - 8))}px`;
    dialog.style.top = `${Math.max(8, Math.min(y, window.innerHeight - box.height - 8))}px`;
    find("button", HTMLButtonElement, this.list).focus();
  }

  /** @param {string} kind */
  choose(kind) {
    const at = this.at.valueAsNumber;
    if (!Number.isFinite(at)) {
      this.at.focus();
      return;
    }
    this.dialog.close();
    void this.editing.place(kind, metresOf(at));
  }
}
