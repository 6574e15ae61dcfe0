// Laps and their sectors, with the best of each, and which of them are drawn and compared.

import { bestsOf } from "./bests.js";
import { strokeOf } from "./drivers.js";
import { element, find } from "./elements.js";
import { decimals, duration, millis } from "./figures.js";
import { lapNumber } from "./lap_choice.js";

/**
 * @import { Mark } from "./bests.js"
 * @import { KeyedLap, Session } from "./session.js"
 */

export class LapTable {
  /**
   * @param {Session} session
   * @param {HTMLTableElement} table
   */
  constructor(session, table) {
    this.session = session;
    /** @type {number | null} sorted by this sector's time, -1 the lap's; null: as driven */
    this.sorted = null;
    this.head = find("thead", HTMLElement, table);
    this.body = find("tbody", HTMLElement, table);
    this.foot = find("tfoot", HTMLElement, table);
    this.panel = table.closest("section");
    this.phone = window.matchMedia("(max-width: 500px)");
    /** @type {Set<number>} recordings whose laps are all listed on a phone */
    this.unfolded = new Set();
    this.phone.addEventListener("change", () => this.draw());
    session.on(["state", "laps"], () => this.draw());
    this.draw();
  }

  draw() {
    const laps = this.session.laps();
    const complete = laps.filter(counts);
    const focused = document.activeElement?.getAttribute("data-lap");
    const sorting = document.activeElement?.getAttribute("data-sort");
    const folding = document.activeElement?.getAttribute("data-fold");
    this.head.parentElement?.classList.toggle("sorted", this.sorted !== null);
    this.head.replaceChildren(this.titles());
    this.body.replaceChildren(...this.lapRows(laps));
    this.foot.replaceChildren(...this.sigmaRow(complete), ...this.bestRows());
    const again = focused
      ? this.body.querySelector(`[data-lap="${focused}"]`)
      : sorting
        ? this.head.querySelector(`[data-sort="${sorting}"]`)
        : folding && this.body.querySelector(`[data-fold="${folding}"]`);
    if (again instanceof HTMLElement) {
      again.focus({ preventScroll: true });
    }
    if (this.panel) {
      this.panel.hidden = !laps.length;
    }
  }

  titles() {
    const { sectors } = this.session.state;
    const long = () => element("span", { class: "long" }, "ector\u00a0");
    return element(
      "tr",
      {},
      this.title(null, "Lap"),
      this.title(-1, "Time"),
      ...sectors.map(({ number }, n) => this.title(n, "S", long(), String(number))),
    );
  }

  /**
   * A column's name, which sorts by it.
   *
   * @param {number | null} column
   * @param {...(Node | string)} words
   */
  title(column, ...words) {
    const sorted = this.sorted === column;
    const button = element(
      "button",
      {
        type: "button",
        class: "plain",
        "data-sort": String(column),
        title: column === null ? "In the order driven" : "Fastest first",
        onclick: () => {
          this.sorted = column;
          this.draw();
        },
      },
      ...words,
      sorted ? element("span", { "aria-hidden": "true" }, "\u00a0\u25be") : null,
    );
    const order = { scope: "col", "aria-sort": sorted ? "ascending" : false };
    return element("th", column === null ? order : { ...order, class: "n" }, button);
  }

  /** @param {KeyedLap[]} laps */
  lapRows(laps) {
    const { sectors } = this.session.state;
    const marks = [null, ...sectors.keys()].map((sector) => bestsOf(this.session, sector));
    const folds = this.phone.matches && this.sorted === null;
    return this.ordered(folds ? this.folded(laps) : laps).flatMap((lap, row, ordered) => {
      const cells = sectors.map((_, n) => {
        const { time_s: time, sigma_s: sigma } = lap.sectors[n] ?? { time_s: null, sigma_s: null };
        return this.time(time, sigma, marks[n + 1].get(lap.key));
      });
      const whole = this.time(lap.time_s, lap.sigma_s, marks[0].get(lap.key));
      const item = element("tr", {}, this.name(lap), whole, ...cells);
      const headed = folds || (this.session.base.recordings.length > 1 && this.sorted === null);
      if (!headed || lap.recording === ordered[row - 1]?.recording) {
        return [item];
      }
      const count = laps.filter(({ recording }) => recording === lap.recording).length;
      return [this.heading(lap.recording, folds ? count : 0), item];
    });
  }

  /**
   * The row above a recording's laps.
   *
   * @param {number} recording
   * @param {number} folded  laps that it can be folded from and to; 0 where it is not
   */
  heading(recording, folded) {
    const { base, state } = this.session;
    const name = element("bdi", {}, base.recordings[recording].file);
    const open = this.unfolded.has(recording);
    const fold = () => {
      if (!this.unfolded.delete(recording)) {
        this.unfolded.add(recording);
      }
      this.draw();
    };
    const button =
      folded > 1
        ? element(
            "button",
            {
              type: "button",
              class: "plain fold",
              "aria-expanded": String(open),
              "data-fold": String(recording),
              onclick: fold,
            },
            name,
            element("span", { class: "soft" }, open ? " fold" : ` all ${folded} laps`),
          )
        : name;
    const wide = { colspan: 2 + state.sectors.length, scope: "rowgroup" };
    return element("tr", { class: "of" }, element("th", wide, button));
  }

  /**
   * Each recording's best lap, and all of those that are unfolded.
   *
   * @param {KeyedLap[]} laps
   */
  folded(laps) {
    /** @type {Map<number, KeyedLap>} */
    const bests = new Map();
    for (const lap of laps) {
      const best = bests.get(lap.recording);
      if (!best || ahead(lap, best)) {
        bests.set(lap.recording, lap);
      }
    }
    return laps.filter(
      (lap) => this.unfolded.has(lap.recording) || bests.get(lap.recording) === lap,
    );
  }

