"""A year of load from a run: its weeks over the calendar, its baseline beside it, cooling included.

Comes in: a `Result`, a calendar year.  Goes out: loads by quarter-hour (n,), the kinds of weeks, duration
curves.  Before: `outcome/year_load`, `study/year/special_weeks`; after: `study/year/money`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sim.lighting.power import power_curve
from sim.lighting.timetable import Program, place_programs
from sim.outcome.year_load import (
    QUARTERS_A_WEEK,
    Baseline,
    BoolColumn,
    YearClock,
    baseline_kw,
    repeat_weeks,
)
from sim.records import FloatColumn
from sim.results import Outcomes, Result
from sim.scenario.schema import Scenario
from sim.study.year.special_weeks import in_weeks, special_scenario

__all__ = ["TYPICAL", "duration_curve", "interactive_factor", "week_kinds", "year_loads"]

TYPICAL = "typical"
"""Name of the run's own weeks beside special ones."""


def interactive_factor(scenario: Scenario) -> float:
    """Return how often each lighting kWh counts: 1, or 1 + 1/COP where its heat is pumped out of a store.

    Where only some aisles are in the store, the mean over the connected power.
    """
    store = scenario.store
    if store is None or store.cooling_cop is None:
        return 1.0
    watts = {name: _full_w(scenario, name) for name in scenario.lit_names}
    inside = sum(watts[name] for name in store.aisles or scenario.lit_names)
    return 1.0 + inside / sum(watts.values()) / store.cooling_cop


def _full_w(scenario: Scenario, name: str) -> float:
    """Power of an aisle's or an open area's luminaires at full level."""
    lamps = scenario.luminaires_of(name)
    return lamps.per_aisle * power_curve(lamps).full_w


def _cooled(result: Result, outcome: Outcomes, name: str) -> float:
    """How often each kWh of one outcome counts: 1 + the part in the cold store over its COP."""
    store = result.scenario.store
    by_zone = outcome.zones[name]
    if store is None or store.cooling_cop is None or not by_zone.any():
        return 1.0
    names = store.aisles or result.scenario.lit_names
    # of a group of aisles, the part of its luminaires that is in the store
    watts = [{name: _full_w(result.scenario, name) for name in homes} for _, homes in result.scenario.places]
    inside = np.array(
        [sum(one for name, one in full.items() if name in names) / sum(full.values()) for full in watts]
    )
    part = inside[result.layout.zone_place]
    return 1.0 + float((by_zone * part).sum() / by_zone.sum()) / store.cooling_cop


def year_loads(
    result: Result, number: int, baseline: Baseline, clock: YearClock
) -> tuple[FloatColumn, FloatColumn]:
    """Return one replication over the year: these settings, the baseline [kW] (n,) each.

    Parameters
    ----------
    result : of a run of at least a whole week
    number : place of the replication
    baseline : its name
    clock : the year
    """
    here, base = _repeated(result, result.outcomes[number], result.programs, baseline, clock)
    for weeks in result.scenario.year_weeks or () if result.special else ():
        inside = in_weeks(weeks, clock)
        programs = place_programs(special_scenario(result.scenario, weeks))
        outcome = result.special[weeks.name][number]
        there, base_there = _repeated(result, outcome, programs, baseline, clock)
        here, base = np.where(inside, there, here), np.where(inside, base_there, base)
    return here, base


def _repeated(
    result: Result, outcome: Outcomes, programs: Sequence[Program], baseline: Baseline, clock: YearClock
) -> tuple[FloatColumn, FloatColumn]:
    """One kind of week over the whole year: these settings, the baseline [kW] (n,) each, cooling included."""
    start = result.scenario.start_datetime
    quarters = len(outcome.quarter_kw) // QUARTERS_A_WEEK * QUARTERS_A_WEEK
    here = _cooled(result, outcome, "energy_kwh") * outcome.quarter_kw[:quarters]
    base = baseline_kw(baseline, result.layout, programs, outcome.hours["code_minimum_kwh"], quarters)
    base = _cooled(result, outcome, f"{baseline}_kwh") * base
    return repeat_weeks(here, start, clock), repeat_weeks(base, start, clock)


def week_kinds(result: Result, clock: YearClock) -> list[tuple[str, BoolColumn]]:
    """Return the kinds of weeks by name with their quarter-hours (n,); the run's own first."""
    special = [(weeks.name, in_weeks(weeks, clock)) for weeks in result.scenario.year_weeks or ()]
    special = special if result.special else []
    rest = np.ones(len(clock), dtype=np.bool_)
    for _, inside in special:
        rest &= ~inside
    return [(TYPICAL, rest), *special]


def duration_curve(loads: Sequence[FloatColumn], besides_kw: FloatColumn | float = 0.0) -> FloatColumn:
    """Return loads from the highest to the lowest, mean over replications [kW] (n,).

    Parameters
    ----------
    loads : of each replication (n,)
    besides_kw : what else runs behind the same meter (n,)
    """
    return np.asarray(np.mean([np.sort(one + besides_kw)[::-1] for one in loads], axis=0), dtype=np.float64)
