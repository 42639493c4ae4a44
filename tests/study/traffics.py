"""Random traffic with many choices of settings, for comparing the age view with the replay.

Half of the sites come from `tests/lighting/strategies`: short runs where everything meets at once, so that
many zones cannot be summed and are replayed.  The others have room between the timetable's borders, so that
the sums must do the work: periods longer than fades, more motion and more trucks.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from hypothesis import strategies as st

from sim.records import Stays, Visits
from sim.replication import Site, Traffic, hear_seen, prepare_site
from sim.scenario.schema import Scenario, Settings
from sim.sensing.coverage import unite
from tests.lighting.engines import site
from tests.lighting.strategies import Example, clock, examples, instants, meeting_points, settings

Choice = dict[str, Settings]


@dataclass(frozen=True)
class Case:
    """Traffic on a site, and settings to try on it."""

    site: Site
    traffic: Traffic
    choices: list[Choice]


@st.composite
def cases(draw: st.DrawFn, is_grid: bool) -> Case:
    """Draw traffic and up to four choices that share some settings and differ in others."""
    one = draw(st.one_of(examples(is_grid=is_grid), roomy_examples(is_grid=is_grid)))
    names = list(one.scenario.lighting.settings)
    pool = [one.scenario.lighting.settings[name] for name in names]
    pool = [_round_levels(one) for one in [*pool, *(Settings(**draw(settings(is_grid))) for _ in range(3))]]
    choices = [{name: draw(st.sampled_from(pool)) for name in names} for _ in range(draw(st.integers(1, 4)))]
    ready = prepare_site(one.scenario)
    traffic = record_traffic(ready, one)
    if traffic.stays is not None and draw(st.integers(0, 3)) == 0:
        # some trucks need less light, or none
        count = len(traffic.stays.zone)
        weight = draw(st.lists(st.sampled_from((0.0, 0.5, 1.0)), min_size=count, max_size=count))
        traffic = replace(traffic, stays=replace(traffic.stays, weight=np.array(weight, dtype=np.float64)))
    return Case(ready, traffic, choices)


def _round_levels(one: Settings) -> Settings:
    """Keep levels apart that differ in their last digit only: whether one is below the other is rounding."""
    keys = ("occupied_level", "unoccupied_level", "second_level")
    return one.model_copy(
        update={key: round(getattr(one, key), 6) for key in keys if getattr(one, key) is not None}
    )


def stretch(case: Case, factor: float) -> Case:
    """Multiply all times but the timetable's borders, so that instants that met now meet but for rounding."""
    old = case.site.scenario

    def timers(table: Any) -> Any:
        keys = [key for key in ("latency_s", "hold_s") if getattr(table, key) is not None]
        return table.model_copy(update={key: factor * getattr(table, key) for key in keys})

    scenario = old.model_copy(
        update={
            "days": factor * old.days,
            "sensors": timers(old.sensors),
            "override": tuple(timers(one) for one in old.override),
        }
    )
    ready, traffic = prepare_site(scenario), case.traffic
    end_s = scenario.duration_s
    seen, visits, stays = traffic.detections, traffic.visits, traffic.stays
    start, end = factor * seen.start, np.minimum(factor * seen.end, end_s)
    inside = start < end_s
    heard = unite(seen.zone[inside], start[inside], end[inside])
    if visits is not None and stays is not None:
        visits = replace(
            visits,
            enter=factor * visits.enter,
            leave=np.minimum(factor * visits.leave, end_s),
            arrive=factor * visits.arrive,
        )
        leave = np.minimum(factor * stays.leave, end_s)
        stays = replace(stays, enter=factor * stays.enter, leave=leave)
    choices = [{name: _stretch(one, factor) for name, one in choice.items()} for choice in case.choices]
    return Case(ready, Traffic(visits, stays, heard, 0), choices)


def _stretch(one: Settings, factor: float) -> Settings:
    """Multiply the times of one set of settings."""
    keys = ("timeout_s", "fade_up_s", "fade_down_s", "second_delay_s")
    times = {key: factor * getattr(one, key) for key in keys if getattr(one, key) is not None}
    return one.model_copy(update=times)


