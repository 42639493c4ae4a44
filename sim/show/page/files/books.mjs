// The books of every zone: what outcome/account does, and the sums and peaks of outcome/totals.

import { BORDER, Commands, DETECTION, TIMEOUT, commandZone, makePrograms } from "./lights.mjs";

export const TOTALS = [
  "energy_kwh", "peak_kw", "time_at_low_h", "time_at_zero_h", "lit_empty_h", "dim_truck_s", "shortfall_truck_s",
  "dim_entries", "false_offs", "switch_ups", "switch_downs", "timetable_changes",
];
export const TRUCK_TOTALS = new Set(["lit_empty_h", "dim_truck_s", "shortfall_truck_s", "dim_entries", "false_offs"]);
const QUARTER_S = 900;
const JOULES_PER_KWH = 3.6e6;
const NOBODY = new Float64Array(0);

/** Power of one luminaire at a level [W], straight between the rows of its curve. */
export function powerAt([levels, watts], level) {
  let row = 1;
  while (row < levels.length - 1 && levels[row] < level) row++;
  if (level === levels[row]) return watts[row];
  const slope = (watts[row] - watts[row - 1]) / (levels[row] - levels[row - 1]);
  return watts[row - 1] + slope * (level - levels[row - 1]);
}

/** Mean power while the level runs straight from one value to another [W]; exact for a bent curve. */
export function meanPower(curve, one, other) {
  const [levels] = curve;
  if (levels.length === 2 || one === other) return powerAt(curve, 0.5 * (one + other));
  const low = Math.min(one, other);
  const high = Math.max(one, other);
  let area = 0;
  for (let row = 1; row < levels.length; row++) {
    const from = Math.min(Math.max(low, levels[row - 1]), levels[row]);
    const to = Math.min(Math.max(high, levels[row - 1]), levels[row]);
    if (to > from) area += (to - from) * powerAt(curve, 0.5 * (from + to));
  }
  return area / (high - low);
}

/** What is counted in one zone; `run` is the zone's own share of the site's load, added to `load`. */
class Books {
  constructor(shifts) {
    this.entries = new Float64Array(shifts);
    this.clear();
  }

  clear() {
    this.joules = 0;
    this.low = 0;
    this.zero = 0;
    this.lowOccupied = 0;
    this.dim = 0;
    this.shortfall = 0;
    this.dimEntries = 0;
    this.falseOffs = 0;
    this.ups = 0;
    this.downs = 0;
    this.changes = 0;
    this.entries.fill(0);
  }
}

/** The site's load by quarter-hour: whole quarters as steps of power, the rest as energy. */
class Load {
  constructor(quarters) {
    this.edges = quarters;
    this.steps = new Float64Array(quarters.length);
    this.joules = new Float64Array(quarters.length - 1);
    this.place = 0;
  }

  clear() {
    this.steps.fill(0);
    this.joules.fill(0);
  }

  /** Begin a zone: its stretches of light are added in order of time. */
  begin() {
    this.place = 0;
  }

  /** Add steady power. */
  addSteady(watts, from, to) {
    const { edges, joules } = this;
    const last = joules.length - 1;
    let place = this.place;
    while (place < last && edges[place + 1] <= from) place++;
    if (to <= edges[place + 1]) {
      joules[place] += watts * (to - from);
    } else {
      joules[place] += watts * (edges[place + 1] - from);
      this.steps[place + 1] += watts;
      do place++; while (place < last && edges[place + 1] <= to);
      this.steps[place] -= watts;
      joules[place] += watts * (to - edges[place]);
    }
    this.place = place;
  }

  /** Add the power of a straight change of light; return its energy [J]. */
  addFade(zone, from, to, one, other) {
    const { edges, joules } = this;
    const last = joules.length - 1;
    let place = this.place;
    while (place < last && edges[place + 1] <= from) place++;
    this.place = place;
    if (to <= edges[place + 1]) {
      const whole = zone.meanWatts(one, other) * (to - from);
      joules[place] += whole;
      return whole;
    }
    let time = from;
    let light = one;
    let total = 0;
    while (time < to) {
      const end = place < last ? Math.min(to, edges[place + 1]) : to;
      const next = end === to ? other : one + (other - one) * ((end - from) / (to - from));
      const part = zone.meanWatts(light, next) * (end - time);
      joules[place] += part;
      total += part;
      time = end;
      light = next;
      place++;
    }
    return total;
  }

  /** Return the highest mean over a quarter-hour [kW], and the load summed with each set of weights. */
  sumUp(weights) {
    const sums = weights.map(() => 0);
    let watts = 0;
    let most = 0;
    for (let place = 0; place < this.joules.length; place++) {
      watts += this.steps[place];
      const joules = this.joules[place] + watts * (this.edges[place + 1] - this.edges[place]);
      if (joules > most) most = joules;
      for (let k = 0; k < sums.length; k++) sums[k] += joules * weights[k][place];
    }
    return { peakKw: most / QUARTER_S / 1000, sums: sums.map((sum) => sum / QUARTER_S / 1000) };
  }
}

