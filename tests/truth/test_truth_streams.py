"""Common random numbers: what a change of the scenario must leave as it was, to the last bit.

One stream of draws a purpose (Law, "Simulation Modeling and Analysis", 5th ed., ch. 11, from memory), so
settings are compared on identical traffic.  The control is the same comparison with another seed, or of what
must differ.
"""

from __future__ import annotations

from functools import cache, partial
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from sim.randomness import random_stream
from sim.records import Visits
from sim.replication import Traffic, prepare_site, replay_site, simulate_traffic
from sim.scenario.schema import Scenario
from sim.sensing import coverage
from sim.sensing.chance import Chance, Draw
from sim.sensing.coverage import sense
from sim.sensing.hearing import draw_dead
from sim.traffic.work import Tasks, draw_tasks
from tests.truth.truth_scenes import TRUCK, holds, scenario, spoilt

BASE: dict[str, Any] = {
    "aisles": 6,
    "hours": 24.0,
    "floor": {"aisle_capacity": 2, "dock_doors": 3, "staging_depth_m": 10.0},
    "sensors": {
        "at": "ends",
        "range_m": 9.0,
        "approach_m": 3.0,
        "passing_trigger": 0.3,
        "passing_range_m": 3.0,
        "still_rate_per_min": 2.0,
        "miss": 0.1,
        "latency_s": 0.5,
    },
    "trucks": [TRUCK | {"count": 6, "handling_cv": 0.7, "acceleration_m_per_s2": 0.5}],
    "work": [
        {"name": "in", "kind": "putaway", "per_hour": 20.0, "aisle_skew": 0.3},
        {"name": "move", "kind": "replenish", "per_hour": 10.0},
    ],
}


def changed(**tables: Any) -> Scenario:
    """Return the base site with some tables changed key by key."""
    keys = dict(BASE)
    for name, table in tables.items():
        keys[name] = BASE.get(name, {}) | table if isinstance(table, dict) else table
    return scenario(**keys)


def same_arrays(one: Any, other: Any, names: list[str], what: str) -> None:
    """Compare columns bit by bit."""
    for name in names:
        first, second = getattr(one, name), getattr(other, name)
        holds(np.array_equal(first, second, equal_nan=first.dtype.kind == "f"), f"{what}: {name} as it was")


VISIT_COLUMNS = ["aisle", "enter", "leave", "truck", "bay_m", "task", "arrive", "run_in_m"]


def traffic_of(made: Scenario, replication: int = 0) -> Traffic:
    """Simulate one replication."""
    return simulate_traffic(prepare_site(made), replication)


def check_traffic(one: Scenario, other: Scenario, *, with_detections: bool) -> None:
    """Two scenarios have the same visits, and perhaps the same detections."""
    first, second = traffic_of(one), traffic_of(other)
    same_arrays(first.visits, second.visits, VISIT_COLUMNS, "visits")
    same_arrays(first.visits.moves, second.visits.moves, ["visit", "start", "from_m", "to_m"], "moves")
    if with_detections:
        same_arrays(first.detections, second.detections, ["zone", "start", "end"], "detections")


LIGHTS = [
    {"day": {"timeout_s": 60.0}},
    {"day": {"unoccupied_level": 0.0, "fade_down_s": 30.0, "second_delay_s": 600.0, "second_level": 0.0}},
    {"luminaires": {"full_w": 60.0, "fixed_on": 2}},
    {"sensors": {"latency_s": 2.0, "hold_s": 30.0}},
]
EYES = [
    {"at": "every"},
    {"at": [5.0, 30.0]},
    {"range_m": 20.0},
    {"approach_m": 0.0},
    {"passing_trigger": 1.0},
    {"passing_range_m": 6.0},
    {"still_rate_per_min": 20.0},
    {"miss": 0.5},
]


@pytest.mark.parametrize("change", LIGHTS)
def test_no_setting_of_the_lights_changes_a_draw(change):
    check_traffic(changed(), changed(**change), with_detections=True)
    with spoilt("another seed"):
        check_traffic(changed(), changed(**change, seed=8), with_detections=True)


@pytest.mark.parametrize("eyes", EYES)
def test_no_sensor_changes_the_visits(eyes):
    check_traffic(changed(), changed(sensors=eyes), with_detections=False)
    with spoilt("the detections do change"):
        check_traffic(changed(), changed(sensors=eyes), with_detections=True)


def detections_of_mouth(made: Scenario) -> np.ndarray:
    """Starts of the pulses seen, all zones."""
    found = traffic_of(made).detections
    return found.start[found.start == found.end]


