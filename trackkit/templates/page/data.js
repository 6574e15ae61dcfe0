"use strict";
// What the page knows: the documents it was given, the geometry of the line, the laps' traces, and
// how numbers are written.  Nothing here touches the page itself.
const trackkit = {};

// Chainages come in two kinds.  "Base" chainages count along the line as the page was given it;
// "shown" ones count from where the finish gate is now.  Only `shown` and `base` convert.
trackkit.readDocument = function (id) {
  const node = document.getElementById(id);
  return node ? JSON.parse(node.textContent) : null;
};

trackkit.unpack = function (packed) {
  const text = atob(packed.data);
  const bytes = new Uint8Array(text.length);
  for (let n = 0; n < text.length; n++) { bytes[n] = text.charCodeAt(n); }
  const small = packed.type === "u16";
  const view = new DataView(bytes.buffer);
  const values = new Float64Array(packed.count);
  for (let n = 0; n < packed.count; n++) {
    const count = small ? view.getUint16(2 * n, true) : view.getInt32(4 * n, true);
    const missing = small ? 65535 : -2147483648;
    values[n] = count === missing ? NaN : packed.zero + packed.scale * count;
  }
  return values;
};

// Linear interpolation in evenly spaced values; NaN outside and beside a missing one.
trackkit.sampled = function (values, step, first, at) {
  const place = (at - first) / step;
  const index = Math.min(Math.floor(place), values.length - 2);
  if (!(place >= 0) || place > values.length - 1 + 1e-9 || index < 0) { return NaN; }
  const share = place - index;
  return values[index] * (1 - share) + values[index + 1] * share;
};

// The centreline in metres east and north of its first vertex, good to a part in a million over a
// circuit: lengths of a degree on the WGS 84 ellipsoid as series in the latitude (from memory).
trackkit.Line = class {
  constructor(line, closed) {
    this.closed = closed;
    this.length = line.length_m;
    this.chainage = trackkit.unpack(line.chainage_m);
    this.lon = trackkit.unpack(line.lon);
    this.lat = trackkit.unpack(line.lat);
    this.left = trackkit.unpack(line.left_m);
    this.right = trackkit.unpack(line.right_m);
    this.step = this.chainage[1] - this.chainage[0];
    const phi = this.lat[0] * Math.PI / 180;
    this.metresNorth = 111132.92 - 559.82 * Math.cos(2 * phi) + 1.175 * Math.cos(4 * phi);
    this.metresEast = 111412.84 * Math.cos(phi) - 93.5 * Math.cos(3 * phi) + 0.118 * Math.cos(5 * phi);
    this.x = this.lon.map((value) => this.east(value));
    this.y = this.lat.map((value) => this.north(value));
  }

  east(lon) { return (lon - this.lon[0]) * this.metresEast; }
  north(lat) { return (lat - this.lat[0]) * this.metresNorth; }
  toLonLat(x, y) { return [this.lon[0] + x / this.metresEast, this.lat[0] + y / this.metresNorth]; }

  // Longitudes of files may be counted from the other side of the antimeridian.
  nearLongitude(lon) { return lon - 360 * Math.round((lon - this.lon[0]) / 360); }

  wrap(chainage) {
    if (!this.closed) { return Math.min(Math.max(chainage, 0), this.length); }
    const at = ((chainage % this.length) + this.length) % this.length;
    // A hair short of a lap, as sums of chainages come out, is the lap's beginning.
    return at > this.length - 1e-6 ? 0 : at;
  }

  // Shortest way from one chainage to another; behind is negative.
  between(from, to) {
    const way = to - from;
    return this.closed ? way - this.length * Math.round(way / this.length) : way;
  }

  // Position in metres, direction of travel and reach of the band at a base chainage.
  at(chainage) {
    const place = this.wrap(chainage) / this.step;
    const n = Math.min(Math.floor(place), this.x.length - 2);
    const share = place - n;
    const between = (values) => values[n] * (1 - share) + values[n + 1] * share;
    // The direction is taken over three spacings, so that it turns smoothly from one to the next.
    const last = this.x.length - 1;
    const beside = (k) => this.closed ? (k + last) % last : Math.min(Math.max(k, 0), last);
    const before = beside(n - 1), after = beside(n + 2);
    const ahead = [
      (1 - share) * (this.x[n + 1] - this.x[before]) + share * (this.x[after] - this.x[n]),
      (1 - share) * (this.y[n + 1] - this.y[before]) + share * (this.y[after] - this.y[n]),
    ];
    const size = Math.hypot(ahead[0], ahead[1]);
    return {
      x: between(this.x), y: between(this.y), dx: ahead[0] / size, dy: ahead[1] / size,
      left: between(this.left), right: between(this.right),
    };
  }

  // The nearest place on the line to a position in metres.  With `around` only the stretch within
  // `reach` metres of that chainage is looked at, so that a gate that is dragged along one straight
  // does not jump to the next one.
  nearest(x, y, around, reach) {
    let best = { distance: Infinity, chainage: 0 };
    const count = this.x.length - 1;
    let first = 0, last = count - 1;
    if (around !== undefined) {
      first = Math.floor((around - reach) / this.step);
      last = Math.ceil((around + reach) / this.step);
      if (!this.closed || last - first >= count) { first = Math.max(first, 0); last = Math.min(last, count - 1); }
    }
    for (let k = first; k <= last; k++) {
      const n = ((k % count) + count) % count;
      const ax = this.x[n], ay = this.y[n];
      const bx = this.x[n + 1] - ax, by = this.y[n + 1] - ay;
      const share = Math.min(1, Math.max(0, ((x - ax) * bx + (y - ay) * by) / (bx * bx + by * by)));
      const distance = Math.hypot(x - ax - share * bx, y - ay - share * by);
      if (distance < best.distance) {
        const side = bx * (y - ay) - by * (x - ax);
        best = {
          distance, aside: Math.sign(side) * distance,
          chainage: this.wrap(this.chainage[n] + share * this.step),
        };
      }
    }
    return best;
  }

  // Ends of a gate square to the track, as [[lon, lat], [lon, lat]], left first.
  squareEnds(chainage, width) {
    const p = this.at(chainage), half = 0.5 * width;
    return [
      this.toLonLat(p.x - p.dy * half, p.y + p.dx * half),
      this.toLonLat(p.x + p.dy * half, p.y - p.dx * half),
    ];
  }
};

