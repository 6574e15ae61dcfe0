// Gates as posts through the chart. They are for the pointer; the keyboard finds the same gates on
// the map and in the list.

import { element } from "./elements.js";

/**
 * @import { Gate } from "./state_document.js"
 * @import { ChartView } from "./chart.js"
 * @import { Hooks } from "./page.js"
 *
 * @typedef {{ post: HTMLElement, name: HTMLElement }} GatePost
 */

export class GatePosts {
  /**
   * @param {ChartView} chart
   * @param {HTMLElement} node
   * @param {Hooks | null} hooks
   */
  constructor(chart, node, hooks) {
    this.chart = chart;
    this.node = node;
    this.hooks = hooks;
    /** @type {Map<string, GatePost>} */
    this.posts = new Map();
    /** Room for the gates' names, pixels: one row of them, or two where they crowd. */
    this.height = 24;
  }

  /** Put posts where the gates are, and names in the upper row, or the lower one if they crowd. */
  place() {
    const { chart } = this;
    const { session } = chart;
    const { gates } = session.state;
    const ids = new Set(gates.map((gate) => gate.id));
    for (const [id, { post }] of this.posts) {
      if (!ids.has(id)) {
        post.remove();
        this.posts.delete(id);
      }
    }
    const ends = [-Infinity, -Infinity];
    const placed = gates
      .map((gate) => ({ gate, at: chart.atOf(chart.shown(session.gatePlace(gate).base)) }))
      .sort((a, b) => a.at - b.at);
    for (const { gate, at } of placed) {
      const selected = session.selected === gate.id;
      const { post, name } = this.posts.get(gate.id) ?? this.add(gate);
      const x = chart.x(at);
      post.className = this.classOf(gate);
      post.hidden = !(at >= chart.from - 1e-6 && at <= chart.from + chart.span + 1e-6);
      post.style.transform = `translateX(${x.toFixed(1)}px)`;
      name.textContent = gate.name;
      const width = Math.min(110, 14 + 6.4 * gate.name.length);
      const start = Math.min(Math.max(x - 10, 2), chart.width - width - 2);
      // Without room only the post is shown.
      const row = ends.findIndex((end) => start > end + 4);
      name.hidden = row < 0 && !selected;
      name.style.top = `${row > 0 ? 20 : 0}px`;
      name.style.left = `${(start - x + 13).toFixed(1)}px`;
      name.style.maxWidth = `${width}px`;
      if (!post.hidden && row >= 0) {
        ends[row] = start + width;
      }
    }
    this.height = ends[1] > -Infinity ? 44 : 24;
  }

  /** @param {Gate} gate */
  classOf({ id, kind }) {
    const selected = this.chart.session.selected === id;
    return `post ${kind}${this.hooks?.holds(id) ? " held" : ""}${selected ? " selected" : ""}`;
  }

  /**
   * @param {Gate} gate
   * @returns {GatePost}
   */
  add({ id }) {
    const name = element("span", { class: "post-name" });
    const post = element("div", { class: "post" }, name);
    this.node.append(post);
    post.addEventListener("click", () => this.chart.session.select(id));
    if (this.hooks?.holds(id)) {
      this.hooks.post(id, post);
    }
    this.posts.set(id, { post, name });
    return { post, name };
  }
}
