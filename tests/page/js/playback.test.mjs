// The playback's places and levels against those of Python; the vectors come from tests/page/test_playback.py.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { glowSite } from "../../../sim/show/page/files/glow.mjs";
import { isDimAt, levelAt, placeAt } from "../../../sim/show/page/files/motion.mjs";
import { clockText, rampColour } from "../../../sim/show/page/files/playback.mjs";
import { unpackHour, unpackSite } from "../../../sim/show/page/files/unpack.mjs";

const { site: packed, places, lights, clocks } = JSON.parse(readFileSync(process.env.VECTORS, "utf8"));

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

test("the clock and the scale of light", () => {
  for (const [start, seconds, text] of clocks) assert.equal(clockText(start, seconds), text);
  assert.equal(rampColour(0), "rgb(65 76 88)");
  assert.equal(rampColour(1), "rgb(255 248 227)");
});
