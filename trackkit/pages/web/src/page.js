// Puts the page together. The bundle is the one global name `trackkit`: `trackkit.open` is called
// by the page's last script, and `trackkit.page` is for whoever looks in from outside, such as
// tests and the browser's console; it is null until the page is ready.

import { keepPlace, takeUpPlace } from "./anew.js";
import { ChartView } from "./chart.js";
import { CornerTables } from "./corners.js";
import { CursorBar } from "./cursor_bar.js";
import { CopyDialog } from "./copy_dialog.js";
import { DiskNotice } from "./disk_notice.js";
import { Dragging } from "./dragging.js";
import { Editing } from "./editing.js";
import { find, readDocument } from "./elements.js";
import { FactFields } from "./facts.js";
import { FindingList } from "./findings.js";
import { listenToGroundChoices } from "./ground_choice.js";
import { listenToGateKeys, listenToKeys } from "./keyboard.js";
import { LapChart } from "./lap_chart.js";
import { LapChoice, LapTable } from "./lap_table.js";
import { Ledger } from "./ledger.js";
import { LineEditor } from "./line_editor.js";
import { LossList } from "./losses.js";
import { MapView } from "./map.js";
import { OwnGates } from "./own_gates.js";
import { PitLaneEditor } from "./pit_lane.js";
import { PlaceMenu } from "./place_menu.js";
import { PlanEditor } from "./plan_editor.js";
import { PointBar } from "./point_bar.js";
import { Readings } from "./readings.js";
import { Session } from "./session.js";
import { SummaryPanel } from "./summary.js";
import { Toolbar } from "./toolbar.js";
import { nameUnits, showIn } from "./units.js";
import { VerdictPanel } from "./verdict.js";

/**
 * @import { Tiles } from "./map.js"
 * @import { Opened } from "./server.js"
 *
 * @typedef {object} Hooks  make what is drawn answer to the hand
 * @property {(id: string) => boolean} holds  whether a gate can be moved
 * @property {(id: string, elements: HTMLElement[]) => void} gate
 * @property {(id: string, element: HTMLElement) => void} post
 * @property {(id: string, side: "left" | "right", element: HTMLElement) => void} end
 * @property {((base: number, event: MouseEvent) => void) | null} track  null: a click places none
 *
 * @typedef {Pick<Editing, "holds" | "slideTo" | "stretchTo" | "nudge" | "moveTo" | "widthTo"
 *   | "rename" | "remove" | "whenDone">} GateHand  what moves gates
 *
 * @typedef {object} Hand  what changes gates
 * @property {Editing} editing
 * @property {DiskNotice} disk
 * @property {Dragging} dragging
 * @property {Hooks} hooks
 *
 * @typedef {object} Page
 * @property {Session} session
 * @property {MapView} map
 * @property {ChartView} chart
 * @property {Editing | null} editing  null where nothing can be saved
 * @property {OwnGates | null} own  one's own sector gates on the plain page
 * @property {PitLaneEditor | null} lane
 * @property {LineEditor | null} line
 * @property {PlanEditor | null} plan  lays a plan by points, where one was given
 * @property {DiskNotice | null} disk
 */

export { circuits, openCircuits } from "./circuits.js";

/** @type {Page | null} */
export let page = null;

/**
 * Show the documents that the page carries.
 *
 * @param {Tiles | null} tiles
 */
export function open(tiles) {
  const session = new Session(readDocument("base"), readDocument("state"));
  showIn(session.base.units);
  nameUnits();
  /** @type {Opened | null} */
  const opened = readDocument("session");
  const hand = opened ? handOf(session, opened) : null;
  const editing = hand?.editing ?? null;
  const own = hand ? null : ownGatesOf(session);
  const hooks = hand?.hooks ?? (own && ownHooks(session, own));
  new Ledger(session, find("#ledger", HTMLElement), editing ?? own);
  const map = new MapView(session, find("#map", HTMLElement), hooks, tiles);
  const chart = new ChartView(session, find("#chart", HTMLElement), hooks);
  new CursorBar(session, chart);
  new Readings(session, chart);
  const { lane, line, plan } = hand ? drawnBy(session, hand, map, opened) : NOTHING_DRAWN;
  listLaps(session);
  new FindingList(session, map, editing);
  new VerdictPanel(session);
  new CornerTables(session, editing);
  listenToGroundChoices(map);
  page = { session, map, chart, editing, own, lane, line, plan, disk: hand?.disk ?? null };
}

const NOTHING_DRAWN = { lane: null, line: null, plan: null };

/**
 * What draws the line, its edges and the pit lane, and lays a plan under them.
 *
 * @param {Session} session
 * @param {Hand} hand
 * @param {MapView} map
 * @param {Opened | null} opened
 */
function drawnBy(session, { editing, dragging }, map, opened) {
  const bar = new PointBar(session);
  const lane = new PitLaneEditor(session, editing, map, dragging, bar);
  const line = new LineEditor(session, editing, map, dragging, bar);
  session.on(["anew"], () => keepPlace(map, editing.messages));
  takeUpPlace(map, editing.messages);
  const plan = opened?.plan ? new PlanEditor(session, editing, map, opened.plan) : null;
  return { lane, line, plan };
}

/** @param {Session} session */
function listLaps(session) {
  new LapTable(session, find("#lap-table", HTMLTableElement));
  new LapChoice(session);
  new SummaryPanel(session);
  new LapChart(session);
  new LossList(session);
}

/** @param {Session} session */
function ownGatesOf(session) {
  return session.traces.rows.length ? new OwnGates(session) : null;
}

/**
 * @param {Session} session
 * @param {OwnGates} own
 * @returns {Hooks}
 */
function ownHooks(session, own) {
  const dragging = new Dragging(session, own, () => /** @type {Page} */ (page));
  listenToGateKeys(own);
  return { ...draggedBy(dragging, own), track: null };
}

/**
 * @param {Dragging} dragging
 * @param {GateHand} hand
 */
function draggedBy(dragging, hand) {
  return {
    holds: (/** @type {string} */ id) => hand.holds(id),
    /** @type {Hooks["gate"]} */
    gate: (id, elements) => dragging.gate(id, elements),
    /** @type {Hooks["post"]} */
    post: (id, element) => dragging.post(id, element),
    /** @type {Hooks["end"]} */
    end: (id, side, element) => dragging.end(id, side, element),
  };
}

/**
 * @param {Session} session
 * @param {Opened} opened
 * @returns {Hand}
 */
function handOf(session, opened) {
  const editing = new Editing(session, opened);
  const menu = new PlaceMenu(session, editing);
  const dragging = new Dragging(session, editing, () => /** @type {Page} */ (page));
  new FactFields(session, editing);
  new Toolbar(session, editing);
  new CopyDialog(editing, opened.file);
  listenToKeys(editing);
  return {
    editing,
    disk: new DiskNotice(session, editing),
    dragging,
    hooks: {
      ...draggedBy(dragging, editing),
      track: (base, event) => menu.open(base, event),
    },
  };
}
