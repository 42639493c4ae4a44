// The lights' exact answer to motion: what lighting/timetable and lighting/replay do, zone by zone.
// Meaning: the age is start - end in double precision, and a zone is held while age <= delay.

export const START = 0;
export const DETECTION = 1;
export const TIMEOUT = 2;
export const SECOND = 3;
export const BORDER = 4;

const KEYS = [
  "timeout_s", "occupied_level", "unoccupied_level", "second_delay_s", "second_level", "fade_up_s", "fade_down_s",
];

/** Say whether two sets of settings are equal in every value. */
export function sameSettings(one, other) {
  return KEYS.every((key) => one[key] === other[key]);
}

/** Return the program of one outline under settings; neighbours that are equal are one period. */
function indoorProgram(outline, settings) {
  const border = [];
  const chosen = [];
  outline.settings.forEach((name, place) => {
    const own = settings[name];
    if (chosen.length > 0 && sameSettings(chosen[chosen.length - 1], own)) return;
    chosen.push(own);
    border.push(outline.border[place]);
  });
  border.push(outline.border[outline.border.length - 1]);
  const column = (value) => Float64Array.from(chosen, value);
  const delay = column((own) => outline.hold_s + own.timeout_s);
  return {
    border: Float64Array.from(border),
    delay,
    least: Math.min(...delay),
    second: column((own) => (own.second_delay_s === null ? Infinity : own.second_delay_s)),
    occupied: column((own) => own.occupied_level),
    unoccupied: column((own) => own.unoccupied_level),
    lowest: column((own) => (own.second_level === null ? own.unoccupied_level : own.second_level)),
    up: column((own) => own.fade_up_s),
    down: column((own) => own.fade_down_s),
    latency: outline.latency_s,
  };
}

/** Return a program whose levels are capped from hour to hour; neighbours that are equal are one period. */
function underSkylight(program, [starts, caps]) {
  const periods = program.border.length - 1;
  const finish = program.border[periods];
  const keys = ["delay", "second", "occupied", "unoccupied", "lowest", "up", "down"];
  const made = { border: [], ...Object.fromEntries(keys.map((key) => [key, []])) };
  let period = 0;
  let hour = 0;
  for (let time = program.border[0]; time < finish; ) {
    const values = keys.map((key) => program[key][period]);
    for (const level of [2, 3, 4]) values[level] = Math.min(values[level], caps[hour]);
    const last = made.border.length - 1;
    if (last < 0 || keys.some((key, at) => made[key][last] !== values[at])) {
      made.border.push(time);
      keys.forEach((key, at) => made[key].push(values[at]));
    }
    const next = hour + 1 < starts.length ? starts[hour + 1] : Infinity;
    time = Math.min(next, program.border[period + 1]);
    if (next === time) hour += 1;
    if (program.border[period + 1] === time) period += 1;
  }
  return {
    ...program,
    ...Object.fromEntries(keys.map((key) => [key, Float64Array.from(made[key])])),
    border: Float64Array.from([...made.border, finish]),
  };
}

/** Return the program of each of a site's outlines under settings; daylight caps those under skylights. */
export function makePrograms(site, settings) {
  return site.programs.map((outline) => {
    const program = indoorProgram(outline, settings);
    return outline.is_capped ? underSkylight(program, site.daylight) : program;
  });
}

/** Commands of one zone, in order; each row holds until the next. Grows as needed, is used again. */
export class Commands {
  constructor(room = 1024) {
    this.count = 0;
    this.#allot(room);
  }

