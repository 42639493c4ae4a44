"""One small site and two ways to replay it: the twin and the program, behind one call."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass, field
from typing import Any

from sim.scenario.schema import Scenario
from tests.naive import Row, naive_replay

ALWAYS = [{"from": "00:00", "to": "24:00", "settings": "day"}]
DAY = {"unoccupied_level": 0.2, "timeout_s": 100.0}
Motion = list[tuple[str, float, float]]
Visiting = list[tuple[str, float, float]]


@dataclass(frozen=True)
class Answer:
    """Outcomes of one replay: the site's, each zone's and each hour's; None where not known."""

    total: Row
    zones: dict[str, Row]
    hours: list[Row]


@dataclass(frozen=True)
class Case:
    """One case worked by hand: the input and the outcomes that were worked out."""

    name: str
    scenario: Scenario
    motion: Motion
    visits: Visiting | None = None
    total: dict[str, float | None] = field(default_factory=dict)
    zones: dict[str, dict[str, float | None]] = field(default_factory=dict)
    hours: dict[int, dict[str, float | None]] = field(default_factory=dict)


def site(
    day: dict[str, Any] | None = None,
    *,
    settings: dict[str, dict[str, Any]] | None = None,
    timetable: list[dict[str, Any]] | None = None,
    floor: dict[str, Any] | None = None,
    luminaires: dict[str, Any] | None = None,
    sensors: dict[str, Any] | None = None,
    **more: Any,
) -> Scenario:
    """Return a scenario: one aisle of ten luminaires, 1000 W in all at full, 4320 s from a Monday 00:00."""
    content = {
        "format": 1,
        "start": "2027-03-01T00:00:00",
        "days": 0.05,
        "floor": {"aisles": 1, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0} | (floor or {}),
        "luminaires": {"per_aisle": 10, "full_w": 100.0} | (luminaires or {}),
        "sensors": {"at": "every", "range_m": 8.0} | (sensors or {}),
        "lighting": {"settings": {"day": DAY | (day or {})} | (settings or {})},
        "timetable": timetable or ALWAYS,
    } | more
    content["start"] = dt.datetime.fromisoformat(content["start"])
    return Scenario.model_validate(content)


def kwh(joules: float) -> float:
    """Turn joules into kilowatt-hours."""
    return joules / 3.6e6


def by_twin(scenario: Scenario, detections: Motion, visits: Visiting | None = None) -> Answer:
    """Replay with the slow twin; without cut zones each visit is one stay."""
    stays = logged = None
    if visits is not None:
        assert scenario.floor.zones_per_aisle == 1
        stays = [(aisle, number, enter, leave) for number, (aisle, enter, leave) in enumerate(visits)]
        logged = [(aisle, enter, leave, enter) for aisle, enter, leave in visits]
    result = naive_replay(scenario, detections, stays, logged)
    return Answer(result.total, result.zones, result.hours)


ENGINES = [by_twin]


def misses(case: Case, answer: Answer) -> list[str]:
    """Say where an answer differs from the case's outcomes."""
    wanted = [("total", case.total, answer.total)]
    wanted += [(zone, row, answer.zones[zone]) for zone, row in case.zones.items()]
    wanted += [(f"hour {hour}", row, answer.hours[hour]) for hour, row in case.hours.items()]
    return [
        f"{place} {name}: {found[name]}, by hand {value}"
        for place, row, found in wanted
        for name, value in row.items()
        if not is_close(found[name], value)
    ]


def is_close(found: float | None, wanted: float | None) -> bool:
    """Compare two outcomes to 1e-9, None with None."""
    if found is None or wanted is None:
        return found is wanted
    return math.isclose(found, wanted, rel_tol=1e-9, abs_tol=1e-9)
