// From outcomes to the rows and sentences that the page shows. Pure: no document.

import { estimateMean, interval, percentInterval, timeInterval } from "./numbers.mjs";

const YEAR_DAYS = 365;
const ROUNDING = 1e-12;

/**
 * Return what is shown, one entry a figure: group, key, label, values by replication (null: a price is missing), and how to say an estimate.
 * `money` holds per_kwh and g_per_kwh, null where they are not known.
 */
export function figureRows(page, site, outcome, money) {
  const { total } = outcome;
  const days = page.days;
  const each = (value) => site.runs.map((run, place) => value(run, place));
  const rate = (name, scale) => Array.from(total[name], (value) => value * scale);
  const rows = [];
  const add = (group, key, label, values, say, hint = "", missing = "") => (
    rows.push({ group, key, label, values, say, hint, missing }));

  const energy = "Energy and demand";
  add(energy, "saved_share", "saved against always on",
    each((run, place) => 1 - total.energy_kwh[place] / run.always_on_kwh), percentInterval);
  add(energy, "code_share", "saved against the code minimum",
    each((run, place) => 1 - total.energy_kwh[place] / run.code_minimum_kwh), percentInterval,
    "half the power 20 minutes after an aisle's last motion");
  add(energy, "energy_kwh_per_day", "energy a day", rate("energy_kwh", 1 / days), (it) => interval(it, "kWh"));
  // a calendar year of the run's weeks where it has whole ones, else 365 of its days
  const year = outcome.year.kwh ?? rate("energy_kwh", YEAR_DAYS / days);
  const whole = page.year === null ? null : site.connected_kw * page.year.kwh.reduce((sum, hours) => sum + hours, 0);
  const alwaysOn = each((run) => whole ?? run.always_on_kwh * (YEAR_DAYS / days));
  let cost = outcome.year.money ?? null;
  let fullCost = null;
  if (cost !== null) fullCost = site.connected_kw * page.year.money.reduce((sum, weight) => sum + weight, 0);
  else if (money.per_kwh !== null) cost = Array.from(year, (kwh) => kwh * money.per_kwh);
  const saved = cost === null ? null
    : each((run, place) => (fullCost ?? alwaysOn[place] * money.per_kwh) - cost[place]);
  const sayMoney = (it) => interval(it, page.currency);
  add(energy, "cost_per_year", "cost of a year of such weeks", cost === null ? null : Array.from(cost), sayMoney,
    page.year?.money ? "energy by the hour; demand charges and fees stand in the report" : "", "needs a price");
  add(energy, "saved_per_year", "saved a year against always on", saved, sayMoney, "", "needs a price");
  add(energy, "carbon_kg_per_year", "CO₂ of a year of such weeks",
    money.g_per_kwh === null ? null : Array.from(year, (kwh) => kwh * (money.g_per_kwh / 1000)), (it) => interval(it, "kg"),
    "", "needs a factor");
  add(energy, "peak_kw", "demand: highest quarter-hour", Array.from(total.peak_kw), (it) => interval(it, "kW"));
  add(energy, "peak_share", "demand below always on", rate("peak_kw", 1 / site.connected_kw).map((share) => (1 - share < ROUNDING ? 0 : 1 - share)), percentInterval, "all luminaires at full level at once");

  if (outcome.knows) {
    const service = "Trucks in dim light";
    add(service, "dim_truck_s_per_day", "dim truck-time a day", rate("dim_truck_s", 1 / days), timeInterval,
      "below the occupied level");
    add(service, "shortfall_truck_s_per_day", "shortfall a day", rate("shortfall_truck_s", 1 / days), timeInterval,
      "the same, weighted by the missing share of light");
    add(service, "dim_entries_per_day", "trucks a day that enter at low", rate("dim_entries", 1 / days), (it) => interval(it));
    add(service, "false_offs_per_day", "false-offs a day", rate("false_offs", 1 / days), (it) => interval(it),
      "lights that go down on a truck");
  }
  const switching = "Switching";
  const zoneHours = site.zones.length * page.run_h;
  add(switching, "switch_ups_per_zone_hour", "switch-ups per zone-hour", rate("switch_ups", 1 / zoneHours), (it) => interval(it));
  if (outcome.knows) {
    add(switching, "lit_empty_share", "zone-time lit with no truck", rate("lit_empty_h", 1 / zoneHours), percentInterval,
      "energy still to win");
  }
  return rows;
}

/** Return a figure's mean and interval in words. */
export function figureText(page, row) {
  return row.values === null ? row.missing : row.say(estimateMean(row.values, page.t_quantile));
}

/** Return the difference of the same figure in two settings, both known, paired by replication, in words. */
export function differenceText(page, one, other) {
  const difference = estimateMean(other.values.map((value, place) => value - one.values[place]), page.t_quantile);
  return one.say === percentInterval ? interval(difference, "points", 100) : one.say(difference);
}

/** Return the plain sentences. */
export function sentences(page, site, outcome) {
  const saved = estimateMean(
    site.runs.map((run, place) => 1 - outcome.total.energy_kwh[place] / run.always_on_kwh), page.t_quantile,
  );
  const said = [`These settings save ${percentInterval(saved)} of the energy of lights that are always on.`];
  if (!outcome.knows) return said;
  const counts = site.shifts.map((shift, place) => {
    const mean = (rows) => rows.reduce((sum, row) => sum + row[place], 0) / rows.length / shift.spans.length;
    return { label: shift.label, all: mean(site.runs.map((run) => run.shift_entries)), dim: mean(outcome.shiftEntries) };
  });
  const busiest = counts.reduce((best, one) => (one.all > best.all ? one : best));
  const when = busiest.label === "" ? "In an average day" : `In an average shift from ${busiest.label}`;
  const all = Math.round(busiest.all).toLocaleString("en-US");
  const dim = busiest.dim > 0 && busiest.dim < 0.5 ? "fewer than 1" : Math.round(busiest.dim).toLocaleString("en-US");
  const verb = ["1", "fewer than 1"].includes(dim) ? "meets" : "meet";
  const isCut = site.zones.length > site.aisles.length || site.open_areas > 0;
  const what = isCut ? "entries into a zone" : "visits";
  said.unshift(`${when}, ${dim} of ${all} ${what} ${verb} a light that is still low.`);
  return said;
}