// Everything a page about one track holds; views listen to what changes.
trackkit.Session = class {
  constructor(base, state, editing) {
    this.base = base;
    this.state = state;
    this.editing = editing;
    this.line = new trackkit.Line(base.line, base.track.closed);
    this.quality = base.quality && {
      sigma: trackkit.unpack(base.quality.sigma_s),
      chainage: trackkit.unpack(base.quality.chainage_m),
      basis: base.quality.basis,
    };
    this.traces = base.laps.map((lap) => lap.trace && {
      time: trackkit.unpack(lap.trace.time_s), speed: trackkit.unpack(lap.trace.speed_mps),
    });
    this.selected = null;    // id of a gate
    this.place = null;       // base chainage that is pointed at, in either view
    this.chosen = [];        // keys of laps drawn against chainage
    this.compared = null;    // [key, key]: the first less the second
    this.sliding = null;     // {gate, base, width}: where a gate is while it is dragged
    this.listeners = {};
    this.chooseLaps();
  }

  on(what, listener) { (this.listeners[what] = this.listeners[what] || []).push(listener); }
  tell(what) { (this.listeners[what] || []).forEach((listener) => listener(this)); }

  setState(state) {
    this.state = state;
    if (this.selected && !this.gate(this.selected)) { this.selected = null; }
    this.chooseLaps();
    this.tell("state");
  }

  select(id) {
    if (this.selected === id) { return; }
    this.selected = id;
    this.tell("selected");
  }

  point(place) {
    if (place === this.place) { return; }
    this.place = place;
    this.tell("place");
  }

  slide(sliding) {
    this.sliding = sliding;
    this.tell("sliding");
  }

  get datum() { return this.state.datum_m || 0; }
  get length() { return this.line.length; }
  shown(base) { return this.line.closed ? this.line.wrap(base - this.datum) : base; }
  toBase(shown) { return this.line.wrap(shown + (this.line.closed ? this.datum : 0)); }
  // A place as it is sent: to the decimetre that is shown, and never beyond the end of the line.
  tenth(base) {
    const rounded = Math.round(this.shown(base) * 10) / 10;
    if (rounded <= this.length) { return rounded; }
    return this.line.closed ? 0 : Math.floor(this.length * 10) / 10;
  }
  gate(id) { return this.state.gates.find((gate) => gate.id === id) || null; }

  // Where a gate is now: under the pointer while it is dragged, else where the track has it.
  gatePlace(gate) {
    if (this.sliding && this.sliding.gate === gate.id) {
      return { base: this.sliding.base, width: this.sliding.width, ends: this.line.squareEnds(this.sliding.base, this.sliding.width) };
    }
    const ends = [gate.left, gate.right].map(([lon, lat]) => [this.line.nearLongitude(lon), lat]);
    return { base: this.toBase(gate.chainage_m), width: gate.width_m, ends };
  }

  // Where a finding belongs, [lat, lon]: its own position, its chainage, or the gate it is about.
  findingPlace(finding) {
    if (finding.position) { return [finding.position[1], this.line.nearLongitude(finding.position[0])]; }
    const gate = this.gate(finding.feature);
    if (finding.chainage_m === null && !gate) { return null; }
    const p = this.line.at(finding.chainage_m === null ? this.gatePlace(gate).base : this.toBase(finding.chainage_m));
    const [lon, lat] = this.line.toLonLat(p.x, p.y);
    return [lat, lon];
  }

  qualityAt(base) {
    if (!this.quality) { return NaN; }
    const { sigma, chainage } = this.quality;
    const step = chainage[1] - chainage[0];
    const place = this.line.wrap(base) / step;
    const n = Math.min(Math.floor(place), sigma.length - 1);
    const following = n + 1 < sigma.length ? n + 1 : (this.line.closed ? 0 : n);
    return sigma[n] + (place - n) * (sigma[following] - sigma[n]);
  }

  // Laps of the state, with a key that stays theirs while gates move.
  laps() {
    return this.state.laps.map((lap) => Object.assign({ key: lap.recording + ":" + lap.number }, lap));
  }

  timedLaps() { return this.laps().filter((lap) => lap.time_s !== null); }

  lapName(lap) {
    const name = "Lap " + lap.number;
    return this.base.recordings.length > 1 ? name + ", " + this.base.recordings[lap.recording].file : name;
  }

  // At first the two fastest laps are drawn and compared; the user's own choice is kept.
  chooseLaps() {
    const timed = this.timedLaps();
    const known = new Set(timed.map((lap) => lap.key));
    this.chosen = this.chosen.filter((key) => known.has(key));
    if (this.compared && !this.compared.every((key) => known.has(key))) { this.compared = null; }
    if (!this.chosen.length || !this.compared) {
      const fast = timed.filter((lap) => lap.complete).concat(timed.filter((lap) => !lap.complete));
      const order = fast.slice().sort((a, b) => (b.complete - a.complete) || (a.time_s - b.time_s)).slice(0, 2);
      if (!this.chosen.length) { this.chosen = order.map((lap) => lap.key); }
      this.compared = this.compared || (order.length > 1 ? [order[1].key, order[0].key] : null);
    }
  }

  showLap(key, on) {
    this.chosen = this.chosen.filter((other) => other !== key).concat(on ? [key] : []);
    this.tell("laps");
  }

  compare(first, second) {
    this.compared = [first, second];
    this.compared.forEach((key) => { if (!this.chosen.includes(key)) { this.chosen.push(key); } });
    this.tell("laps");
  }

  // A lap against shown chainage.  Traces were laid out with the finish gate where it was when the
  // page was made; when it has moved, a lap runs from one trace into its neighbour.
  traceOf(lap) {
    const own = this.base.laps.map((row, n) => ({ row, n })).filter(({ row, n }) => row.recording === lap.recording && this.traces[n]);
    let datum = this.line.closed ? this.datum : 0;
    if (datum > 0.5 * this.length) { datum -= this.length; }
    const begins = ({ row, n }) => {
      const ahead = datum < 0 ? datum + this.length : datum;
      const at = trackkit.sampled(this.traces[n].time, this.base.grid_m, row.from_m, ahead);
      return row.start_s + (Number.isFinite(at) ? at : 0) - (datum < 0 ? row.time_s : 0);
    };
    let home = null;
    own.forEach((one) => {
      const off = Math.abs(begins(one) - lap.start_s);
      if (!home || off < home.off) { home = { one, off }; }
    });
    if (!home || home.off > 0.5 * lap.time_s) { return null; }
    const at = home.one.row.number;
    const named = (number) => own.find(({ row }) => row.number === number);
    const read = (what, shown) => {
      const place = shown + datum;
      const turn = this.line.closed ? Math.floor(place / this.length) : 0;
      const one = turn === 0 ? home.one : named(at + turn);
      return one ? [one, trackkit.sampled(this.traces[one.n][what], this.base.grid_m, one.row.from_m, place - turn * this.length)] : [null, NaN];
    };
    return {
      speed: (shown) => read("speed", shown)[1],
      time: (shown) => {
        const [one, time] = read("time", shown);
        return one ? one.row.start_s + time - lap.start_s : NaN;
      },
    };
  }
};