/** Add what trucks lack while the light runs straight from `one` to `other` between `begin` and `end`. */
function addDim(books, pieces, first, begin, end, one, other, occupied) {
  const share = (occupied - one) / (other - one);
  const crossing = share > 0 && share < 1 ? begin + share * (end - begin) : null;
  // a fade that ends at the occupied level may miss it by its last digit
  if (crossing === null && !(0.5 * (one + other) < occupied)) return;
  const from = crossing !== null && one > occupied ? crossing : begin;
  const to = crossing !== null && one < occupied ? crossing : end;
  const whole = occupied > 0 ? occupied : 1;
  for (let k = first; k < pieces.from.length && pieces.from[k] < to; k++) {
    if (pieces.weight[k] === 0) continue;
    const start = Math.max(pieces.from[k], from);
    const stop = Math.min(pieces.to[k], to);
    if (!(stop > start)) continue;
    const light = one + (other - one) * ((0.5 * (start + stop) - begin) / (end - begin));
    const seconds = pieces.weight[k] * (stop - start);
    books.dim += seconds;
    books.shortfall += (Math.max(0, occupied - light) / whole) * seconds;
  }
}

/** Count the entries of a row whose command is low, by shift as well; return the first one after it. */
function addEntries(books, pieces, first, isHigh, to) {
  let k = first;
  for (; k < pieces.from.length && pieces.from[k] <= to; k++) {
    if (pieces.isEntry[k] === 0 || (isHigh && pieces.from[k] > 0)) continue;
    books.dimEntries += pieces.weight[k];
    for (let place = 0, mask = pieces.shifts[k]; mask > 0; place++, mask >>= 1) {
      if (mask & 1) books.entries[place] += pieces.weight[k];
    }
  }
  return k;
}

/** Keep the books of one zone in one replication; adds to the site's load. */
function keepBooks(books, commands, program, zone, pieces, load) {
  const { time, level, isHigh, period, cause, count } = commands;
  const finish = program.border[program.border.length - 1];
  const knows = pieces !== null;
  const here = knows ? pieces.from : NOBODY;
  const gone = knows ? pieces.to : NOBODY;
  const trucks = here.length;
  let begin = 0; // of the latest fade
  let origin = level[0];
  let target = level[0];
  let length = 0;
  let steady = zone.wattsAt(target);
  let piece = 0; // the first that may still be there
  let entry = 0; // the first entry not yet judged
  let joules = 0;
  let low = 0;
  let zero = 0;
  books.clear();
  load.begin();
  for (let row = 0; row < count; row++) {
    const from = time[row];
    const to = row + 1 < count ? time[row + 1] : finish;
    const high = isHigh[row] === 1;
    const occupied = program.occupied[period[row]];
    if (row > 0) {
      if (level[row] !== level[row - 1]) {
        origin = from >= begin + length ? target : origin + (target - origin) * ((from - begin) / length);
        begin = from;
        target = level[row];
        steady = zone.wattsAt(target);
        const own = period[row];
        length = target > origin ? program.up[own] : target < origin ? program.down[own] : 0;
        if (cause[row] === BORDER) books.changes += 1;
      }
      if (isHigh[row] !== isHigh[row - 1]) {
        if (high && cause[row] === DETECTION) books.ups += 1;
        if (!high && cause[row] === TIMEOUT) {
          books.downs += 1;
          if (piece < trucks && isThere(pieces, piece, from)) books.falseOffs += 1;
        }
      }
    }
    while (piece < trucks && gone[piece] <= from) piece++;
    // the command just before it enters: this row's, for entries after `from` and up to `to`
    if (entry < trucks && here[entry] <= to) entry = addEntries(books, pieces, entry, high, to);
    const mayMeet = piece < trucks && here[piece] < to;
    if (mayMeet && !high) books.lowOccupied += occupiedTime(pieces, piece, from, to);
    if (!high) {
      low += to - from;
      if (level[row] === 0) zero += to - from;
    }
    if (!(from < to)) continue;
    const over = begin + length;
    let at = from;
    if (over > from) {
      const end = Math.min(over, to);
      const one = from > begin ? origin + (target - origin) * ((from - begin) / length) : origin;
      const other = end === over ? target : origin + (target - origin) * ((end - begin) / length);
      joules += load.addFade(zone, from, end, one, other);
      if (mayMeet && (one < occupied || other < occupied)) {
        addDim(books, pieces, piece, from, end, one, other, occupied);
      }
      at = end;
    }
    if (at < to) {
      load.addSteady(steady, at, to);
      joules += steady * (to - at);
      if (mayMeet && target < occupied) addDim(books, pieces, piece, at, to, target, target, occupied);
    }
  }
  books.joules = joules;
  books.low = low;
  books.zero = zero;
}

