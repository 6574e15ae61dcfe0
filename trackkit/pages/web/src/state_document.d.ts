/* Made of state.schema.json by `npm run types`. */

/**
 * Longitude and latitude.
 *
 * @minItems 2
 * @maxItems 2
 */
export type Position = [number, number];

/**
 * What a change of gates changes on a page: gates, sectors, laps and findings. Lengths in metres, times in seconds, positions as longitude and latitude in degrees. Rows are those of the commands' JSON and may hold more than the page reads.
 */
export interface StateDocument {
  /**
   * How many edits were made.
   */
  edit: number;
  /**
   * Number of the base document that chainages belong to.
   */
  base: number;
  unsaved: boolean;
  can_undo: boolean;
  can_redo: boolean;
  undo_what: string | null;
  redo_what: string | null;
  /**
   * Where along the base document's line chainages of this document begin.
   */
  datum_m: number;
  /**
   * Whether uncertainties and findings of other gates are those of before.
   */
  light: boolean;
  track: {
    id: string;
    name: string;
    layout: string;
    direction: "clockwise" | "anticlockwise" | null;
    closed: boolean;
    length_m: number;
  };
  /**
   * What people say of the track, by the members of its file.
   */
  facts: {
    country: string | null;
    timezone: string | null;
    licence: string | null;
    valid_from: string | null;
    valid_until: string | null;
    notes: string;
  };
  /**
   * Numbers and names; where corners are stands in the base document.
   */
  corners: {
    id: string;
    number: number;
    name: string;
  }[];
  pit_lanes: {
    id: string;
    length_m: number;
    /**
     * Positions in the direction it is driven.
     */
    line: Position[];
  }[];
  /**
   * What a crossing is worth where the pit lane is not that of the base document: one sigma of it at evenly spaced chainages along the base document's line, packed as there; null where it is as there.
   */
  quality: {
    /**
     * Numbers as whole steps from the least of them: zero + scale * n, little endian, in base64. Missing is 65535 of u16, -2147483648 of i32.
     */
    sigma_s: {
      scale: number;
      zero: number;
      type: "u16" | "i32";
      count: number;
      data: string;
    };
    basis: string;
  } | null;
  /**
   * In racing order.
   */
  gates: Gate[];
  sectors: Sector[];
  laps: Lap[];
  /**
   * One row a recording.
   */
  best: {
    recording: number;
    best_lap_s: number | null;
    theoretical_best_s: number | null;
    continuous_best_s: number | null;
  }[];
  /**
   * What a check has to say, or null where nothing was checked.
   */
  findings: Finding[] | null;
  /**
   * Whether the track is fit to hand on, judged anew; null while a gate is dragged, when the one before stands.
   */
  verdict: Verdict | null;
  remarks: string[];
}
export interface Gate {
  id: string;
  kind: string;
  order: number;
  name: string;
  chainage_m: number;
  width_m: number;
  left: Position;
  right: Position;
  surveyed: boolean;
  /**
   * One sigma of a crossing, or null where it is not known.
   */
  sigma_s: number | null;
  /**
   * Numbers of the findings about the gate.
   */
  findings: number[];
}
export interface Sector {
  number: number;
  /**
   * Id of the gate it begins at.
   */
  from: string;
  /**
   * Id of the gate it ends at.
   */
  to: string;
  length_m: number;
}
export interface Lap {
  recording: number;
  session: number;
  number: number;
  kind: "flying" | "out" | "in" | "pit";
  complete: boolean;
  /**
   * Whether it counts towards the best times.
   */
  counts: boolean;
  /**
   * What is wrong with it.
   */
  remarks: {
    kind: string;
    text: string;
  }[];
  start_s: number | null;
  time_s: number | null;
  sigma_s: number | null;
  /**
   * Ids of the gates that it did not cross.
   */
  missed: string[];
  sectors: {
    time_s: number | null;
    sigma_s: number | null;
  }[];
}
export interface Finding {
  severity: "error" | "warning" | "note";
  rule: string;
  feature: string | null;
  chainage_m: number | null;
  position: Position | null;
  message: string;
  remedy: string | null;
  /**
   * What can be done, by name; null where it takes a person
   */
  action: null | {
    do: string;
    feature: string | null;
    chainage_m: number | null;
    value: {} | null;
  };
  /**
   * The edit that does it, where gates can be changed, and its name
   */
  offer?: null | {
    label: string;
    edit: {
      do: string;
      gate?: string;
    };
  };
  accepted: boolean;
}
export interface Verdict {
  fit: boolean;
  reasons: string[];
  /**
   * The one thing to do next.
   */
  next: string | null;
  remarks: string[];
  /**
   * Digest of the geometry, shortened: people compare it.
   */
  letters: string;
  /**
   * Day of the verdict in the file, where it is about this geometry.
   */
  judged_on: string | null;
}