// Numbers as people read them.
trackkit.number = function (value, digits) {
  return value.toLocaleString("en", { minimumFractionDigits: digits, maximumFractionDigits: digits });
};
trackkit.metres = function (value, digits = 1) { return trackkit.number(value, digits) + "\u00a0m"; };
trackkit.kmh = function (mps) { return Number.isFinite(mps) ? trackkit.number(3.6 * mps, 0) + "\u00a0km/h" : "no speed"; };
trackkit.millis = function (seconds) {
  if (!Number.isFinite(seconds)) { return "unknown"; }
  const ms = 1000 * seconds;
  return "\u00b1" + trackkit.number(ms, ms < 9.95 ? 1 : 0) + "\u00a0ms";
};
trackkit.time = function (seconds, digits = 3) {
  if (seconds === null || !Number.isFinite(seconds)) { return "\u2013"; }
  const ticks = Math.round(Math.abs(seconds) * 10 ** digits);
  const minutes = Math.floor(ticks / (60 * 10 ** digits));
  const rest = (ticks / 10 ** digits - 60 * minutes).toFixed(digits);
  const sign = seconds < 0 ? "\u2212" : "";
  return sign + (minutes ? minutes + ":" + rest.padStart(3 + digits, "0") : rest);
};
trackkit.signed = function (seconds, digits = 3) {
  if (!Number.isFinite(seconds)) { return "\u2013"; }
  return (seconds < 0 ? "\u2212" : "+") + Math.abs(seconds).toFixed(digits);
};
// A time has no more decimals than its uncertainty supports: the last is no finer than the second
// significant digit of one sigma.
trackkit.decimals = function (sigma) {
  if (!(sigma > 0)) { return 3; }
  return Math.min(3, Math.max(0, 1 - Math.floor(Math.log10(sigma))));
};
trackkit.kinds = {
  "finish": "finish", "start": "start", "sector": "sector", "speed": "speed",
  "pit-entry": "pit entry", "pit-exit": "pit exit",
};

// Elements are made from text only: a name from a file is never read as HTML.
trackkit.element = function (tag, attributes, ...children) {
  const node = document.createElement(tag);
  Object.entries(attributes || {}).forEach(([name, value]) => {
    if (value === false || value === null || value === undefined) { return; }
    if (name.startsWith("on")) { node.addEventListener(name.slice(2), value); return; }
    node.setAttribute(name, value === true ? "" : value);
  });
  node.append(...children.filter((child) => child !== null && child !== undefined));
  return node;
};

// Calls at most once a frame, with what was asked last.
trackkit.eachFrame = function (work) {
  let waiting = 0;
  return function () {
    if (!waiting) { waiting = requestAnimationFrame(() => { waiting = 0; work(); }); }
  };
};