  #allot(room) {
    const old = this.time === undefined ? null : this;
    const keep = (array, made) => {
      if (old !== null) made.set(array);
      return made;
    };
    this.time = keep(this.time, new Float64Array(room));
    this.level = keep(this.level, new Float64Array(room));
    this.period = keep(this.period, new Int32Array(room));
    this.isHigh = keep(this.isHigh, new Uint8Array(room));
    this.cause = keep(this.cause, new Uint8Array(room));
  }

  clear() {
    this.count = 0;
  }

  /** Add a row unless it repeats the state of the one before. */
  add(time, isHigh, level, period, cause) {
    const last = this.count - 1;
    if (last >= 0 && this.isHigh[last] === isHigh && this.level[last] === level && this.period[last] === period) {
      return;
    }
    if (this.count === this.time.length) this.#allot(2 * this.count);
    this.time[this.count] = time;
    this.isHigh[this.count] = isHigh;
    this.level[this.count] = level;
    this.period[this.count] = period;
    this.cause[this.count] = last < 0 ? START : cause;
    this.count += 1;
  }
}

/** Add the commands of a span (a gap or a detection), piece by piece between the timetable's borders. */
function addSpan(out, program, first, from, to, since, isGap, begun) {
  const { border, delay, second } = program;
  const periods = border.length - 1;
  for (let period = first; ; period++) {
    const start = Math.max(from, border[period]);
    const end = Math.min(to, border[period + 1]);
    const isAtBorder = period > 0 && start === border[period];
    const occupied = program.occupied[period];
    if (!isGap) {
      out.add(start, 1, occupied, period, isAtBorder ? BORDER : DETECTION);
    } else {
      const young = start - since;
      const old = end - since;
      const lasts = delay[period];
      const further = second[period];
      // a border inside the latency never brings the switch-up forward
      const isInLatency = start > begun;
      const hasSecond = further < Infinity;
      let cause = isAtBorder ? BORDER : 0;
      if (young < lasts && !isInLatency) {
        out.add(start, 1, occupied, period, cause || DETECTION);
        cause = 0;
      } else {
        cause = cause || DETECTION;
      }
      if ((old > lasts || isInLatency) && !(hasSecond && young >= lasts + further)) {
        const time = isInLatency ? start : Math.min(Math.max(since + lasts, start), end);
        out.add(time, 0, program.unoccupied[period], period, cause || TIMEOUT);
        cause = 0;
      }
      if (hasSecond && old > lasts + further) {
        const time = Math.min(Math.max(since + (lasts + further), start), end);
        out.add(time, 0, program.lowest[period], period, cause || SECOND);
      }
    }
    if (period + 1 >= periods || !(border[period + 1] < to)) return;
  }
}

/** Fill `out` with the commands of one zone, from its united detections. */
export function commandZone(start, end, program, out) {
  const { border, delay, least, latency } = program;
  const count = start.length;
  const periods = border.length - 1;
  const finish = border[periods];
  out.clear();
  let period = 0; // in force where the span begins
  let other = 0; // in force where the detection begins
  let floor = 0; // whatever starts within a latency is only felt at its end
  let since = -Infinity;
  let last = 0;
  const inForce = (place, time) => {
    let found = place;
    while (found + 1 < periods && border[found + 1] <= time) found++;
    return found;
  };
  for (let i = 0; i <= count; ) {
    const gapEnd = i < count ? start[i] : finish;
    let wentLow = false;
    if (i < count) {
      other = inForce(other, gapEnd);
      wentLow = gapEnd - since > delay[other];
    }
    const until = wentLow ? Math.min(gapEnd + latency, finish) : gapEnd;
    const from = Math.max(last, floor);
    if (until > from || wentLow) {
      period = inForce(period, from);
      addSpan(out, program, period, from, Math.max(until, from), since, true, wentLow ? gapEnd : Infinity);
    }
    if (i === count) return;
    if (wentLow) floor = until;
    const begin = Math.max(start[i], floor);
    // detections between which no period's delay runs out are one
    while (i + 1 < count && start[i + 1] - end[i] <= least) i++;
    last = since = end[i];
    if (last > begin) {
      period = inForce(period, begin);
      addSpan(out, program, period, begin, last, 0, false, Infinity);
    }
    i++;
  }
}
