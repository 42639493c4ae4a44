// Packed columns back to doubles, bit for bit. The other half is show/page/packing.py.

/** Inflate base64 text to bytes. */
async function inflate(text) {
  const deflated = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
  const stream = new Blob([deflated]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

/** Return columns of doubles; low and high halves are added with a carry of their own. */
export async function unpackColumns(packed) {
  const bytes = await inflate(packed.data);
  const length = packed.length;
  const columns = [];
  packed.forms.forEach((form, place) => {
    const planes = Array.from({ length: 8 }, (_, plane) => {
      const start = (place * 8 + plane) * length;
      return bytes.subarray(start, start + length);
    });
    const column = new Float64Array(length);
    const halves = new Uint32Array(column.buffer);
    const before = form === "span" ? new Uint32Array(columns[place - 1].buffer) : null;
    let low = 0;
    let high = 0;
    for (let i = 0; i < length; i++) {
      if (before !== null) {
        low = before[2 * i];
        high = before[2 * i + 1];
      } else if (form === "plain") {
        low = high = 0;
      }
      const sum = low + ((planes[0][i] | (planes[1][i] << 8) | (planes[2][i] << 16) | (planes[3][i] << 24)) >>> 0);
      high = (high + (sum > 0xffffffff ? 1 : 0)
        + ((planes[4][i] | (planes[5][i] << 8) | (planes[6][i] << 16) | (planes[7][i] << 24)) >>> 0)) >>> 0;
      low = sum >>> 0;
      halves[2 * i] = low;
      halves[2 * i + 1] = high;
    }
    columns.push(column);
  });
  return columns;
}

/** Cut a column into one view for each zone. */
function byZone(column, counts) {
  let first = 0;
  return counts.map((count) => column.subarray(first, (first += count)));
}

/** Unpack the traffic of one replication of one site: blocks and pieces, zone by zone. */
async function unpackRun(site, run) {
  const [start, end] = (await unpackColumns(run.blocks)).map((column) => byZone(column, run.block_counts));
  const zones = start.map((_, zone) => ({ start: start[zone], end: end[zone], pieces: null }));
  if (run.piece_counts !== null) {
    const columns = (await unpackColumns(run.pieces)).map((column) => byZone(column, run.piece_counts));
    const kinds = byZone(await inflate(run.kinds.data), run.piece_counts);
    zones.forEach((zone, place) => {
      const [from, to] = columns.map((column) => column[place]);
      zone.pieces = {
        from,
        to,
        weight: Float64Array.from(kinds[place], (kind) => site.weights[kind >> 1]),
        isEntry: Uint8Array.from(kinds[place], (kind) => kind & 1),
        shifts: Uint8Array.from(from, (time) => shiftMask(site.shifts, time)),
      };
    });
  }
  return { ...run, zones };
}

/** Which shifts hold at a time, a bit for each. */
function shiftMask(shifts, time) {
  let mask = 0;
  shifts.forEach((shift, place) => {
    if (shift.spans.some(([begin, until]) => begin <= time && time < until)) mask |= 1 << place;
  });
  return mask;
}

/** Unpack ways outside the aisles; null where nobody knows them. */
async function unpackOpen(packed) {
  if (packed === null) return null;
  const [start, end, across, along, toAcross, toAlong, speed, acceleration] = await unpackColumns(packed);
  return { start, end, across, along, toAcross, toAlong, speed, acceleration };
}

/** Unpack one hour to play back: visits, their moves, detections by zone, ways outside the aisles. */
export async function unpackHour(hour) {
  const [enter, leave, aisle, rest] = hour.visits === null ? [[], [], [], []] : await unpackColumns(hour.visits);
  const moves = hour.moves === null ? [[], [], [], [], []] : await unpackColumns(hour.moves);
  const [from, to] = (await unpackColumns(hour.seen)).map((column) => byZone(column, hour.seen_counts));
  const firstMove = [0];
  for (const count of hour.move_counts) firstMove.push(firstMove[firstMove.length - 1] + count);
  const open = await unpackOpen(hour.open);
  return { start_s: hour.start_s, end_s: hour.end_s, shown: hour.shown, enter, leave, aisle, rest, moves, firstMove, from, to, open };
}

/** Unpack one variant: the same object with its runs unpacked and its edges as typed arrays. */
export async function unpackSite(site) {
  const runs = await Promise.all(site.runs.map((run) => unpackRun(site, run)));
  return { ...site, runs, quarters: Float64Array.from(site.quarter_edges) };
}
