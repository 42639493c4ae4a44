"""One small site and two ways to replay it: the twin and the program, behind one call."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from sim.floor.layout import Layout, lay_out
from sim.records import Stays, Visits
from sim.replication import (
    Traffic,
    account_lights,
    hear_seen,
    light_traffic,
    prepare_site,
    replay_site,
)
from sim.results import CloseLook, Outcomes
from sim.scenario.schema import Scenario
from sim.sensing.coverage import unite
from tests.naive import Row, naive_replay

ALWAYS = [{"from": "00:00", "to": "24:00", "settings": "day"}]
DAY = {"unoccupied_level": 0.2, "timeout_s": 100.0}
Motion = list[tuple[str, float, float]]
Visiting = list[tuple[str, float, float, float]]
"""(aisle, enter, leave, arrive), in order of entry."""
Staying = list[tuple[str, int, float, float]]
"""(zone, number of the visit, enter, leave)."""


@dataclass(frozen=True)
class Answer:
    """Outcomes of one replay: the site's, each zone's, each hour's; None where not known."""

    total: Row
    zones: dict[str, Row]
    hours: list[Row]
    quarter_kw: list[float]


@dataclass(frozen=True)
class Case:
    """One case worked by hand: the input and the outcomes that were worked out."""

    name: str
    scenario: Scenario
    motion: Motion
    visits: list[tuple[str, float, float]] | None = None
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


def by_twin(
    scenario: Scenario, motion: Motion, visits: Visiting | None = None, stays: Staying | None = None
) -> Answer:
    """Replay with the slow twin; without `stays` each visit stays in the zone that is its aisle."""
    result = naive_replay(scenario, motion, stays or stays_of(visits), visits)
    return Answer(result.total, result.zones, result.hours, result.quarter_kw)


def by_program(
    scenario: Scenario, motion: Motion, visits: Visiting | None = None, stays: Staying | None = None
) -> Answer:
    """Replay with the program, on the same records that a run hands from room to room."""
    return _answer(scenario, *run_program(scenario, motion, visits, stays))


def by_live(
    scenario: Scenario, motion: Motion, visits: Visiting | None = None, stays: Staying | None = None
) -> Answer:
    """Run the lights as processes in a simulation, told of the same motion."""
    return _answer(scenario, *run_program(scenario, motion, visits, stays, is_live=True))


def _answer(scenario: Scenario, outcomes: Outcomes, look: CloseLook) -> Answer:
    """Turn the program's results into plain rows."""
    zones = lay_out(scenario).zones
    assert len(look.levels) == len(zones)
    return Answer(
        _plain(outcomes.total),
        {name: _plain({key: column[k] for key, column in outcomes.zones.items()})
         for k, name in enumerate(zones)},
        [_plain({key: column[k] for key, column in outcomes.hours.items()})
         for k in range(len(outcomes.hours["energy_kwh"]))],
        [float(value) for value in outcomes.quarter_kw],
    )


def run_program(
    scenario: Scenario,
    motion: Motion,
    visits: Visiting | None,
    stays: Staying | None,
    *,
    is_live: bool = False,
) -> tuple[Outcomes, CloseLook]:
    """Turn lists into the program's records and run the lights on them: by replay, or inside a simulation."""
    ready = prepare_site(scenario)
    layout, end_s = ready.layout, scenario.duration_s
    zone = np.array([layout.zones.index(name) for name, _, _ in motion], dtype=np.int64)
    start = np.array([start for _, start, _ in motion], dtype=np.float64)
    end = np.array([min(end, end_s) for _, _, end in motion], dtype=np.float64)
    visits_record = stays_record = None
    if visits is not None:
        visits_record = _record_visits(layout, visits, end_s)
        rows = sorted(
            (layout.zones.index(name), enter, number, min(leave, end_s))
            for name, number, enter, leave in stays or stays_of(visits) or []
        )
        columns = list(zip(*rows, strict=True)) or [()] * 4
        stays_record = Stays(
            np.array(columns[0], dtype=np.int64), np.array(columns[2], dtype=np.int64),
            np.array(columns[1], dtype=np.float64), np.array(columns[3], dtype=np.float64),
        )
    seen = unite(zone, start, end)
    traffic = Traffic(visits_record, stays_record, hear_seen(ready, seen, None), 0, None, seen)
    if is_live:
        return account_lights(ready, light_traffic(ready, traffic), traffic)
    return replay_site(ready, traffic)


def _plain(row: Mapping[str, float]) -> Row:
    """Turn nan, which stands for not known, into None."""
    return {name: None if math.isnan(value) else float(value) for name, value in row.items()}


def _record_visits(layout: Layout, visits: Visiting, end_s: float) -> Visits:
    """Write a log's visits down as the record; they are in order of entry."""
    count = len(visits)
    zeros, no = np.zeros(count), np.zeros(count, dtype=np.bool_)
    return Visits(
        aisle=np.array([layout.aisles.index(name) for name, *_ in visits], dtype=np.int64),
        enter=np.array([enter for _, enter, _, _ in visits], dtype=np.float64),
        leave=np.array([min(leave, end_s) for _, _, leave, _ in visits], dtype=np.float64),
        arrive=np.array([arrive for _, _, _, arrive in visits], dtype=np.float64),
        truck=np.zeros(count, dtype=np.int64), task=np.zeros(count, dtype=np.int64), bay_m=zeros * np.nan,
        enters_back=no, leaves_back=no, run_in_m=zeros, run_before_m=zeros, run_speed=zeros,
        run_acceleration=zeros, truck_names=("truck",), task_names=("task",), moves=None, drives=None,
    )


def stays_of(visits: Visiting | None) -> Staying | None:
    """Let each visit stay in the zone that is its aisle."""
    if visits is None:
        return None
    return [(aisle, number, enter, leave) for number, (aisle, enter, leave, _) in enumerate(visits)]


ENGINES = [by_twin, by_program, by_live]


def misses(case: Case, engine: Callable[..., Answer], scenario: Scenario | None = None) -> list[str]:
    """Say where an engine's answer differs from the case's outcomes."""
    visits = None if case.visits is None else [(*visit, visit[1]) for visit in case.visits]
    answer = engine(scenario or case.scenario, case.motion, visits)
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
