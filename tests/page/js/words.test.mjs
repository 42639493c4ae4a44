// Words, numbers, the quick estimate and the settings' text against Python's; vectors from tests/page/test_node.py.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { aisleShares, quickEstimate } from "../../../sim/show/page/files/estimate.mjs";
import { changed } from "../../../sim/show/page/files/controls.mjs";
import * as numbers from "../../../sim/show/page/files/numbers.mjs";
import { settingsText } from "../../../sim/show/page/files/toml.mjs";

const { words, estimates, quick, settings } = JSON.parse(readFileSync(process.env.VECTORS, "utf8"));
const spaced = (text) => text.replaceAll("\u00a0", " ");

test("numbers are said as Python says them", () => {
  for (const [say, value, wanted] of words) {
    const given = Array.isArray(value) ? { mean: value[0], half: value[1] } : value;
    assert.equal(spaced(numbers[say](given)), wanted, `${say} ${value}`);
  }
});

test("means and half-widths are Python's", () => {
  for (const { values, quantile, mean, half } of estimates) {
    const found = numbers.estimateMean(values, quantile);
    assert.ok(Math.abs(found.mean - mean) <= 1e-12 * Math.abs(mean));
    assert.ok(half === null ? found.half === null : Math.abs(found.half - half) <= 1e-9 * half);
  }
});

test("the quick estimate is Python's", () => {
  for (const { inputs, options } of quick) {
    quickEstimate(inputs).forEach((option, place) => {
      for (const [key, wanted] of Object.entries(options[place])) {
        const found = option[key];
        if (typeof wanted === "number") assert.ok(Math.abs(found - wanted) <= 1e-9 * Math.abs(wanted), `${key} ${found} ${wanted}`);
        else assert.equal(found, wanted, key);
      }
    });
  }
});

test("shares of aisles add up", () => {
  for (const busiest of [0.2, 0.5, 0.99]) {
    assert.ok(Math.abs(aisleShares(17, busiest).reduce((sum, share) => sum + share, 0) - 1) < 1e-12);
  }
});

test("settings become the text that Python reads back", () => {
  assert.equal(settingsText(settings.values), settings.text);
});

test("levels stay in order, whichever is moved", () => {
  const own = { occupied_level: 0.9, unoccupied_level: 0.5, second_level: 0.3, second_delay_s: 60 };
  assert.deepEqual(changed(own, { occupied_level: 0.4 }), { ...own, occupied_level: 0.4, unoccupied_level: 0.4 });
  assert.deepEqual(changed(own, { unoccupied_level: 0.2 }), { ...own, unoccupied_level: 0.2, second_level: 0.2 });
  assert.deepEqual(changed(own, { unoccupied_level: 1 }), { ...own, unoccupied_level: 0.9 });
  assert.deepEqual(changed(own, { second_level: null, second_delay_s: null }), { ...own, second_level: null, second_delay_s: null });
});
