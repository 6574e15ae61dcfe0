/* Made of base.schema.json by `npm run types`. */

/**
 * @minItems 2
 * @maxItems 2
 */
export type Pair = [number, number];
/**
 * Longitude and latitude.
 *
 * @minItems 2
 * @maxItems 2
 */
export type Position = [number, number];

/**
 * What a page holds of a track for as long as it is open: the line, recordings and the traces of laps, and the limits and words that Python and the page share. Lengths in metres, times in seconds, positions as longitude and latitude in degrees.
 */
export interface BaseDocument {
  version: 1;
  caution: string;
  track: {
    id: string;
    name: string;
    layout: string;
    direction: "clockwise" | "anticlockwise" | null;
    closed: boolean;
    length_m: number;
    notes: string;
    accuracy_m: number | null;
    line: "driven" | "centre";
    revised: string;
    country: string | null;
    licence: string | null;
    credits: string[];
    length_surface_m: number | null;
    band_known: boolean;
  };
  /**
   * What a gate may be; the server refuses anything else. gate_width_m is the least and the greatest width, gate_name_length and fact_length the most characters of a gate's name and of another.
   */
  limits: {
    gate_width_m: Pair;
    gate_name_length: number;
    fact_length: number;
  };
  decimals: {
    /**
     * Most decimals of a time in seconds; its uncertainty may support fewer.
     */
    time: number;
    /**
     * Decimals of chainages and widths in metres that are set by hand.
     */
    place: number;
  };
  /**
   * Kinds of gate in the order in which they are listed.
   */
  gate_kinds: GateKind[];
  line: PackedLine;
  corners: Corner[];
  straights: Straight[];
  bridges: Bridge[];
  quality: Quality | null;
  recordings: Recording[];
  laps: LapTrace[];
  comparison: Comparison | null;
  day: Day | null;
  underlay: Underlay | null;
  grid_m: number;
  /**
   * Units that people read; all else is in SI units.
   */
  units: {
    speed: string;
    speed_per_mps: number;
    length: string;
    length_name: string;
    length_per_m: number;
    /**
     * For distances of a kilometre, or a mile, and more.
     */
    long_length: string;
    long_per_m: number;
  };
  /**
   * Between the classes of speed, slowest first, in the unit of speed that people read.
   */
  speed_bounds: number[];
  /**
   * How each class of speed is drawn: one more than there are bounds.
   */
  speed_styles: SpeedStyle[];
}
export interface GateKind {
  kind: string;
  /**
   * For people, in small letters and without the word gate.
   */
  name: string;
  /**
   * Whether this track can do with a gate of the kind.
   */
  offered: boolean;
  /**
   * A track has one at most.
   */
  single: boolean;
  /**
   * This track cannot be without one.
   */
  required: boolean;
}
/**
 * The centreline. left_m and right_m are the reach of the band at evenly spaced chainages from one end to the other; band_m is its least and greatest width.
 */
export interface PackedLine {
  length_m: number;
  spline: Spline;
  band_m: Pair;
  left_m: Packed;
  right_m: Packed;
  accuracy: Accuracy | null;
}
/**
 * The line between its points, which a closed line ends with the first of again: cubic Hermite pieces by chord length. bearing_deg is the racing direction, clockwise from true north, pace the length of the derivative. The parameter by chainage is made of cubic Hermite pieces too, of slope 1 / pace.
 */
export interface Spline {
  chainage_m: Packed;
  lon: Packed;
  lat: Packed;
  bearing_deg: Packed;
  pace: Packed;
}
/**
 * Numbers as whole steps from the least of them: zero + scale * n, little endian, in base64. Missing is 65535 of u16, -2147483648 of i32.
 */
export interface Packed {
  scale: number;
  zero: number;
  type: "u16" | "i32";
  count: number;
  data: string;
}
/**
 * How well the line is known: one sigma of its sideways place at the chainages of left_m, and where it is not measured. A stretch over the seam of a lap ends beyond its length.
 */
export interface Accuracy {
  sigma_m: Packed;
  stretches: Stretch[];
}
export interface Stretch {
  from_m: number;
  to_m: number;
  kind: "thin" | "carried" | "drawn";
  sigma_m: number;
}
export interface Corner {
  id: string;
  number: number;
  name: string;
  turn: "left" | "right";
  apex_m: number;
  entry_m: number;
  exit_m: number;
  min_radius_m: number;
  at: Position;
}
export interface Straight {
  from_m: number;
  to_m: number;
  length_m: number;
}
export interface Bridge {
  /**
   * Chainage on the bridge.
   */
  over_m: number;
  /**
   * Chainage below it.
   */
  under_m: number;
  /**
   * How far the bridge reaches either way from where the lines cross.
   */
  reach_m: number;
}
/**
 * One sigma of a crossing at evenly spaced chainages from 0 to the end, which a closed line leaves out.
 */
