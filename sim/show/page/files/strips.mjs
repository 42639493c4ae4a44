// Time and distance: a few aisles over an hour, their light, their trucks, and what was seen of them.

import { isDimAt, placeAt } from "./motion.mjs";
import { DIM, EDGE, FOOT_PX, TRUCK, brushOf, clockText, colours, rampColour, zoneAt } from "./paint.mjs";

const TRACK_STEP_S = 4;
const STRIP_PX = 64;
const GAP_PX = 16;
const LEFT_PX = 44;

/** The line of one visit: instants, places, and whether its light was too low. */
function trackOf(scene, visit) {
  const { hour, boxes, glow } = scene;
  const from = Math.max(hour.enter[visit], hour.start_s);
  const to = Math.min(hour.leave[visit], hour.end_s);
  const times = [];
  for (let time = from; time < to; time += TRACK_STEP_S) times.push(time);
  for (let move = hour.firstMove[visit]; move < hour.firstMove[visit + 1]; move++) {
    if (hour.moves[0][move] > from && hour.moves[0][move] < to) times.push(hour.moves[0][move]);
  }
  times.push(to);
  times.sort((one, other) => one - other);
  return times.map((time) => {
    const place = placeAt(hour, visit, time);
    return { time, place, isDim: isDimAt(glow[zoneAt(boxes, hour.aisle[visit], place)], time) };
  });
}

/** Draw the time-distance picture with nothing hidden. */
export function drawStrips(canvas, scene) {
  const { hour, boxes, glow, aisles, lengths, startIso } = scene;
  const paint = colours();
  const { brush, width, height } = brushOf(canvas, hour.shown.length * (STRIP_PX + GAP_PX) + FOOT_PX);
  const x = (time) => LEFT_PX + ((time - hour.start_s) / (hour.end_s - hour.start_s)) * (width - LEFT_PX - 4);
  hour.shown.forEach((aisle, row) => {
    const top = row * (STRIP_PX + GAP_PX) + GAP_PX;
    const y = (place) => top + STRIP_PX * (1 - place / lengths[aisle]);
    for (const box of boxes.filter((one) => one.aisle === aisle)) {
      const light = glow[box.zone];
      light.start.forEach((start, piece) => {
        const from = x(Math.max(start, hour.start_s));
        const to = x(Math.min(light.end[piece], hour.end_s));
        if (light.one[piece] === light.other[piece]) brush.fillStyle = rampColour(light.one[piece]);
        else {
          const fade = brush.createLinearGradient(x(start), 0, x(light.end[piece]), 0);
          fade.addColorStop(0, rampColour(light.one[piece]));
          fade.addColorStop(1, rampColour(light.other[piece]));
          brush.fillStyle = fade;
        }
        brush.fillRect(from, y(box.far), to - from + 0.3, y(box.near) - y(box.far) - (box.near > 0 ? 1 : 0));
      });
      brush.fillStyle = paint.ink;
      hour.from[box.zone].forEach((from, one) => {
        const begin = x(Math.max(from, hour.start_s));
        const until = x(Math.min(hour.to[box.zone][one], hour.end_s));
        brush.fillRect(begin, top - 5, Math.max(until - begin, 0.8), 3);
      });
    }
    hour.enter.forEach((_, visit) => {
      if (hour.aisle[visit] === aisle) drawTrack(brush, trackOf(scene, visit), x, y);
    });
    brush.fillStyle = paint.ink;
    brush.textAlign = "right";
    brush.fillText(aisles[aisle], LEFT_PX - 6, top + STRIP_PX / 2, LEFT_PX - 8);
    brush.fillStyle = paint.muted;
    brush.fillText(`${Math.round(lengths[aisle])} m`, LEFT_PX - 6, top + 10, LEFT_PX - 8);
  });
  brush.fillStyle = paint.ink;
  for (let quarter = 0; quarter <= 4; quarter++) {
    const time = hour.start_s + (quarter / 4) * (hour.end_s - hour.start_s);
    brush.textAlign = ["left", "center", "center", "center", "right"][quarter];
    brush.fillText(clockText(startIso, time).slice(4, 9), x(time), height - 4);
  }
  return { image: canvas, x, width, height };
}

/** A truck's line with a pale edge, heavy where its light was too low. */
function drawTrack(brush, points, x, y) {
  const line = (from, to, colour, wide) => {
    brush.strokeStyle = colour;
    brush.lineWidth = wide;
    brush.beginPath();
    points.slice(from, to + 1).forEach((it) => brush.lineTo(x(it.time), y(it.place)));
    brush.stroke();
  };
  brush.lineJoin = "round";
  line(0, points.length, EDGE, 3);
  line(0, points.length, TRUCK, 1.4);
  for (let from = 0; from < points.length; from++) {
    if (!points[from].isDim) continue;
    let to = from;
    while (to + 1 < points.length && points[to + 1].isDim) to++;
    line(from, Math.max(to, Math.min(from + 1, points.length - 1)), DIM, 3);
    from = to;
  }
}