def test_passers_do_not_disturb_the_pulses():
    """Pulses that stand alone in a run with passers-by are pulses of a run in which nobody passes."""
    some, none = (
        detections_of_mouth(changed()),
        detections_of_mouth(changed(sensors={"passing_trigger": 0.0})),
    )
    holds(np.isin(some, none), "pulses with passers are pulses without them")
    with spoilt("another seed"):
        holds(
            np.isin(detections_of_mouth(changed(seed=8)), none), "pulses with passers are pulses without them"
        )


OTHER_EYES: list[dict[str, Any]] = [
    {"at": "every"},
    {"at": [5.0]},
    {"range_m": 20.0},
    {"approach_m": 0.0},
    {"passing_trigger": 0.0},
    {"passing_trigger": 1.0, "passing_range_m": 6.0},
    {"still_rate_per_min": 0.0},
    {"still_rate_per_min": 20.0},
    {"miss": 0.0},
    {"miss": 0.6},
    {"dead_share": 0.9},
    {"at": "every", "range_m": 3.0, "miss": 0.4, "still_rate_per_min": 9.0, "approach_m": 8.0},
]
"""What is put over the sensors of one aisle."""
CROWDED = {
    "floor": {"aisle_capacity": 1},
    "sensors": {"still_rate_per_min": 30.0, "dead_share": 0.2},
    "hours": 3.0,
    "trucks": [BASE["trucks"][0] | {"count": 16}],
    "work": [*BASE["work"], {"name": "out", "kind": "retrieve", "per_hour": 300.0}],
}
"""Queues at the mouths, also as the run ends; some sensors are dead."""


Seen = list[tuple[np.ndarray, np.ndarray]]


@cache
def crowded_visits() -> Visits:
    """Visits to the crowded site, which no sensor changes."""
    visits = traffic_of(changed(**CROWDED)).visits
    assert visits is not None
    assert visits.coming is not None
    assert len(visits.coming) > 1
    return visits


def seen_in(made: Scenario, aisle: int, *, same_stream: bool = False) -> Seen:
    """Start and end of what the sensors of all aisles but one see; perhaps drawn from one stream for all."""
    place = prepare_site(made)
    stream_of = partial(random_stream, made.seed, 0, "sensing")
    dead = draw_dead(place.layout, partial(random_stream, made.seed, 0, "dead sensors"))
    if same_stream:
        shared = {kind: stream_of(kind) for kind in Draw}
        stream_of = lambda kind, _: shared[kind]  # noqa: E731
    found = sense(place.layout, crowded_visits(), stream_of, made.duration_s, dead)
    return [found.of_zone(zone) for zone in range(len(place.layout.zones)) if zone != aisle]


def check_others(one: Seen, other: Seen) -> None:
    """Compare zone by zone, bit by bit."""
    for first, second in zip(one, other, strict=True):
        holds(all(map(np.array_equal, first, second)), "what the other aisles' sensors see is as it was")


@pytest.mark.parametrize("number", range(len(OTHER_EYES)))
def test_sensors_of_one_aisle_move_no_draw_of_another(number):
    """Law's streams by place as well as by purpose: another sensor here, the same misses and pulses there."""
    aisle = number % 5  # not the last one, whose draws one stream for all would take last
    over = {"override": [{"aisles": [f"A{aisle + 1:02d}"]} | OTHER_EYES[number]]}
    check_others(seen_in(changed(**CROWDED), aisle), seen_in(changed(**CROWDED, **over), aisle))
    if "at" in OTHER_EYES[number]:
        with spoilt("one stream for all aisles, as in earlier models"):
            check_others(
                seen_in(changed(**CROWDED), aisle, same_stream=True),
                seen_in(changed(**CROWDED, **over), aisle, same_stream=True),
            )
    with spoilt("all aisles looked at"):
        check_others(seen_in(changed(**CROWDED), -1), seen_in(changed(**CROWDED, **over), -1))


def test_visits_looked_at_together_change_no_draw(monkeypatch):
    """Blocks of 50,000 visits, and of 97."""
    whole = seen_in(changed(**CROWDED), -1)
    monkeypatch.setattr(coverage, "BLOCK", 97)
    check_others(whole, seen_in(changed(**CROWDED), -1))
    original = Chance.stream
    monkeypatch.setattr(Chance, "stream", lambda self, kind, aisle: self._stream_of(kind, aisle))
    with spoilt("every block draws from the beginning of the streams"):
        check_others(whole, seen_in(changed(**CROWDED), -1))
    monkeypatch.setattr(Chance, "stream", original)
    check_others(whole, seen_in(changed(**CROWDED), -1))


