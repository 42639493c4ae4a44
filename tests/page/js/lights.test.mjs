// The page's own replay against figures that Python found; the vectors come from tests/page/test_node.py.

import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { evaluate } from "../../../sim/show/page/files/books.mjs";
import { unpackColumns, unpackSite } from "../../../sim/show/page/files/unpack.mjs";

const { cases, packed } = JSON.parse(readFileSync(process.env.VECTORS, "utf8"));
const COUNTS = new Set(["dim_entries", "false_offs", "switch_ups", "switch_downs", "timetable_changes"]);

/** Counts exactly, the rest to 1e-9 or a microsecond [s], a joule's thousandth [kWh]. */
function agrees(name, found, wanted) {
  if (wanted === undefined) return true; // trucks that nobody knows
  if (COUNTS.has(name)) return found === wanted;
  return Math.abs(found - wanted) <= Math.max(1e-9 * Math.abs(wanted), name.endsWith("_s") ? 1e-6 : 1e-9);
}

test("every outcome of every choice is Python's", async () => {
  const wrong = [];
  for (const [number, { page, choices }] of cases.entries()) {
    const site = await unpackSite(page.variants[0]);
    for (const [place, { settings, found }] of choices.entries()) {
      const { total, shiftEntries } = evaluate(site, settings);
      // these sites have no crews: the days share all entries out
      const byDay = shiftEntries[0].reduce((sum, entries) => sum + entries, 0);
      if (byDay !== total.dim_entries[0]) wrong.push(`case ${number} choice ${place}: ${byDay} entries by day`);
      for (const [name, values] of Object.entries(total)) {
        if (!agrees(name, values[0], found[name])) {
          wrong.push(`case ${number} choice ${place} ${name}: ${values[0]}, by Python ${found[name]}`);
        }
      }
    }
  }
  assert.deepEqual(wrong.slice(0, 20), []);
});

test("columns come back bit for bit", async () => {
  for (const { columns, text } of packed) {
    const found = await unpackColumns(text);
    assert.deepEqual(found.map((column) => Array.from(new BigUint64Array(column.buffer), String)), columns);
  }
});
