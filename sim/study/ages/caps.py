"""Daylight in the age view: a name of settings under a cap is a name of its own.

Comes in: a scenario with skylights.  Goes out: names for "these settings under this cap".  Before:
`lighting/daylight`; after: `study/ages/plan`, which caps the levels of every choice, and
`study/ages/evaluate`, which lays such names into the week.  A cap changes at whole hours, so that it is one
more reason for a border and nothing else: what holds for any timetable holds for this one.
"""

from __future__ import annotations

from sim.lighting.daylight import hour_caps, skylight_caps
from sim.scenario.schema import Scenario

__all__ = ["capped_name", "caps_of_run", "is_under_skylight"]


def capped_name(name: str, cap: float) -> str:
    """Name settings under a cap; no name for settings holds a bar.

    >>> capped_name("day", 0.5)
    'day|0.5'
    """
    return f"{name}|{cap!r}"


def is_under_skylight(scenario: Scenario, aisle: str) -> bool:
    """Say whether daylight caps the levels of an aisle; open areas have no skylights."""
    skylight = scenario.skylight
    if skylight is None:
        return False
    return aisle in (scenario.aisle_names if skylight.aisles is None else skylight.aisles)


def caps_of_run(scenario: Scenario) -> tuple[float, ...]:
    """Return the distinct caps of the run's hours; none without skylights."""
    if scenario.skylight is None:
        return ()
    _, caps = hour_caps(skylight_caps(scenario.skylight), scenario.start_datetime, scenario.duration_s)
    return tuple(sorted(set(caps.tolist())))
