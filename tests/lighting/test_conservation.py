"""What must add up in every replay, whatever the settings: time, energy, switching, hours and zones.

Each law is a function that gives a list of violations; negative controls spoil an answer and must show.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sim.outcome.names import OUTCOMES
from sim.results import Levels
from sim.scenario.schema import Scenario
from tests.lighting.engines import ALWAYS, Answer, by_program, run_program, site
from tests.lighting.strategies import Example, examples
from tests.naive import Row
from tests.naive_commands import periods_of

MANY = settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
EITHER = st.booleans().flatmap(examples)


def is_near(one: float, other: float) -> bool:
    """Compare to 1e-9."""
    return math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-9)


def sums_that_do_not_add_up(answer: Answer) -> Iterator[str]:
    """Zones and hours add up to totals."""
    for name, outcome in OUTCOMES.items():
        total = answer.total[name]
        if not outcome.is_additive or total is None:
            continue
        if not is_near(sum(row[name] or 0.0 for row in answer.hours), total):
            yield f"hours of {name}"
        if not is_near(sum(row[name] or 0.0 for row in answer.zones.values()), total):
            yield f"zones of {name}"


def rows_out_of_bounds(scenario: Scenario, answer: Answer) -> Iterator[str]:
    """Saved is always on less energy; no row uses more than always on or less than the lowest level."""
    rows: dict[str, Row] = {"total": answer.total, **answer.zones}
    rows |= {f"hour {number}": row for number, row in enumerate(answer.hours)}
    for place, row in rows.items():
        known = {name: value for name, value in row.items() if value is not None}
        energy, always = known["energy_kwh"], known["always_on_kwh"]
        if not is_near(known["saved_kwh"], always - energy):
            yield f"{place}: saved"
        if not (0.0 <= energy <= always * (1 + 1e-9) + 1e-12):
            yield f"{place}: energy"
        if not always * 0.5 * (1 - 1e-9) <= known["code_minimum_kwh"] <= always * (1 + 1e-9):
            yield f"{place}: code minimum"
        if known["schedule_only_kwh"] > always * (1 + 1e-9):
            yield f"{place}: schedule only"
        if not 0.0 <= known["time_at_zero_h"] <= known["time_at_low_h"] * (1 + 1e-9) + 1e-12:
            yield f"{place}: time"
        if known["peak_kw"] > known["always_on_peak_kw"] * (1 + 1e-9):
            yield f"{place}: peak"
        if known.get("shortfall_truck_s", 0.0) > known.get("dim_truck_s", 0.0) * (1 + 1e-9) + 1e-9:
            yield f"{place}: shortfall"
        if known.get("false_offs", 0.0) > known["switch_downs"]:
            yield f"{place}: false-offs"
    lowest = energy_at_lowest_level(scenario)
    if answer.total["energy_kwh"] < lowest * (1 - 1e-9):  # type: ignore[operator]
        yield "total: below the lowest level"


def energy_at_lowest_level(scenario: Scenario) -> float:
    """Energy [kWh] with every dimmed luminaire at the lowest level that any setting names."""
    level = min(
        level
        for one in scenario.lighting.settings.values()
        for level in (one.occupied_level, one.unoccupied_level, one.second_level)
        if level is not None
    )
    watts = 0.0
    for aisle in scenario.aisle_names:
        lamps = scenario.luminaires_of(aisle)
        curve = lamps.power_curve or ((0.0, lamps.standby_w), (1.0, lamps.full_w))
        power = float(np.interp(level, [row[0] for row in curve], [row[1] for row in curve]))
        watts += lamps.fixed_on * lamps.full_w + (lamps.per_aisle - lamps.fixed_on) * power
    return watts * scenario.duration_s / 3.6e6


def unbalanced_switching(scenario: Scenario, levels: Levels, row: Row, aisle: str) -> Iterator[str]:
    """Changes of state are switch-ups and switch-downs, or they lie on a border; the run begins low."""
    states = levels.is_high
    borders = {period.begin for period in periods_of(scenario, aisle)[1:]}
    ups = downs = 0
    before = False
    for start, is_high in zip(levels.start.tolist(), states.tolist(), strict=True):
        if is_high != before and start not in borders:
            ups, downs = ups + is_high, downs + before
        before = is_high
    if ups != row["switch_ups"]:
        yield f"{ups} changes to high off the borders, {row['switch_ups']} switch-ups"
    if downs != row["switch_downs"]:
        yield f"{downs} changes to low off the borders, {row['switch_downs']} switch-downs"


@given(EITHER)
@MANY
def test_zones_and_hours_add_up_and_stay_in_bounds(one: Example) -> None:
    answer = by_program(one.scenario, one.motion, one.visits, one.stays)
    assert list(sums_that_do_not_add_up(answer)) == []
    assert list(rows_out_of_bounds(one.scenario, answer)) == []
    # each quarter-hour's mean load over 900 s is its energy
    assert is_near(sum(answer.quarter_kw) * 900.0 / 3600.0, answer.total["energy_kwh"])
    assert answer.total["peak_kw"] == max(answer.quarter_kw)


@given(EITHER)
@MANY
def test_high_and_low_are_all_the_time_there_is(one: Example) -> None:
    # with visits known and none made, every second at high is lit empty
    answer = by_program(one.scenario, one.motion, [], [])
    lengths = [min(3600.0, one.scenario.duration_s - 3600.0 * k) / 3600.0 for k in range(len(answer.hours))]
    for row in answer.zones.values():
        assert is_near(row["time_at_low_h"] + row["lit_empty_h"], one.scenario.duration_s / 3600.0)
    for row, length in zip(answer.hours, lengths, strict=True):
        assert is_near(row["time_at_low_h"] + row["lit_empty_h"], length * len(answer.zones))


@given(EITHER)
@MANY
def test_switching_balances_with_borders(one: Example) -> None:
    _, look = run_program(one.scenario, one.motion, None, None)
    answer = by_program(one.scenario, one.motion)
    for (name, row), levels in zip(answer.zones.items(), look.levels, strict=True):
        assert list(unbalanced_switching(one.scenario, levels, row, name.split(".")[0])) == []
        assert levels.start[0] == 0.0
        assert levels.end[-1] == one.scenario.duration_s
        assert np.array_equal(levels.start[1:], levels.end[:-1])


@given(EITHER)
@MANY
def test_switching_balances_in_one_period(one: Example) -> None:
    single = one.scenario.model_copy(update={"timetable": site(timetable=ALWAYS).timetable})
    _, look = run_program(single, one.motion, None, None)
    answer = by_program(single, one.motion)
    for row, levels in zip(answer.zones.values(), look.levels, strict=True):
        # as many up as down, and one more up where the run ends high
        assert row["switch_ups"] - row["switch_downs"] == bool(levels.is_high[-1])
        assert row["timetable_changes"] == 0


@pytest.mark.parametrize("name", ["energy_kwh", "time_at_low_h", "switch_ups", "dim_truck_s", "visits"])
def test_a_spoilt_total_does_not_add_up(name: str) -> None:
    """Negative control."""
    answer = by_program(site(), [("A01", 3500.0, 3560.0)], [("A01", 3500.0, 3700.0, 3500.0)])
    assert list(sums_that_do_not_add_up(answer)) == []
    spoilt = replace(answer, total=answer.total | {name: answer.total[name] + 1e-3})
    assert list(sums_that_do_not_add_up(spoilt)) == [f"hours of {name}", f"zones of {name}"]


def test_energy_out_of_bounds_is_found() -> None:
    """Negative control: energy above always on, and below the lowest level."""
    answer = by_program(site(), [])
    for energy in (1.3, 0.2):  # always on 1.2 kWh, lowest level 0.24 kWh
        spoilt = replace(answer, total=answer.total | {"energy_kwh": energy, "saved_kwh": 1.2 - energy})
        assert len(list(rows_out_of_bounds(site(), spoilt))) == 1


def test_a_switch_too_many_is_found() -> None:
    """Negative control: a switch-down counted at a border."""
    scenario, motion = site(), [("A01", 100.0, 160.0)]
    _, look = run_program(scenario, motion, None, None)
    row = by_program(scenario, motion).total
    assert list(unbalanced_switching(scenario, look.levels[0], row, "A01")) == []
    assert list(unbalanced_switching(scenario, look.levels[0], row | {"switch_downs": 2.0}, "A01"))