@st.composite
def roomy_examples(draw: st.DrawFn, is_grid: bool) -> Example:
    """Draw a site of two aisles whose periods are longer than its fades, and what happened there."""
    names = ["a", "b", "c"][: draw(st.integers(1, 3))]
    scenario = _roomy_scenario(draw, names, is_grid)
    lengths = st.sampled_from(meeting_points(scenario)) if is_grid else st.floats(0.0, 300.0)
    motion, visits, known = [], [], []
    for _ in range(draw(st.integers(0, 16))):
        start = draw(instants(scenario, is_grid, known))
        end = start + draw(st.one_of(st.just(0.0), lengths))
        motion.append((draw(st.sampled_from(scenario.aisle_names)), start, end))
        known += [start, end]
    if draw(st.integers(0, 5)) == 0:
        return Example(scenario, motion, None, None)
    for _ in range(draw(st.integers(0, 8))):
        enter = draw(instants(scenario, is_grid, known))
        leave = enter + draw(lengths) + 10.0
        visits.append((draw(st.sampled_from(scenario.aisle_names)), enter, leave, enter - draw(lengths)))
    visits.sort(key=lambda visit: visit[1])
    return Example(scenario, motion, visits, None)


def _roomy_scenario(draw: st.DrawFn, names: list[str], is_grid: bool) -> Scenario:
    """Draw a site of two aisles with up to six periods in two hours and a half."""
    length_s = 9000
    cuts = [0]
    for _ in range(draw(st.integers(0, 5)) if len(names) > 1 else 0):
        cuts.append(cuts[-1] + draw(st.integers(120, 300)) * (10 if is_grid else 7))
    rows = [
        {
            "from": clock(begin),
            "to": "24:00" if end is None else clock(end),
            "settings": draw(st.sampled_from(names)),
        }
        for begin, end in zip(cuts, [*cuts[1:], None], strict=True)
    ]
    luminaires: dict[str, Any] = {"per_aisle": 5, "full_w": 100.0, "standby_w": 2.5}
    luminaires["fixed_on"] = draw(st.integers(0, 1))
    if draw(st.integers(0, 3)) == 0:
        luminaires["power_curve"] = [
            [0.0, 2.5],
            [0.25, 12.0],
            [0.6, draw(st.floats(12.0, 100.0))],
            [1.0, 100.0],
        ]
    latency_s = draw(st.sampled_from((0.0, 0.5, 5.0)) if is_grid else st.floats(0.0, 5.0))
    override = []
    if len(names) > 1 and draw(st.booleans()):
        override.append({"aisles": ["A02"], "settings": {names[0]: names[1]}})
    return site(
        settings={name: draw(settings(is_grid)) for name in names}
        | {"day": {"unoccupied_level": 0.5, "timeout_s": 60.0}},
        timetable=rows,
        floor={"aisles": 2},
        luminaires=luminaires,
        sensors={"latency_s": latency_s, "hold_s": draw(st.sampled_from((0.0, 10.0)))},
        override=override,
        start="2027-03-01T00:00:00",
        days=length_s / 86_400,
    )


def record_traffic(ready: Site, one: Example) -> Traffic:
    """Write an example down as the records that a run hands from room to room."""
    layout, end_s = ready.layout, ready.scenario.duration_s
    zone = np.array([layout.zones.index(name) for name, _, _ in one.motion], dtype=np.int64)
    start = np.array([start for _, start, _ in one.motion], dtype=np.float64)
    end = np.array([min(end, end_s) for _, _, end in one.motion], dtype=np.float64)
    seen = unite(zone, start, end)
    heard = hear_seen(ready, seen, None)
    if one.visits is None:
        return Traffic(None, None, heard, 0)
    stays = one.stays
    if stays is None:
        stays = [(aisle, number, enter, leave) for number, (aisle, enter, leave, _) in enumerate(one.visits)]
    inside = sorted(
        (layout.zones.index(name), enter, number, min(leave, end_s)) for name, number, enter, leave in stays
    )
    columns = np.array(inside, dtype=np.float64).reshape(-1, 4).T
    stays_record = Stays(columns[0].astype(np.int64), columns[2].astype(np.int64), columns[1], columns[3])
    return Traffic(_record_visits(ready, one.visits), stays_record, heard, 0)


def _record_visits(ready: Site, visits: list[tuple[str, float, float, float]]) -> Visits:
    """Write a log's visits down as the record; they are in order of entry."""
    count = len(visits)
    zeros, no, first = np.zeros(count), np.zeros(count, dtype=np.bool_), np.zeros(count, dtype=np.int64)
    times = np.array([visit[1:] for visit in visits], dtype=np.float64).reshape(-1, 3).T
    return Visits(
        aisle=np.array([ready.layout.aisles.index(visit[0]) for visit in visits], dtype=np.int64),
        enter=times[0],
        leave=np.minimum(times[1], ready.scenario.duration_s),
        arrive=times[2],
        truck=first,
        task=first,
        bay_m=zeros * np.nan,
        enters_back=no,
        leaves_back=no,
        run_in_m=zeros,
        run_before_m=zeros,
        run_speed=zeros,
        run_acceleration=zeros,
        truck_names=("truck",),
        task_names=("task",),
        moves=None,
        drives=None,
    )
