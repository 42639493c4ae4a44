"""The headline figures as rows of words, for the end of `run` and for the report.

Comes in: a `Result`.  Goes out: rows.  Before: `show/words/findings`; after: `show/words/tables`,
`show/reports/run`.
"""

from __future__ import annotations

from dataclasses import dataclass

from sim.results import Estimate, Result
from sim.show.words.amounts import about_one_in, count_of, digits, interval, percent_interval, time_interval
from sim.show.words.findings import (
    estimate_of,
    estimate_ratio,
    in_open_areas,
    knows_visits,
    savings,
    zone_day_rates,
)

__all__ = ["Group", "Row", "headline_groups"]


@dataclass(frozen=True)
class Row:
    """One figure: what, how much, and a remark that may be empty."""

    label: str
    value: str
    remark: str = ""


@dataclass(frozen=True)
class Group:
    """Figures that answer one question."""

    title: str
    rows: tuple[Row, ...]


def headline_groups(result: Result) -> tuple[Group, ...]:
    """Return the headline figures grouped by the question they answer."""
    groups = (
        Group("Energy and demand", _energy_rows(result)),
        Group("Trucks in dim light", _service_rows(result)),
        Group("Switching", _switching_rows(result)),
    )
    lost = "light_lost_min_per_shift" in result.headline
    return (*groups, Group("Drivers who react to the light", _driver_rows(result))) if lost else groups


def _mean_text(estimate: Estimate, unit: str = "") -> str:
    """The mean alone."""
    return interval(Estimate(estimate.mean, None), unit)


def _energy_rows(result: Result) -> tuple[Row, ...]:
    """Energy, savings, peak."""
    rows = [Row("energy used", interval(estimate_of(result, "energy_kwh"), "kWh"))]
    if result.layout.areas:
        full = f"of {_mean_text(in_open_areas(result, 'always_on_kwh'), 'kWh')} always on"
        rows.append(Row("of it in open areas", interval(in_open_areas(result, "energy_kwh"), "kWh"), full))
    for saving in savings(result):
        amount = f"{interval(saving.saved_kwh)} of {_mean_text(saving.baseline_kwh, 'kWh')}"
        rows.append(Row(f"saved against {saving.name}", percent_interval(saving.saved_share), amount))
    full = f"always on {_mean_text(estimate_of(result, 'always_on_peak_kw'), 'kW')}"
    rows.append(Row("highest quarter-hour load", interval(estimate_of(result, "peak_kw"), "kW"), full))
    return tuple(rows)


def _service_rows(result: Result) -> tuple[Row, ...]:
    """What trucks met."""
    if not knows_visits(result):
        return (Row("trucks", "not known", "no visits log"),)
    visits = estimate_of(result, "visits").mean or 0.0
    entries = estimate_of(result, "dim_entries")
    remark = f"in {count_of(round(visits), 'visit')}"
    if result.layout.zones_per_aisle == 1 and not result.layout.areas and visits > 0.0:
        share = about_one_in((entries.mean or 0.0) / visits).removeprefix("about ")
        remark = f"{share} of {count_of(round(visits), 'visit')}"
    per_visit = estimate_ratio(result, "dim_truck_s", "visits").mean or 0.0

    def time_row(label: str, name: str, remark: str = "") -> Row:
        return Row(label, time_interval(estimate_of(result, name)), remark)

    return (
        Row("trucks that entered at low", interval(entries), remark),
        time_row("truck time below occupied level", "dim_truck_s", f"{digits(per_visit)} s a visit"),
        time_row("same, weighted by missing light", "shortfall_truck_s"),
        Row("lights down on a truck inside", interval(estimate_of(result, "false_offs")), "false-offs"),
        time_row("longest dim spell of a visit", "dim_spell_max_s"),
        time_row("95 % of dim spells within", "dim_spell_p95_s"),
        time_row("wait at the mouth, per visit", "mouth_wait_mean_s"),
    )


def _driver_rows(result: Result) -> tuple[Row, ...]:
    """What drivers lost by slowing down and waiting."""
    waits = estimate_of(result, "light_waits")
    gave_up = f"{_mean_text(estimate_of(result, 'light_waits_given_up'))} went in without it"
    per_shift = interval(estimate_of(result, "light_lost_min_per_shift"), "min")
    return (
        Row("lost per driver, 8 h on duty", per_shift, "slowing down, waiting"),
        Row("lost by all drivers", interval(estimate_of(result, "light_lost_min"), "min")),
        Row("stops at a mouth for light", interval(waits), gave_up if waits.mean else ""),
    )


def _switching_rows(result: Result) -> tuple[Row, ...]:
    """How often lights changed, and where they were."""
    rate, _, _ = zone_day_rates(result, "switch_ups")
    lit_empty = estimate_of(result, "lit_empty_h")
    empty = "" if lit_empty.mean is None else f"{_mean_text(lit_empty, 'h')} high with no truck"
    return (
        Row(
            "up, by a detection",
            interval(estimate_of(result, "switch_ups")),
            f"{_mean_text(rate)} a zone and day",
        ),
        Row("down, by a timeout", interval(estimate_of(result, "switch_downs"))),
        Row("changes by the timetable", interval(estimate_of(result, "timetable_changes"))),
        Row("zone-hours at low", interval(estimate_of(result, "time_at_low_h"), "h"), empty),
    )
