// The plan at an instant: zones as bright as they are, trucks where they are, in the aisles and around them.

import { isDimAt, lastUpTo, levelAt, openPlaceAt, placeAt } from "./motion.mjs";
import { FOOT_PX, brushOf, colours, drawTruck, rampColour, zoneAt } from "./paint.mjs";

const PLAN_EDGE_PX = 7;

/** The open area that a place outside the aisles lies in: closed towards the first aisle and the doors. */
function areaAt(boxes, widthM, across, along) {
  return boxes.find((box) => {
    const right = box.across + box.width / 2;
    return box.aisle < 0 && box.across - box.width / 2 <= across && (across < right || right >= widthM - 1e-6)
      && box.near <= along && along < box.far;
  });
}

/** Trucks at an instant: {across, along, light}; light is "dim" or "lit", "unknown" where none is simulated. */
export function trucksAt(scene, time) {
  const { hour, boxes, glow, widthM } = scene;
  const found = [];
  const lightOf = (zone) => (isDimAt(glow[zone], time) ? "dim" : "lit");
  for (let row = 0; hour.open !== null && row < hour.open.start.length; row++) {
    if (!(hour.open.start[row] <= time && time < hour.open.end[row])) continue;
    const [across, along] = openPlaceAt(hour.open, row, time);
    const area = areaAt(boxes, widthM, across, along);
    found.push({ across, along, inAisle: false, light: area === undefined ? "unknown" : lightOf(area.zone) });
  }
  hour.enter.forEach((enter, visit) => {
    if (!(enter <= time && time < hour.leave[visit])) return;
    const aisle = hour.aisle[visit];
    const along = placeAt(hour, visit, time);
    const { across } = boxes.find((box) => box.aisle === aisle);
    found.push({ across, along, inAisle: true, light: lightOf(zoneAt(boxes, aisle, along)) });
  });
  return found;
}

/** What the plan covers [m]: zones, and the floor around them where trucks are known there. */
function planBounds({ hour, boxes, widthM, depthM }) {
  const bounds = {
    left: Math.min(...boxes.map((box) => box.across - box.width / 2)),
    right: Math.max(...boxes.map((box) => box.across + box.width / 2)),
    low: Math.min(...boxes.map((box) => box.near)),
    high: Math.max(...boxes.map((box) => box.far)),
  };
  if (hour.open === null) return bounds;
  return { left: Math.min(bounds.left, 0), right: Math.max(bounds.right, widthM), low: Math.min(bounds.low, -depthM), high: bounds.high };
}

/** Draw the plan at an instant; return what is on it. */
export function drawPlan(canvas, scene, time) {
  const { hour, boxes, glow, aisles } = scene;
  const paint = colours();
  const { brush, width, height } = brushOf(canvas, scene.height);
  const { left, right, low, high } = planBounds(scene);
  const scale = (width - 2 * PLAN_EDGE_PX) / (right - left);
  const x = (across) => PLAN_EDGE_PX + (across - left) * scale;
  const y = (along) => FOOT_PX + (1 - (along - low) / (high - low)) * (height - 2 * FOOT_PX);
  brush.clearRect(0, 0, width, height);
  if (hour.open !== null) drawDoors(brush, paint, scene, x, y);
  const seen = [];
  for (const box of boxes) {
    const area = [x(box.across - box.width / 2), y(box.far), box.width * scale, y(box.near) - y(box.far)];
    brush.fillStyle = rampColour(levelAt(glow[box.zone], time));
    brush.fillRect(...area);
    brush.strokeStyle = paint.muted;
    brush.lineWidth = 0.6;
    brush.strokeRect(...area);
    const last = lastUpTo(hour.from[box.zone], time);
    if (last >= 0 && time <= hour.to[box.zone][last] + scene.seenFor) seen.push(area);
  }
  for (const area of seen) { // with an edge of its own, so that it shows on light and on the page
    brush.strokeStyle = paint.paper;
    brush.lineWidth = 5;
    brush.strokeRect(...area);
    brush.strokeStyle = paint.ink;
    brush.lineWidth = 2.5;
    brush.strokeRect(...area);
  }
  const trucks = trucksAt(scene, time);
  for (const { across, along, light } of trucks) drawTruck(brush, x(across), y(along), light);
  const centres = aisles.map((_, aisle) => boxes.find((box) => box.aisle === aisle).across);
  brush.fillStyle = paint.ink;
  [0, aisles.length - 1].slice(0, aisles.length).forEach((aisle, end) => {
    brush.textAlign = end === 0 ? "left" : "right";
    brush.fillText(aisles[aisle], end === 0 ? Math.max(3, x(centres[aisle]) - 8) : Math.min(width - 3, x(centres[aisle]) + 8), FOOT_PX - 7, width / 2 - 8);
  });
  const known = trucks.filter(({ light }) => light !== "unknown");
  return {
    inAisles: trucks.filter(({ inAisle }) => inAisle).length,
    outside: trucks.filter(({ inAisle }) => !inAisle).length,
    dim: known.filter(({ light }) => light === "dim").length,
    zones: glow.filter((light) => !isDimAt(light, time)).length,
  };
}

/** The wall with its doors, below the fronts of the aisles. */
function drawDoors(brush, paint, { widthM, depthM, doors }, x, y) {
  brush.fillStyle = paint.muted;
  brush.fillRect(x(0), y(-depthM), x(widthM) - x(0), 1);
  for (const door of doors) brush.fillRect(x(door) - 3, y(-depthM) - 1.5, 6, 4);
  brush.textAlign = "left";
  brush.fillText(doors.length === 1 ? "door" : "doors", Math.max(3, x(doors[0]) - 8), y(-depthM) + FOOT_PX - 5);
}
