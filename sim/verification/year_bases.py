"""The proposal and its baselines over a year, on the same traffic.

Comes in: a `Result`.  Goes out: loads by quarter-hour of a year (n,), for each replication.  Before:
`study/year/special_weeks`, `outcome/year_load`; after: `verification/worksheet`.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

import numpy as np

from sim.errors import InputError
from sim.floor.layout import Layout
from sim.lighting.power import power_curve
from sim.lighting.timetable import place_programs
from sim.outcome.year_load import QUARTERS_A_WEEK, YearClock, baseline_kw, repeat_weeks, year_clock
from sim.records import FloatColumn
from sim.results import Outcomes, Result
from sim.scenario.schema import Scenario
from sim.study.year.money import interactive_factor
from sim.study.year.special_weeks import in_weeks, special_scenario

__all__ = ["year_loads"]

_WEEK_D = 7.0
_LoadOf = Callable[[Scenario, Outcomes], FloatColumn]


def year_loads(result: Result) -> tuple[YearClock, dict[str, list[FloatColumn]]]:
    """Return the year and every load in it, heat that is pumped out of a store included.

    Parameters
    ----------
    result : of at least a whole week that starts on a quarter-hour

    Returns
    -------
    the calendar year; by name a load for each replication [kW] (n,): settings, always_on, trim (each aisle at
    its highest occupied level), timetable (occupied levels without skylights), schedule_only (occupied levels
    as they are), code_minimum

    Raises
    ------
    InputError : the run is too short, or starts off the clock's quarter-hours
    """
    scenario, layout = result.scenario, result.layout
    _check_span(scenario)
    chosen = None if scenario.year is None else scenario.year.of
    clock = year_clock(scenario.start_datetime.year if chosen is None else chosen)
    heat = interactive_factor(scenario)
    kinds: dict[str, _LoadOf] = {
        "settings": lambda _, outcome: outcome.quarter_kw[: _quarters(outcome)],
        "always_on": lambda made, outcome: _base("always_on", layout, made, outcome),
        "trim": lambda made, outcome: _trimmed(layout, made, outcome),
        "timetable": lambda made, outcome: _base("schedule_only", layout, _roofed(made), outcome),
        "schedule_only": lambda made, outcome: _base("schedule_only", layout, made, outcome),
        "code_minimum": lambda made, outcome: _base("code_minimum", layout, made, outcome),
    }
    return clock, {
        name: [heat * _over_year(result, number, clock, load_of) for number in range(len(result.outcomes))]
        for name, load_of in kinds.items()
    }


def _check_span(scenario: Scenario) -> None:
    """A year is made of whole weeks on the clock's quarter-hours."""
    start = scenario.start_datetime
    if scenario.days < _WEEK_D:
        raise InputError(f"days: {scenario.days:g}: a worksheet speaks of a year and needs at least 7 [d]")
    if start.minute % 15 or start.second or start.microsecond:
        raise InputError(f"start: {start:%H:%M:%S} is not on a quarter-hour, as a worksheet needs")


def _quarters(outcome: Outcomes) -> int:
    """Quarter-hours of the run's whole weeks."""
    return len(outcome.quarter_kw) // QUARTERS_A_WEEK * QUARTERS_A_WEEK


def _over_year(result: Result, number: int, clock: YearClock, load_of: _LoadOf) -> FloatColumn:
    """One replication over the year, special weeks as what they are [kW] (n,)."""
    scenario = result.scenario
    start = scenario.start_datetime
    load = repeat_weeks(load_of(scenario, result.outcomes[number]), start, clock)
    for weeks in (scenario.year_weeks or ()) if result.special else ():
        there = load_of(special_scenario(scenario, weeks), result.special[weeks.name][number])
        load = np.where(in_weeks(weeks, clock), repeat_weeks(there, start, clock), load)
    return load


def _base(
    name: Literal["always_on", "schedule_only", "code_minimum"],
    layout: Layout,
    scenario: Scenario,
    outcome: Outcomes,
) -> FloatColumn:
    """Load of a baseline over the run's whole weeks [kW]."""
    programs = place_programs(scenario)
    return baseline_kw(name, layout, programs, outcome.hours["code_minimum_kwh"], _quarters(outcome))


def _roofed(scenario: Scenario) -> Scenario:
    """The scenario without its skylight."""
    return scenario if scenario.skylight is None else scenario.model_copy(update={"skylight": None})


def _trimmed(layout: Layout, scenario: Scenario, outcome: Outcomes) -> FloatColumn:
    """Load where each aisle burns at its highest occupied level in every hour [kW]."""
    programs = place_programs(_roofed(scenario))
    watts = 0.0
    for zone, place in enumerate(layout.zone_place.tolist()):
        curve = power_curve(layout.place_luminaires[place])
        highest = float(curve.at(float(programs[place].occupied.max())))
        watts += float(layout.dimmed[zone]) * highest + float(layout.fixed[zone]) * curve.full_w
    return np.full(_quarters(outcome), watts / 1000.0)
