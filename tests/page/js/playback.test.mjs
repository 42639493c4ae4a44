// The playback's places and levels against those of Python; the vectors come from tests/page/test_playback.py.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { glowSite } from "../../../sim/show/page/files/glow.mjs";
import { isDimAt, levelAt, placeAt } from "../../../sim/show/page/files/motion.mjs";
import { clockText, rampColour } from "../../../sim/show/page/files/paint.mjs";
import { trucksAt } from "../../../sim/show/page/files/plan.mjs";
import { unpackHour, unpackSite } from "../../../sim/show/page/files/unpack.mjs";

const { site: packed, places, lights, trucks, clocks, ramp } = JSON.parse(readFileSync(process.env.VECTORS, "utf8"));

test("trucks are where Python has them", async () => {
  const hours = await Promise.all(packed.playback.hours.map(unpackHour));
  for (const [number, visit, time, place] of places) {
    assert.ok(Math.abs(placeAt(hours[number], visit, time) - place) <= 1e-9, `hour ${number} visit ${visit} at ${time}`);
  }
});

test("zones are as bright as Python has them", async () => {
  const site = await unpackSite(packed);
  for (const { settings, hour, samples } of lights) {
    const { start_s: from, end_s: to } = packed.playback.hours[hour];
    const glow = glowSite(site, settings, 0, from, to);
    for (const [zone, time, level, isDim] of samples) {
      assert.ok(Math.abs(levelAt(glow[zone], time) - level) <= 1e-9, `hour ${hour} zone ${zone} at ${time}`);
      assert.equal(isDimAt(glow[zone], time), isDim);
    }
  }
});

test("all trucks are there, in the light that Python finds", async () => {
  const site = await unpackSite(packed);
  const hours = await Promise.all(packed.playback.hours.map(unpackHour));
  const boxes = packed.playback.boxes.map(([aisle, zone, across, near, far, width]) => ({ aisle, zone, across, near, far, width }));
  const scenes = hours.map((hour) => (
    { hour, boxes, widthM: packed.playback.width_m, glow: glowSite(site, packed.settings, 0, hour.start_s, hour.end_s) }));
  const inOrder = (rows) => rows.sort((one, other) => one[0] - other[0] || one[1] - other[1]);
  for (const [number, time, wanted] of trucks) {
    const found = inOrder(trucksAt(scenes[number], time).map(({ across, along, inAisle, light }) => [across, along, inAisle, light]));
    assert.equal(found.length, wanted.length, `hour ${number} at ${time}`);
    inOrder(wanted).forEach(([across, along, ...rest], place) => {
      const [foundAcross, foundAlong, ...foundRest] = found[place];
      assert.ok(Math.hypot(foundAcross - across, foundAlong - along) <= 1e-9, `hour ${number} at ${time}`);
      assert.deepEqual(foundRest, rest, `hour ${number} at ${time}`);
    });
  }
});

test("the clock and the scale of light", () => {
  for (const [start, seconds, text] of clocks) assert.equal(clockText(start, seconds), text);
  for (const [level, colour] of ramp) assert.equal(rampColour(level), colour);
});
