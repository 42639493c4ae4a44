"""Results made by hand: a site, a few visits and lights whose every number is plain to see.

Outcomes are round numbers chosen here, not computed by the rooms that the pictures follow.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from typing import Any

import numpy as np

from sim.floor.layout import lay_out
from sim.lighting.timetable import place_programs
from sim.outcome.names import OUTCOMES
from sim.records import Detections, Moves, Stays, Visits
from sim.results import CloseLook, Estimate, Levels, Outcomes, Result
from sim.scenario.schema import Scenario

CRUISE_M_PER_S = 2.0


def make_scenario(**changes: Any) -> Scenario:
    """A small site of three aisles, end sensors, one set of settings by day and one by night."""
    content: dict[str, Any] = {
        "format": 1,
        "title": "Hall of the test",
        "start": "2027-03-01",
        "days": 1.0,
        "seed": 11,
        "replications": 2,
        "floor": {
            "aisles": 3, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0, "dock_doors": 2, "aisle_capacity": 2,
        },
        "luminaires": {"per_aisle": 10, "full_w": 100.0},
        "sensors": {"at": "ends", "range_m": 9.0, "hold_s": 30.0, "latency_s": 0.5},
        "lighting": {
            "settings": {
                "day": {"unoccupied_level": 0.3, "timeout_s": 270, "fade_up_s": 0.7, "fade_down_s": 10.0},
                "night": {"occupied_level": 0.5, "unoccupied_level": 0.0, "timeout_s": 60},
            }
        },
        "timetable": [
            {"from": "06:00", "to": "22:00", "settings": "day"},
            {"from": "22:00", "to": "06:00", "settings": "night"},
        ],
        "trucks": [
            {"name": "reach", "count": 4, "speed_laden_m_per_s": 2.0, "speed_empty_m_per_s": 2.0,
             "handling_mean_s": 60.0}
        ],
        "shifts": [
            {"trucks": "reach", "from": "06:00", "to": "22:00", "crew": 3, "breaks": [["09:00", "09:20"]]}
        ],
        "work": [{"name": "retrieval", "kind": "retrieve", "per_hour": 20.0, "top_20pct_share": 0.6}],
    }
    content.update(changes)
    content["start"] = dt.datetime.fromisoformat(content["start"])
    return Scenario.model_validate(content)


def make_visits(scenario: Scenario, per_hour: float, with_moves: bool = True, seed: int = 5) -> Visits:
    """Visits in pairs of straight runs at constant speed, evenly seeded over the run."""
    rng = np.random.default_rng(seed)
    count = max(1, int(per_hour * scenario.duration_s / 3600.0))
    aisles = len(scenario.aisle_names)
    length = np.array(scenario.aisle_lengths_m)
    weight = 1.0 / np.arange(1, aisles + 1)
    aisle = rng.choice(aisles, count, p=weight / weight.sum())
    enter = np.sort(rng.random(count)) * scenario.duration_s
    bay = rng.random(count) * length[aisle]
    handling = rng.gamma(4.0, 15.0, count)
    leave = enter + 2.0 * bay / CRUISE_M_PER_S + handling
    rows = np.repeat(np.arange(count), 2)
    nothing = np.zeros(count)
    moves = Moves(
        visit=rows,
        start=np.ravel(np.column_stack([enter, enter + bay / CRUISE_M_PER_S + handling])),
        from_m=np.ravel(np.column_stack([nothing, bay])),
        to_m=np.ravel(np.column_stack([bay, nothing])),
        speed=np.full(2 * count, CRUISE_M_PER_S),
        acceleration=np.zeros(2 * count),
    )
    return Visits(
        aisle=aisle, enter=enter, leave=np.minimum(leave, scenario.duration_s), truck=np.arange(count) % 4,
        bay_m=bay, task=np.zeros(count, dtype=np.int64),
        enters_back=np.zeros(count, dtype=bool), leaves_back=np.zeros(count, dtype=bool), arrive=enter,
        run_in_m=nothing, run_before_m=nothing, run_speed=nothing, run_acceleration=nothing,
        truck_names=("reach-01", "reach-02", "reach-03", "reach-04"), task_names=("retrieve",),
        moves=moves if with_moves else None, drives=None,
    )


def make_detections(scenario: Scenario, visits: Visits) -> Detections:
    """Each visit is seen for its first 10 s and its last 5 s by every zone of its aisle."""
    cut = scenario.floor.zones_per_aisle
    zone, start, end = [], [], []
    for number in range(len(scenario.aisle_names) * cut):
        here = visits.aisle == number // cut
        first = np.concatenate([visits.enter[here], np.maximum(visits.leave[here] - 5.0, visits.enter[here])])
        last = np.concatenate([np.minimum(visits.enter[here] + 10.0, visits.leave[here]), visits.leave[here]])
        order = np.argsort(first)
        until = -math.inf
        for begin, finish in zip(first[order], last[order], strict=True):
            if begin <= until:
                until = end[-1] = max(until, finish)
            else:
                zone.append(number)
                start.append(begin)
                end.append(finish)
                until = finish
    return Detections(np.array(zone, dtype=np.int64), np.array(start), np.array(end))


def make_levels(scenario: Scenario, detections: Detections, zone: int, delay_s: float = 300.0) -> Levels:
    """Full for `delay_s` after each detection, else 0.3, fading down in 10 s and up at once."""
    begins, ends = detections.of_zone(zone)
    rows: list[tuple[float, float, float, float, float, bool]] = []
    now = 0.0
    for begin, finish in zip(begins, ends, strict=True):
        until = min(finish + delay_s, scenario.duration_s)
        if begin > now:
            _add_low(rows, now, begin)
        if until > max(now, begin):
            rows.append((max(now, begin), until, 1.0, 1.0, 1.0, True))
        now = max(now, until)
    if now < scenario.duration_s:
        _add_low(rows, now, scenario.duration_s)
    start, end, first, last, command, is_high = (np.array(column) for column in zip(*rows, strict=True))
    return Levels(start, end, first, last, command, np.ones(len(start)), is_high)


def _add_low(rows: list[tuple[float, float, float, float, float, bool]], begin: float, end: float) -> None:
    fade = min(end, begin + 10.0)
    from_level = 1.0 if rows else 0.3
    to_level = from_level - (from_level - 0.3) * (fade - begin) / 10.0
    rows.append((begin, fade, from_level, to_level, 0.3, False))
    if end > fade:
        rows.append((fade, end, 0.3, 0.3, 0.3, False))


def make_outcomes(scenario: Scenario, factor: float = 1.0, with_visits: bool = True) -> Outcomes:
    """Round numbers: full load 1 kW an aisle, a site at `factor` half of it, a quarter of the time low.

    Zone z has 6 h at low and 2 h at zero a day, 4 h occupied and 10 h lit empty; truck outcomes are nan
    where `with_visits` is False.
    """
    zones = len(scenario.aisle_names) * scenario.floor.zones_per_aisle
    hours = math.ceil(scenario.duration_s / 3600.0)
    run_h = scenario.duration_s / 3600.0
    full_kw = float(sum(scenario.luminaires_of(a).per_aisle * scenario.luminaires_of(a).full_w / 1000.0
                        for a in scenario.aisle_names))
    always = full_kw * run_h
    midnight = scenario.start_datetime.replace(hour=0, minute=0)
    offset = (scenario.start_datetime - midnight).total_seconds() % 900.0
    quarters = math.ceil((scenario.duration_s + offset) / 900.0)
    total = dict.fromkeys(OUTCOMES, 0.0)
    total.update(
        energy_kwh=0.5 * factor * always, always_on_kwh=always, schedule_only_kwh=0.8 * always,
        code_minimum_kwh=0.7 * always, saved_kwh=always * (1 - 0.5 * factor), saved_share=1 - 0.5 * factor,
        peak_kw=0.75 * full_kw * factor, always_on_peak_kw=full_kw,
        time_at_low_h=0.25 * zones * run_h, time_at_zero_h=zones * run_h / 12.0,
        lit_empty_h=zones * run_h * 10 / 24, occupied_h=zones * run_h / 6.0,
        dim_truck_s=1234.0 * factor, shortfall_truck_s=800.0 * factor, dim_entries=40.0 * factor,
        false_offs=3.0 * factor, switch_ups=120.0 * factor, switch_downs=118.0 * factor,
        timetable_changes=6.0,
        dim_spell_max_s=95.0 * factor, dim_spell_p95_s=12.0, visits=400.0, visits_per_h=400.0 / run_h,
        mouth_wait_s=600.0, mouth_wait_mean_s=1.5,
    )
    by_zone = {name: np.full(zones, total[name] / zones) for name in OUTCOMES}
    by_zone["saved_share"] = np.full(zones, total["saved_share"])
    by_zone["dim_truck_s"] = np.arange(zones, dtype=float) * 100.0
    lengths = np.diff(np.minimum(np.arange(hours + 1) * 3600.0, scenario.duration_s)) / 3600.0
    by_hour = {name: total[name] * lengths / run_h for name in OUTCOMES}
    if not with_visits:
        for name, outcome in OUTCOMES.items():
            if outcome.needs_visits:
                total[name] = math.nan
                by_zone[name] = np.full(zones, math.nan)
                by_hour[name] = np.full(hours, math.nan)
    quarter_kw = 0.5 * factor * full_kw * (1.0 + 0.5 * np.sin(np.arange(quarters) * 2 * np.pi / 96.0))
    return Outcomes(total, by_zone, by_hour, quarter_kw)


def make_result(
    scenario: Scenario | None = None, *, factors: tuple[float, ...] = (0.9, 1.1), per_hour: float = 20.0,
    with_visits: bool = True, with_moves: bool = True, source: str = "run", notices: tuple[str, ...] = (),
) -> Result:
    """Put a whole result together; the half-width is written down, not computed: a tenth of the mean."""
    scenario = scenario or make_scenario()
    visits = make_visits(scenario, per_hour, with_moves)
    detections = make_detections(scenario, visits)
    layout = lay_out(scenario)
    levels = tuple(make_levels(scenario, detections, zone) for zone in range(len(layout.zones)))
    outcomes = tuple(make_outcomes(scenario, factor, with_visits) for factor in factors)
    headline = {}
    for name in OUTCOMES:
        mean = float(np.mean([outcome.total[name] for outcome in outcomes]))
        known = not math.isnan(mean)
        headline[name] = Estimate(mean if known else None, 0.1 * mean if known and len(factors) > 1 else None)
    count = len(visits)
    stays = Stays(visits.aisle * scenario.floor.zones_per_aisle, np.arange(count), visits.enter, visits.leave)
    look = CloseLook(
        visits=visits if with_visits else None,
        stays=stays if with_visits else None,
        detections=detections,
        levels=levels,
        dim_visit_s=np.where(visits.bay_m > 30.0, 60.0, 0.0) if with_visits else None,
        false_off_visits=(visits.bay_m > 30.0) if with_visits else None,
    )
    return Result(
        scenario=scenario, layout=layout, programs=place_programs(scenario),
        replications=tuple(range(len(factors))), outcomes=outcomes, headline=headline, close_look=look,
        source=source, notices=notices,
    )


def without_bays(result: Result) -> Result:
    """The same result from a visits log that does not say where in the aisle a truck was."""
    visits = result.close_look.visits
    assert visits is not None
    blank = replace(visits, bay_m=np.full(len(visits), math.nan), moves=None)
    return replace(result, close_look=replace(result.close_look, visits=blank))
