// The slider and the buttons that move the cursor, its keys, and what laps are laid out by.

import { element, find } from "./elements.js";
import { duration, lengthText, millis, signed, speedText } from "./figures.js";
import { metresOf, units } from "./units.js";

/**
 * @import { ChartView } from "./chart.js"
 * @import { Session } from "./session.js"
 *
 * @typedef {{ metres: number } | { seconds: number }} Step
 */

/** More laps than this are not read out one by one. */
const MOST_READ = 8;

export class CursorBar {
  /**
   * @param {Session} session
   * @param {ChartView} chart
   */
  constructor(session, chart) {
    this.session = session;
    this.chart = chart;
    this.slider = find("#along", HTMLInputElement);
    this.readout = find("#readout", HTMLElement);
    this.play = find("#play", HTMLButtonElement);
    this.release = find("#release", HTMLButtonElement);
    this.step = find("#step", HTMLSelectElement);
    this.axis = document.querySelector("#axis");
    this.listen();
    this.nameSteps();
    this.arrange();
  }

  listen() {
    const { session, slider, chart, axis } = this;
    const { cursor } = session;
    session.on(["state", "laps"], () => this.arrange());
    session.on(["place"], () => this.draw());
    slider.addEventListener("input", () => {
      cursor.playing = false;
      cursor.pinned = true;
      if (cursor.by === "time") {
        cursor.moveTo(slider.valueAsNumber);
      } else {
        const end = session.length - 1e-3;
        cursor.move(session.toBase(Math.min(metresOf(slider.valueAsNumber), end)));
      }
      this.draw();
    });
    slider.addEventListener("focus", () => {
      if (session.place === null) {
        cursor.step(0);
      }
    });
    slider.addEventListener("keydown", (event) => this.pressed(event));
    chart.node.addEventListener("pointerup", () => slider.focus({ preventScroll: true }));
    this.play.addEventListener("click", () => (cursor.playing ? cursor.pause() : cursor.play()));
    this.release.addEventListener("click", () => {
      cursor.pin(false);
      slider.focus({ preventScroll: true });
    });
    for (const [id, way] of /** @type {const} */ ([
      ["#back", -1],
      ["#forward", 1],
    ])) {
      find(id, HTMLElement).addEventListener("click", () => this.go(way));
    }
    if (axis instanceof HTMLSelectElement) {
      axis.addEventListener("change", () => {
        cursor.layOutBy(axis.value === "time" ? "time" : "distance");
        this.arrange();
        chart.show(0, Infinity);
      });
    }
  }

  /** The steps that the two buttons go. */
  nameSteps() {
    const { length } = units();
    const steps = [
      ["1 length", `1 ${length}`],
      ["10 length", `10 ${length}`],
      ["0.1 time", "0.1 s"],
      ["1 time", "1 s"],
    ];
    this.step.replaceChildren(...steps.map(([value, text]) => element("option", { value }, text)));
  }

  /** @param {1 | -1} way */
  go(way) {
    const { cursor } = this.session;
    const [size, kind] = this.step.value.split(" ");
    cursor.playing = false;
    if (kind === "time") {
      cursor.stepTime(way * Number(size));
    } else {
      cursor.step(metresOf(way * Number(size)));
    }
  }

  /** @param {KeyboardEvent} event */
  pressed(event) {
    const { cursor } = this.session;
    if (event.ctrlKey || event.metaKey || event.altKey) {
      return;
    }
    const far = event.shiftKey ? 10 : 1;
    const ways = {
      ArrowRight: () => cursor.step(metresOf(far)),
      ArrowUp: () => cursor.step(metresOf(far)),
      ArrowLeft: () => cursor.step(metresOf(-far)),
      ArrowDown: () => cursor.step(metresOf(-far)),
      PageUp: () => cursor.step(metresOf(10)),
      PageDown: () => cursor.step(metresOf(-10)),
      ".": () => cursor.stepTime(0.1),
      ",": () => cursor.stepTime(-0.1),
      ">": () => cursor.stepTime(1),
      "<": () => cursor.stepTime(-1),
      ":": () => cursor.stepTime(1),
      ";": () => cursor.stepTime(-1),
      Home: () => cursor.step(-Infinity),
      End: () => cursor.step(Infinity),
      " ": () => (cursor.playing ? cursor.pause() : cursor.play()),
      Escape: () => cursor.pin(false),
    };
    const go = Object.hasOwn(ways, event.key) ? ways[/** @type {"Home"} */ (event.key)] : null;
    if (go) {
      event.preventDefault();
      if (event.key !== " ") {
        cursor.playing = false;
      }
      go();
    }
  }

  arrange() {
    const { session, slider } = this;
    const { cursor } = session;
    const timed = session.drawn.all.length > 0;
    const most = cursor.by === "time" ? cursor.lasts : units().length_per_m * session.length;
    slider.max = most.toFixed(3);
    slider.step = "0.001";
    this.play.disabled = !timed;
    for (const option of this.step.options) {
      option.disabled = !timed && option.value.endsWith("time");
    }
    this.draw();
  }

  draw() {
    const { session, slider, readout, play } = this;
    const { cursor, place } = session;
    const text = cursor.playing ? "Pause" : "Play";
    if (play.textContent !== text) {
      play.textContent = text;
    }
    this.release.hidden = !cursor.pinned;
    if (place === null) {
      readout.textContent = readout.dataset.idle ?? "";
      return;
    }
    const shown = session.shown(place);
    const at = cursor.by === "time" ? cursor.time : units().length_per_m * shown;
    slider.value = at.toFixed(3);
    const words = this.wordsAt(place, shown);
    readout.textContent = words.join(" \u00b7 ");
    slider.setAttribute("aria-valuetext", [...words, ...this.lapWords()].join(", "));
  }

  /**
   * What there is to read of a place, whichever lap is there.
   *
   * @param {number} base
   * @param {number} shown
   */
  wordsAt(base, shown) {
    const { line, quality, cursor, corners } = this.session;
    const words = [lengthText(shown, 0)];
    if (cursor.by === "time") {
      words.unshift(`${duration(cursor.time, 2)}\u00a0s`);
    }
    const corner = corners.find(
      (bend) => line.between(bend.entry_m, base) >= 0 && line.between(base, bend.exit_m) >= 0,
    );
    if (corner) {
      words.push(`corner ${corner.number}${corner.name ? ` (${corner.name})` : ""}`);
    }
    if (quality) {
      words.push(`a crossing ${millis(quality.at(base))}`);
    }
    return words;
  }

  /** Laps by driver, for who does not see the table. */
  lapWords() {
    const { session, chart } = this;
    const { cursor } = session;
    return chart.drawn.slice(0, MOST_READ).map((drawn) => {
      const at = cursor.placeOf(drawn);
      const difference = chart.differences.find(({ lap }) => lap.key === drawn.lap.key);
      const behind = difference ? `, behind ${signed(difference.at(at))} s` : "";
      const { trace, lap } = drawn;
      const elapsed = `${duration(trace.time(at), 2)} s`;
      return `${session.lapName(lap)}: ${elapsed}, ${speedText(trace.speed(at))}${behind}`;
    });
  }
}