TASK_COLUMNS = ["time", "kind", "aisle", "bay_m", "second_aisle", "second_bay_m", "door"]


def tasks_of(made: Scenario, replication: int = 0) -> Tasks:
    """Draw the work of one replication."""
    return draw_tasks(made, prepare_site(made).layout, replication)


def part(tasks: Tasks, works: list[int]) -> SimpleNamespace:
    """Moves of some streams, and the handling of the first truck group."""
    rows = np.isin(tasks.work, works)
    return SimpleNamespace(
        pick_s=tasks.pick_s[0, rows],
        set_s=tasks.set_s[0, rows],
        **{name: getattr(tasks, name)[rows] for name in TASK_COLUMNS},
    )


OTHER_TRUCK = TRUCK | {"name": "counter", "count": 2, "handling_mean_s": 50.0, "handling_cv": 0.3}
OTHER_WORK = {"name": "out", "kind": "retrieve", "per_hour": 15.0}


def check_draws(one: Scenario, other: Scenario, works: list[int]) -> None:
    """Streams of work keep their moves and the first truck group's handling."""
    first, second = part(tasks_of(one), works), part(tasks_of(other), works)
    same_arrays(first, second, [*TASK_COLUMNS, "pick_s", "set_s"], "moves")


def test_a_truck_group_more_changes_no_draw():
    check_draws(changed(), changed(trucks=[*BASE["trucks"], OTHER_TRUCK]), [0, 1])
    with spoilt("another seed"):
        check_draws(changed(), changed(trucks=[*BASE["trucks"], OTHER_TRUCK], seed=8), [0, 1])


def test_a_stream_of_work_more_changes_no_draw_of_the_others():
    check_draws(changed(), changed(work=[*BASE["work"], OTHER_WORK]), [0, 1])
    with spoilt("put first, it takes their numbers"):
        check_draws(changed(), changed(work=[OTHER_WORK, *BASE["work"]]), [0, 1])


@pytest.mark.parametrize(
    "key, value, kept",
    [
        ("handling_mean_s", 45.0, ["time", "aisle", "bay_m", "door", "second_bay_m"]),
        ("speed_laden_m_per_s", 1.5, [*TASK_COLUMNS]),
    ],
)
def test_trucks_do_not_change_the_work(key, value, kept):
    other = changed(trucks=[BASE["trucks"][0] | {key: value}])
    same_arrays(tasks_of(changed()), tasks_of(other), kept, "moves")
    with spoilt("another replication"):
        same_arrays(tasks_of(changed()), tasks_of(other, 1), kept, "moves")


def test_replications_and_seeds_differ():
    """No two pairs of seed and replication share an arrival; the same pair gives the same ones."""
    times = [
        tasks_of(changed(seed=seed), replication).time
        for seed, replication in ((7, 0), (7, 1), (8, 0), (8, 1), (0, 0))
    ]
    for place, one in enumerate(times):
        for other in times[place + 1 :]:
            assert not np.intersect1d(one, other).size
    assert np.array_equal(times[0], tasks_of(changed()).time)


def check_monotone(made: dict[str, Any], timeouts: list[float], seeds: list[int]) -> None:
    """T22 as a property of whole runs: a longer timeout is never longer at low, and never saves more."""
    low, energy, ups, dim = [], [], [], []
    for timeout_s, seed in zip(timeouts, seeds, strict=True):
        place = prepare_site(scenario(**(made | {"day": {"timeout_s": timeout_s}, "seed": seed})))
        outcomes, _ = replay_site(place, simulate_traffic(place, 0))
        low.append(outcomes.zones["time_at_low_h"])
        energy.append(outcomes.zones["energy_kwh"])
        ups.append(outcomes.zones["switch_ups"])
        dim.append(outcomes.zones["dim_truck_s"])
    for shorter, longer in zip(range(len(low) - 1), range(1, len(low)), strict=True):
        holds(low[longer] <= low[shorter] + 1e-12, "time at low never grows")
        holds(energy[longer] >= energy[shorter] - 1e-12, "energy never falls")
        holds(ups[longer] <= ups[shorter], "switching never grows")
        holds(dim[longer] <= dim[shorter] + 1e-9, "dim truck-seconds never grow")


def test_T22_longer_timeouts_in_whole_runs():
    timeouts = [20.0, 60.0, 180.0, 600.0, 1800.0]
    check_monotone(BASE, timeouts, [7] * 5)
    with spoilt("other traffic for each timeout"):
        check_monotone(BASE, [300.0, 305.0, 310.0, 315.0, 320.0], [7, 8, 9, 10, 11])