  /**
   * As driven, or the fastest first; what has no time comes last.
   *
   * @param {KeyedLap[]} laps
   */
  ordered(laps) {
    const { sorted } = this;
    if (sorted === null) {
      return laps;
    }
    /** @param {KeyedLap} lap */
    const time = (lap) => (sorted < 0 ? lap.time_s : lap.sectors[sorted]?.time_s) ?? Infinity;
    return laps.slice().sort((a, b) => (time(a) < time(b) ? -1 : Number(time(a) > time(b))));
  }

  /** @param {KeyedLap} lap */
  name(lap) {
    const { session } = this;
    const box = element("input", {
      type: "checkbox",
      "data-lap": lap.key,
      "aria-label": `Draw ${session.lapName(lap)}`,
      disabled: lap.time_s === null,
      onchange: () => session.showLap(lap.key, box.checked),
    });
    box.checked = session.chosen.includes(lap.key);
    const soft = lap.counts ? null : element("span", { class: "soft" }, ` ${whyNot(lap)}`);
    const stroke = box.checked ? strokeOf(session.styleOf(lap.key)) : null;
    const words = this.sorted === null ? `Lap ${lapNumber(session, lap)}` : session.lapName(lap);
    const label = element("label", {}, box, stroke, " ", element("span", {}, words, soft));
    return element("th", { scope: "row" }, label);
  }

  /**
   * @param {number | null} seconds
   * @param {number | null} sigma
   * @param {Mark} [mark]
   */
  time(seconds, sigma, mark) {
    const digits = decimals(sigma, this.session.base.decimals.time);
    return element(
      "td",
      { class: mark ? `n ${mark}` : "n" },
      mark === "equal" ? "=\u00a0" : null,
      duration(seconds, digits),
      mark
        ? element("span", { class: "unseen" }, mark === "best" ? " best" : " to the best")
        : null,
    );
  }

  /** @param {KeyedLap[]} complete */
  sigmaRow(complete) {
    if (!complete.length) {
      return [];
    }
    const { sectors } = this.session.state;
    const sigmas = [
      median(complete.map((lap) => lap.sigma_s)),
      ...sectors.map((_, n) => median(complete.map((lap) => lap.sectors[n]?.sigma_s))),
    ];
    return [
      element(
        "tr",
        {},
        element("th", { scope: "row" }, "one sigma"),
        ...sigmas.map((sigma) => element("td", { class: "n" }, millis(sigma))),
      ),
    ];
  }

  bestRows() {
    const { state, base } = this.session;
    if (base.day) {
      return []; // The summary has them.
    }
    const rest = { colspan: state.sectors.length };
    return state.best.flatMap((best) => {
      const several = base.recordings.length > 1;
      const of = several ? `, ${base.recordings[best.recording].file}` : "";
      /** @type {[string, number | null][]} */
      const rows = [
        ["theoretical best", best.theoretical_best_s],
        ["continuous best", best.continuous_best_s],
      ];
      return rows
        .filter(([, seconds]) => seconds !== null)
        .map(([name, seconds]) =>
          element(
            "tr",
            {},
            element("th", { scope: "row" }, name + of),
            element("td", { class: "n" }, duration(seconds, base.decimals.time)),
            element("td", rest),
          ),
        );
    });
  }
}

/** Which two laps the time difference is of. */
export class LapChoice {
  /** @param {Session} session */
  constructor(session) {
    this.session = session;
    this.first = find("#compare-first", HTMLSelectElement);
    this.second = find("#compare-second", HTMLSelectElement);
    this.panel = find(".compare", HTMLElement);
    this.keys = "";
    for (const select of [this.first, this.second]) {
      select.addEventListener("change", () => session.compare(this.first.value, this.second.value));
    }
    session.on(["state", "laps"], () => this.draw());
    this.draw();
  }

  draw() {
    const { session } = this;
    const laps = session.timedLaps();
    const keys = laps.map((lap) => lap.key).join();
    [this.first, this.second].forEach((select, n) => {
      if (keys !== this.keys) {
        select.replaceChildren(
          ...laps.map((lap) => element("option", { value: lap.key }, session.lapName(lap))),
        );
      }
      if (session.compared) {
        select.value = session.compared[n];
      }
    });
    this.keys = keys;
    this.panel.hidden = laps.length < 2;
  }
}

/**
 * Whether a lap is better than another: it counts, or both do not, and it is faster.
 *
 * @param {KeyedLap} lap
 * @param {KeyedLap} other
 */
function ahead(lap, other) {
  if (lap.counts !== other.counts) {
    return lap.counts;
  }
  return (lap.time_s ?? Infinity) < (other.time_s ?? Infinity);
}

/** @param {KeyedLap} lap */
function counts(lap) {
  return lap.counts;
}

/**
 * Why a lap does not count.
 *
 * @param {KeyedLap} lap
 */
function whyNot({ kind, complete, remarks }) {
  const what = kind === "flying" ? (complete ? "" : "part") : kind;
  return [what, ...remarks.map(({ text }) => text)].filter(Boolean).join(": ");
}

/**
 * The middle one of what is known, NaN where nothing is.
 *
 * @param {(number | null | undefined)[]} values
 */
function median(values) {
  const numbers = values
    .flatMap((value) => (value && value > 0 ? [value] : []))
    .sort((a, b) => a - b);
  return numbers[Math.floor(numbers.length / 2)] ?? NaN;
}
