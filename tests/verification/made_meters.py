"""Meter files made here: a small site, weeks that it might live through, and the text of a meter.

Comes in: nothing.  Goes out: a scenario, simulated weeks, CSV text.  Weeks come from replications that no
prediction of a test uses, so that they are other traffic of the same site.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from functools import cache

import numpy as np

from sim.floor.layout import lay_out
from sim.scenario.schema import Scenario
from sim.verification.circuits import map_circuits
from sim.verification.predict import forecast
from tests.show.made_results import make_scenario

MONDAY = dt.datetime(2027, 3, 1)


@cache
def small_site(days: float = 7.0, replications: int = 10) -> Scenario:
    """Three aisles of 1 kW, a week; lights low at night, nobody works after ten."""
    return make_scenario(days=days, replications=replications)


@cache
def other_weeks(count: int, seed: int = 4711) -> np.ndarray:
    """Weeks of the same site with other traffic: kWh by hour of the week and aisle (count, 168, 3)."""
    scenario = small_site().model_copy(update={"seed": seed})
    circuits = map_circuits(lay_out(scenario), list(scenario.aisle_names), {})
    found, likes = forecast(scenario, circuits, [MONDAY.date()], replications=count)
    return found.samples(likes[MONDAY.date()])


def meter_text(
    columns: Mapping[str, Sequence[float]],
    start: dt.datetime = MONDAY,
    step_min: int = 60,
    leave_out: Sequence[int] = (),
    double: Sequence[int] = (),
) -> str:
    """Return a meter's file: local times without offset, one row per interval."""
    lines = [",".join(["time", *columns])]
    count = len(next(iter(columns.values())))
    for row in range(count):
        if row in leave_out:
            continue
        stamp = (start + dt.timedelta(minutes=step_min * row)).isoformat(timespec="minutes")
        line = ",".join([stamp, *(f"{float(values[row])!r}" for values in columns.values())])
        lines += [line] * (2 if row in double else 1)
    return "\n".join(lines) + "\n"
