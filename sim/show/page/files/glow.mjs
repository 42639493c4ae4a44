// The light of zones over a span of time, as pieces: what lighting/replay calls levels.

import { Commands, commandZone, makePrograms } from "./lights.mjs";

/** Pieces of one zone's light that touch a span: {start, end, one, other, occupied}, each straight over time. */
export function glowZone(commands, program, from, to) {
  const { time, level, period, count } = commands;
  const finish = program.border[program.border.length - 1];
  const pieces = { start: [], end: [], one: [], other: [], occupied: [] };
  const add = (start, end, one, other, occupied) => {
    if (!(start < end) || end <= from || start >= to) return;
    pieces.start.push(start);
    pieces.end.push(end);
    pieces.one.push(one);
    pieces.other.push(other);
    pieces.occupied.push(occupied);
  };
  let begin = 0; // of the latest fade
  let origin = level[0];
  let target = level[0];
  let length = 0;
  for (let row = 0; row < count; row++) {
    const first = time[row];
    const last = row + 1 < count ? time[row + 1] : finish;
    if (row > 0 && level[row] !== level[row - 1]) {
      origin = first >= begin + length ? target : origin + (target - origin) * ((first - begin) / length);
      begin = first;
      target = level[row];
      length = target > origin ? program.up[period[row]] : target < origin ? program.down[period[row]] : 0;
    }
    const over = begin + length;
    const at = Math.min(Math.max(over, first), last);
    const light = (when) => (when >= over ? target : origin + (target - origin) * ((when - begin) / length));
    const occupied = program.occupied[period[row]];
    add(first, at, light(first), light(at), occupied);
    add(at, last, target, target, occupied);
  }
  return pieces;
}

/** The light of all zones of one replication of a site over a span, under settings. */
export function glowSite(site, settings, replication, from, to) {
  const programs = makePrograms(site, settings);
  const commands = new Commands();
  return site.runs[replication].zones.map(({ start, end }, zone) => {
    const program = programs[site.zone_program[zone]];
    commandZone(start, end, program, commands);
    return glowZone(commands, program, from, to);
  });
}