export interface Quality {
  sigma_s: Packed;
  basis: string;
}
export interface Recording {
  /**
   * What the page calls the recording.
   */
  file: string;
  driver: string;
  fix_count: number;
  duration_s: number;
  top_mps: number;
  /**
   * How near it comes to the track; null where it is left out for lying elsewhere.
   */
  away_m: number | null;
  /**
   * One fix in so many is drawn; null for a recording made elsewhere.
   */
  every: number | null;
  fixes: Fixes | null;
  /**
   * What else it holds of its laps, such as engine speed; none where laps are not compared.
   */
  channels?: Channel[];
}
export interface Fixes {
  lon: Packed;
  lat: Packed;
  speed_mps: Packed;
  /**
   * Fixes that no line is drawn to.
   */
  breaks: number[];
}
export interface Channel {
  name: string;
  unit: string | null;
  /**
   * When the first value was measured, as times of laps are counted.
   */
  first_s: number;
  step_s: Packed1;
  /**
   * Between values farther apart nothing is known.
   */
  gap_s: number;
  value: Packed;
}
/**
 * Numbers as whole steps from the least of them: zero + scale * n, little endian, in base64. Missing is 65535 of u16, -2147483648 of i32.
 */
export interface Packed1 {
  scale: number;
  zero: number;
  type: "u16" | "i32";
  count: number;
  data: string;
}
export interface LapTrace {
  recording: number;
  session: number;
  number: number;
  kind: "flying" | "out" | "in" | "pit";
  complete: boolean;
  start_s: number | null;
  time_s: number | null;
  /**
   * First and one past the last fix of the lap among those drawn.
   */
  fixes: Pair | null;
  /**
   * Chainage of the trace's first row.
   */
  from_m: number;
  /**
   * Every grid_m of chainage: time since that before it that is known, at first since the lap's start, speed, distance to the left of the centreline, and accelerations along the direction of travel and to its left.
   */
  trace: {
    offset_m: Packed;
    along_mps2: Packed;
    across_mps2: Packed;
    time_s: Packed;
    speed_mps: Packed;
  } | null;
  /**
   * Of the way to the first lap, or from the last one: when its times begin, seconds, and how many later it passed the gate that laps begin, or end, at. Null for laps.
   */
  way: {
    start_s: number;
    begun_s: number | null;
    ended_s: number | null;
  } | null;
}
/**
 * What laps are compared by. place_m are places along the line where laps are timed, from the gate that a lap begins at to the one it ends at; sections lie between two of them, by their numbers.
 */
export interface Comparison {
  place_m: number[];
  sections: Section[];
  recordings: (ComparedLaps | null)[];
}
export interface Section {
  kind: "straight" | "corner entry" | "corner exit";
  name: string;
  from: number;
  to: number;
}
/**
 * The laps of a recording that were driven from line to line past every gate, by the numbers of session and lap. passed_s is when each reached each place, since it began. A stretch is from the first place to each after it, then each section: sigma_s is one sigma of the time of each lap in each stretch, pair_sigma_s of the difference of two laps in it, of the first lap with each after it, then of the second, and so on among the first laps, as many as together.
 */
export interface ComparedLaps {
  laps: Pair[];
  together: number;
  passed_s: Packed;
  sigma_s: Packed;
  pair_sigma_s: Packed;
  errors: PlaceErrors | null;
}
/**
 * error_m2 is the covariance of errors, along the line, at two of place_m, evenly spaced, the upper triangle, row after row, for laps that pass these at passed_s. across is the correlation of errors of two laps at two of as many places as it has rows, evenly spaced as well, row after row. Where fixes are far apart, between_fixes has the times of all and by how much a covariance is more at even shares of the time from a fix to the next, of both places, row after row, in the same interval and then in two that follow each other. On ways to laps and from them, a variance is that of variance_m2, at evenly spaced places from the first of place_m to the last.
 */
export interface PlaceErrors {
  place_m: number[];
  error_m2: Packed;
  between_fixes: {
    first_s: number;
    step_s: Packed;
    more_m2: Packed;
  } | null;
  passed_s: Packed;
  across: Packed;
  ways: {
    /**
     * @minItems 2
     * @maxItems 2
     */
    lap: [number, number];
    variance_m2: Packed;
  }[];
}
/**
 * Laps summed up, of each driver and then of all where there are several; and the best laps and best of each sector of each recording, by the numbers of session and lap, the fastest first, those after it that cannot be told from it.
 */
export interface Day {
  summaries: Summary[];
  bests: {
    laps: Pair[];
    sectors: Pair[][];
  }[];
}
export interface Summary {
  /**
   * Null for all drivers together.
   */
  driver: string | null;
  best_laps: {
    recording: number;
    session: number;
    number: number;
    /**
     * Whether the next is slower by no more than one sigma.
     */
    equal_to_next: boolean;
  }[];
  median_s: number | null;
  spread_s: number | null;
  theoretical_best_s: number | null;
  theoretical_best_sigma_s: number | null;
  continuous_best_s: number | null;
  continuous_best_sigma_s: number | null;
  /**
   * That have a time.
   */
  laps: number;
  laps_counted: number;
}
/**
 * A picture of the ground in the web's Mercator projection: a data address, its edges in degrees, whose it is, and the size of a pixel on the ground, metres.
 */
export interface Underlay {
  picture: string;
  west: number;
  south: number;
  east: number;
  north: number;
  credit: string;
  pixel_m: number;
}
export interface SpeedStyle {
  colour: string;
  width_px: number;
}