/** Say whether a truck that needs light is in the zone at a time. */
function isThere(pieces, first, time) {
  for (let k = first; k < pieces.from.length && pieces.from[k] <= time; k++) {
    if (time < pieces.to[k] && pieces.weight[k] > 0) return true;
  }
  return false;
}

/** Time with at least one truck between two times [s]. */
function occupiedTime(pieces, first, from, to) {
  let total = 0;
  let covered = from;
  for (let k = first; k < pieces.from.length && pieces.from[k] < to; k++) {
    const start = Math.max(pieces.from[k], covered);
    const stop = Math.min(pieces.to[k], to);
    if (stop > start) {
      total += stop - start;
      covered = stop;
    }
  }
  return total;
}

/** What a zone's luminaires draw; the means of the latest two changes of light are kept. */
class Lamps {
  constructor(curve, dimmed, fixed) {
    this.curve = curve;
    this.dimmed = dimmed;
    this.fixedW = fixed * curve[1][curve[1].length - 1];
    this.known = [NaN, NaN, 0, NaN, NaN, 0];
  }

  /** At a level [W]. */
  wattsAt(level) {
    return this.dimmed * powerAt(this.curve, level) + this.fixedW;
  }

  /** Mean over a straight change of light [W]. */
  meanWatts(one, other) {
    const { known } = this;
    if (known[0] === one && known[1] === other) return known[2];
    if (known[3] === one && known[4] === other) return known[5];
    known[3] = known[0];
    known[4] = known[1];
    known[5] = known[2];
    known[0] = one;
    known[1] = other;
    known[2] = this.dimmed * meanPower(this.curve, one, other) + this.fixedW;
    return known[2];
  }
}

const scratch = new Commands();

/**
 * Return every outcome of settings on a site: arrays over replications, and means by aisle. Where the site has a
 * year, `year` holds its energy [kWh] and money by replication.
 * `settings` are in the order of the site's settings.
 */
export function evaluate(site, settings) {
  const programs = makePrograms(site, settings);
  const lamps = site.zones.map((_, zone) => new Lamps(site.curves[site.zone_aisle[zone]], site.dimmed[zone], site.fixed[zone]));
  const runs = site.runs.length;
  const knows = site.runs[0].piece_counts !== null;
  const total = Object.fromEntries(TOTALS.map((name) => [name, new Float64Array(runs)]));
  const aisles = { energy_kwh: new Float64Array(site.aisles.length), dim_truck_s: new Float64Array(site.aisles.length) };
  const shiftEntries = site.runs.map(() => new Float64Array(site.shifts.length));
  const load = new Load(site.quarters);
  const weights = Object.entries(site.year ?? {}).filter(([name, column]) => name !== "of" && column !== null);
  const year = Object.fromEntries(weights.map(([name]) => [name, new Float64Array(runs)]));
  const books = new Books(site.shifts.length);
  const end = site.quarters[site.quarters.length - 1];
  site.runs.forEach((run, place) => {
    load.clear();
    run.zones.forEach((traffic, zone) => {
      const program = programs[site.zone_program[zone]];
      const aisle = site.zone_aisle[zone];
      commandZone(traffic.start, traffic.end, program, scratch);
      keepBooks(books, scratch, program, lamps[zone], traffic.pieces, load);
      total.energy_kwh[place] += books.joules / JOULES_PER_KWH;
      total.time_at_low_h[place] += books.low / 3600;
      total.time_at_zero_h[place] += books.zero / 3600;
      total.switch_ups[place] += books.ups;
      total.switch_downs[place] += books.downs;
      total.timetable_changes[place] += books.changes;
      aisles.energy_kwh[aisle] += books.joules / JOULES_PER_KWH / runs;
      if (!knows) return;
      total.lit_empty_h[place] += (end - books.low + books.lowOccupied) / 3600 - run.zone_occupied_h[zone];
      total.dim_truck_s[place] += books.dim;
      total.shortfall_truck_s[place] += books.shortfall;
      total.dim_entries[place] += books.dimEntries;
      total.false_offs[place] += books.falseOffs;
      aisles.dim_truck_s[aisle] += books.dim / runs;
      books.entries.forEach((entries, shift) => {
        shiftEntries[place][shift] += entries;
      });
    });
    const { peakKw, sums } = load.sumUp(weights.map(([, column]) => column));
    total.peak_kw[place] = peakKw;
    weights.forEach(([name], at) => {
      year[name][place] = sums[at];
    });
  });
  return { total, aisles, shiftEntries, knows, year };
}
