"""The program's sensing against a twin that goes from truck to truck, with dice that both can read.

Chance is taken out: misses are a table that twin and program look up alike, a Poisson draw gives its mean
rounded, and every pulse lies in the middle of its stand.  So misses by entry, pulses, queues, trucks on foot,
trucks that no sensor sees, dead sensors, the first and the last instant and the way before the mouth must
agree to a microsecond, on trucks from drawn floors, and so must trucks that pass.
"""

from __future__ import annotations

import dataclasses
import functools
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from sim.floor.layout import Layout
from sim.records import Drives, Moves, Visits
from sim.replication import simulate_traffic
from sim.sensing import coverage
from sim.sensing.coverage import sense
from tests.truth.sensing_dice import DiceBox, Interval, Twin, united
from tests.truth.truth_scenes import equals, plain_visits, site, spoilt

FIRST_S = 1500.0


def earlier(runs: Any) -> Any:
    """Runs, as much earlier as the scene begins before second 0."""
    return None if runs is None else dataclasses.replace(runs, start=runs.start - FIRST_S)


@functools.cache
def drawn_floor(number: int) -> tuple[Layout, Visits, float]:
    """Trucks, a robot that no sensor sees and people on a drawn floor, from 1500 s before second 0."""
    rng = np.random.default_rng([number, 3])
    lengths = [float(length) for length in rng.choice([26.0, 38.0, 50.0], 3)]
    places: object = ["ends", "every", sorted(float(place) for place in rng.uniform(0.0, min(lengths), 3))]
    trucks = [
        {"name": "reach", "count": 3, "acceleration_m_per_s2": float(rng.choice([0.0, 0.6]))},
        {"name": "robot", "count": 1, "seen": False},
        {"name": "people", "kind": "walker", "count": 2},
    ]
    usual = {
        "speed_laden_m_per_s": 1.5, "speed_empty_m_per_s": 2.5, "handling_mean_s": 40.0, "handling_cv": 0.8,
    }
    ways: dict[str, object] = {}
    if number % 2:
        # at 26 and 38 m a cross-aisle may lie at the very end of an aisle
        cross = {1: [12.0, 30.0], 3: [12.0, 38.0], 5: [26.0, 38.0]}[number]
        ways = {"cross_aisles_m": cross, "one_way_from_back": ["A02"], "one_way": ["A03"]}
    place = site(
        aisles=3, hours=1.6, seed=number,
        trucks=[usual | {"turn_s": 3.0} | group if "kind" not in group else group for group in trucks],
        floor={
            "aisle_length_m": lengths, "aisle_capacity": 1, "staging_depth_m": 9.0,
            "zones_per_aisle": 1 if number % 3 == 2 else 2, **ways,
        },
        sensors={"at": cast(list, places)[number % 3], "range_m": float(rng.uniform(2.0, 12.0))},
        override=[{"aisles": ["A01"], "per_aisle": 6}],  # so that aisles may differ in sensors
        work=[
            {"name": "in", "kind": "putaway", "per_hour": 50.0},
            {"name": "move", "kind": "replenish", "per_hour": 20.0},
            {"name": "walk", "kind": "walk", "per_hour": 20.0, "dwell_mean_s": 50.0},
        ],
    )
    layout = place.layout
    names = (
        "miss", "approach_m", "still_rate_per_min", "still_rate_person_per_min", "passing_trigger",
        "passing_range_m",
    )
    values = (0.0, 0.0, 3.0, None, 0.6, 14.0), (0.4, 16.0, 1.5, 6.0, 0.4, 9.0), (0.7, 6.0, 2.0, 0.0, 1.0, 3.0)
    keys = [dict(zip(names, row, strict=True)) for row in values]
    turned = keys[number % 3 :] + keys[: number % 3]
    eyes = tuple(one.model_copy(update=key) for one, key in zip(layout.sensors, turned, strict=True))
    visits = simulate_traffic(place, 0).visits
    moves = visits.moves
    assert moves is not None
    coming = visits.coming
    if coming is not None:
        coming = dataclasses.replace(coming, arrive=coming.arrive - FIRST_S, drives=earlier(coming.drives))
    visits = dataclasses.replace(
        visits, enter=visits.enter - FIRST_S, leave=visits.leave - FIRST_S, arrive=visits.arrive - FIRST_S,
        coming=coming, moves=earlier(moves), drives=earlier(visits.drives),
    )
    return dataclasses.replace(layout, sensors=eyes), visits, place.scenario.duration_s - FIRST_S


def check(
    number: int, *, cut_s: float = 0.0, is_dead: np.ndarray | None = None, known: int = 1,
    is_crowd: bool = False, **spoil: float,
) -> int:
    """Compare all detections; return how many there were."""
    layout, visits, end_s = drawn_floor(number)
    rows = np.arange(len(visits))
    crowd = dataclasses.replace(visits, moves=None, coming=None)
    visits = dataclasses.replace(
        visits, arrive=np.where(rows % known == 0, visits.arrive, np.nan),
        coming=crowd if is_crowd else visits.coming,
    )
    found = sense(layout, visits, DiceBox(), end_s - cut_s, is_dead)
    assert found.zone.dtype == np.int64
    other = tuple(one.model_copy(update=spoil) for one in layout.sensors)
    twin = Twin(dataclasses.replace(layout, sensors=other), visits, end_s - cut_s, is_dead)
    wanted = united(twin.seen())
    ours = united(list(zip(found.zone.tolist(), found.start.tolist(), found.end.tolist(), strict=True)))
    equals(len(ours), len(wanted), 0.0, "number of detections")
    equals(ours, wanted, 1e-6, "zones, starts and ends")
    return len(ours)


@pytest.mark.parametrize("number", range(6))
def test_the_twin_sees_the_same(number: int, monkeypatch: pytest.MonkeyPatch) -> None:
    assert check(number) > 60
    monkeypatch.setattr(coverage, "BLOCK", 7)  # however many visits are looked at together
    check(number)


@pytest.mark.parametrize(
    ("reach_m", "along_m", "passing_m", "seen"),
    [
        (18.0, 12.0, 3.0, (True, True)), (17.9, 12.0, 3.0, (False, False)), (5.0, 40.0, 3.0, (True, False)),
        (5.0, 39.9, 3.0, (False, False)), (5.0, 41.0, 3.0, (True, False)), (5.0, 43.0, 3.0, (False, False)),
        (11.0, 41.0, 3.0, (True, True)), (18.0, 12.0, 0.5, (True, True)), (18.0, 12.0, 0.0, (False, False)),
    ],
)
def test_a_truck_that_crosses_between_the_mouths_and_behind_them(
    reach_m: float, along_m: float, passing_m: float, seen: tuple[bool, bool]
) -> None:
    """Aisles of 40 and 60 m with a sensor at 30 m that sees passing trucks so near to a mouth, say 3 m.

    Between the mouths the sensor's own reach decides, its end included; at the very end and behind it the
    back mouth's metres do.  The truck drives at 2 m/s across both, and is seen while it is so near.
    """
    place = site(
        aisles=2, hours=1.0, floor={"aisle_length_m": [40.0, 60.0], "cross_aisles_m": [along_m]},
        sensors={"at": [30.0], "range_m": reach_m, "passing_trigger": 1.0, "passing_range_m": passing_m},
    )
    one, no = np.zeros(1), np.full(1, -1, np.int64)
    drives = Drives(
        np.zeros(1, bool), one + 50.0, one - 20.0, one + 30.0, one + 2.0, one, no, no, None, one + along_m,
    )
    nobody = plain_visits(np.zeros(0, np.int64), np.zeros(0), np.zeros(0), 3600.0)
    nothing = Moves(np.zeros(0, np.int64), *[np.zeros(0)] * 5)
    visits = dataclasses.replace(nobody, moves=nothing, drives=drives)
    found = sense(place.layout, visits, DiceBox(), 3600.0)
    half = np.array([np.sqrt(passing_m**2 - max(0.0, along_m - length) ** 2) if is_seen else 0.0
                     for length, is_seen in zip((40.0, 60.0), seen, strict=True)])
    middle = 50.0 + (place.layout.aisle_m + 20.0) / 2.0
    rows = np.flatnonzero(seen)
    assert found.zone.tolist() == rows.tolist()
    assert found.start.tolist() == pytest.approx((middle - half / 2.0)[rows].tolist())
    assert found.end.tolist() == pytest.approx((middle + half / 2.0)[rows].tolist())


def test_dead_sensors_and_an_earlier_end() -> None:
    """A sensor that sees nothing draws as it would; at 1000 s before the end trucks are cut short."""
    dead = np.arange(len(drawn_floor(1)[0].sensor_m)) % 2 == 1
    assert 0 < check(1, cut_s=1000.0, is_dead=dead) < check(1)
    assert check(1, is_crowd=True, is_dead=dead) != check(1, is_crowd=True)
    assert check(1, is_crowd=True, is_dead=np.full(len(dead), True)) == 0


WAY = (0.0, 20.0), (68.0, 30.0), (72.0, 20.0), (76.0, 0.0)
"""When a truck sets off, and where to [m]."""


def touching(
    reach_m: float, *, way: tuple[tuple[float, float], ...] = WAY, miss: float = 0.0,
    dice: DiceBox | None = None, **who: Any,
) -> list[Interval]:
    """One truck that drives 20 m into an aisle, stands there for 60 s and drives on and back.

    2.5 m/s, so it is at 20 m from 8 to 68 s; at 30 m at 72 s, back at 20 m at 76 s and out at 84 s.  The
    sensor is at 30 m; a standing truck gives two pulses a minute, a person six.
    """
    keys = {"still_rate_per_min": 2.0, "still_rate_person_per_min": 6.0, "approach_m": 1.0, "miss": miss}
    place = site(
        aisles=1, hours=1.0, floor={"aisle_length_m": 60.0},
        sensors={"at": [30.0], "range_m": reach_m, **keys},
    )
    one = plain_visits(np.zeros(1, np.int64), np.zeros(1), np.full(1, 84.0), 3600.0)
    one = dataclasses.replace(one, **who)
    start, to_m = np.array(way).T
    count = len(way)
    moves = Moves(
        np.zeros(count, np.int64), start, np.append(0.0, to_m[:-1]), to_m, np.full(count, 2.5),
        np.zeros(count),
    )
    found = sense(place.layout, dataclasses.replace(one, moves=moves), dice or DiceBox(), 3600.0)
    return united(list(zip(found.zone.tolist(), found.start.tolist(), found.end.tolist(), strict=True)))


def test_a_stretch_holds_both_its_ends() -> None:
    """Who stands at the very edge stands in reach, and coming so far is no motion in it.

    With a reach of 10 m the stretch is 20 to 40 m: two pulses, drawn at 38 s, then motion from 68 to 76 s.
    With 10.1 m motion is also seen for 0.04 s on either side; with 9.9 m a pulse never.
    """
    mouth = (0, 0.0, 0.0)  # the sensor also looks out of the mouth
    assert touching(10.0) == [mouth, (0, 38.0, 38.0), (0, 68.0, 76.0)]
    wider, narrower = touching(10.1), touching(9.9)
    equals(wider, [mouth, (0, 7.96, 8.0), (0, 38.0, 38.0), (0, 68.0, 76.04)], 1e-9, "wider")
    equals(narrower, [mouth, (0, 68.04, 75.96)], 1e-9, "narrower")


@pytest.mark.parametrize(
    ("way", "draws", "wanted"),
    [
        # the truck is in the stretch from its first stop on, at the near edge: one draw for all of it
        (WAY, (0.1, 0.9, 0.9, 0.9), []),
        (WAY, (0.9, 0.1, 0.1, 0.1), [(0, 0.0, 0.0), (0, 38.0, 38.0), (0, 68.0, 76.0)]),
        # through to 50 m, back to the far edge: a second draw there, and none as it drives on
        (((0.0, 50.0), (80.0, 40.0), (84.0, 0.0)), (0.9, 0.1, 0.9), [(0, 0.0, 0.0), (0, 8.0, 16.0)]),
        (((0.0, 50.0), (80.0, 40.0), (84.0, 0.0)), (0.1, 0.9, 0.1), [(0, 84.0, 92.0)]),
        # never in the stretch: the draw of the first run is that of the way to the mouth
        (((0.0, 10.0), (60.0, 0.0)), (0.1, 0.9), []),
        (((0.0, 10.0), (60.0, 0.0)), (0.9, 0.1), [(0, 0.0, 0.0)]),
    ],
)
def test_one_draw_an_entry(
    way: tuple[tuple[float, float], ...], draws: tuple[float, ...], wanted: list[Interval]
) -> None:
    """Half of the entries are missed; the stretch is 20 to 40 m, and the sensor looks out of the mouth."""
    table = SimpleNamespace(random=lambda size: np.array(draws)[:, None])
    assert touching(10.0, way=way, miss=0.5, dice=DiceBox(table)) == wanted


@pytest.mark.parametrize(("on_foot", "per_min"), [(False, 2.0), (True, 6.0)])
def test_means_of_pulses(on_foot: bool, per_min: float) -> None:
    """60 s at the bay, and 30 s in the queue before the mouth: the rate a minute times the minutes."""
    dice = DiceBox()
    touching(10.0, dice=dice, truck_on_foot=(on_foot,), arrive=np.full(1, -30.0))
    assert sorted(dice.means) == pytest.approx([0.5 * per_min, 1.0 * per_min])
    dice = DiceBox()
    coming = plain_visits(np.zeros(1, np.int64), np.zeros(1), np.full(1, 84.0), 3600.0)
    coming = dataclasses.replace(coming, arrive=np.full(1, 3510.0), truck_on_foot=(on_foot,))
    touching(10.0, dice=dice, coming=coming)
    assert sorted(dice.means) == pytest.approx(sorted([2.0, 1.5 * per_min]))
    dice = DiceBox()  # one that only comes after the end waits for nothing
    touching(10.0, dice=dice, coming=dataclasses.replace(coming, arrive=np.full(1, 3600.5)))
    assert dice.means == pytest.approx([2.0])


@pytest.mark.parametrize(("arrive_s", "more"), [(3599.0, [(0, 3599.0, 3599.0)]), (3600.0, [])])
def test_what_happens_at_the_very_end_does_not_happen(arrive_s: float, more: list[Interval]) -> None:
    """The run ends at 3600 s; a truck comes to the mouth just before it, or as it ends."""
    coming = plain_visits(np.zeros(1, np.int64), np.zeros(1), np.full(1, 84.0), 3600.0)
    coming = dataclasses.replace(coming, arrive=np.full(1, arrive_s))
    assert touching(10.0, coming=coming) == touching(10.0) + more


def check_back_sensors(first: int, backs: tuple[bool, bool]) -> None:
    """Two trucks on their way to aisles whose sensors differ: each is seen by its own aisle's, in its zone.

    A01 has five sensors and A02 two, in two zones each. Both trucks come at 3590 s, at 2.5 m/s, and are seen
    on their last 5 m, 2 s: by the zone nearer to the mouth, 0 or 1 in A01 and 2 or 3 in A02.
    """
    place = site(
        aisles=2, hours=1.0, floor={"zones_per_aisle": 2},
        sensors={"at": [6.0, 18.0, 29.0, 42.0, 54.0], "range_m": 3.0, "approach_m": 5.0},
        override=[{"aisles": ["A02"], "at": [5.0, 55.0]}],
    )
    nobody = plain_visits(np.zeros(0, np.int64), np.zeros(0), np.zeros(0), 3600.0)
    aisle = np.array([first, 1 - first])
    coming = dataclasses.replace(
        plain_visits(aisle, np.full(2, 3590.0), np.full(2, 3600.0), 3600.0), enters_back=np.array(backs),
        run_in_m=np.full(2, 20.0), run_speed=np.full(2, 2.5),
    )
    nothing = Moves(np.zeros(0, np.int64), *[np.zeros(0)] * 5)
    found = sense(
        place.layout, dataclasses.replace(nobody, moves=nothing, coming=coming), DiceBox(), 3600.0
    )
    wanted = sorted(2 * one + is_back for one, is_back in zip(aisle.tolist(), backs, strict=True))
    equals(len(found.zone), 2, 0.0, "number of detections")
    equals(found.zone, wanted, 0.0, "zones")
    equals(found.start, [3588.0] * 2, 1e-9, "starts")
    equals(found.end, [3590.0] * 2, 1e-9, "ends")


@pytest.mark.parametrize("first", [0, 1])
def test_who_comes_is_seen_by_the_sensor_of_its_aisle(first: int, monkeypatch: pytest.MonkeyPatch) -> None:
    for backs in ((True, True), (False, False), (True, False), (False, True)):
        check_back_sensors(first, backs)
    gather = coverage._gather_eyes

    def as_in_the_first(*given: Any) -> Any:
        """The back sensor stands in one column for all: in that of the first truck's aisle."""
        eyes = gather(*given)
        return dataclasses.replace(eyes, is_back=np.repeat(eyes.is_back[[first]], 2, axis=0))

    monkeypatch.setattr(coverage, "_gather_eyes", as_in_the_first)
    with spoilt("the back sensor's column from another aisle"):
        check_back_sensors(first, (True, True))
    check_back_sensors(first, (False, False))


@pytest.mark.parametrize("number", range(6))
def test_a_crowd_on_its_way_as_the_run_ends(number: int) -> None:
    """Every visit of the floor once more as a truck on its way at the end."""
    assert check(number, is_crowd=True) > 10
    assert check(number, is_crowd=True, cut_s=1500.0) > 10


def test_trucks_of_which_nobody_knows_when_they_came() -> None:
    """They come in as they arrive: every second, and all but every fifth."""
    check(0, known=2)
    check(1, known=5)


def test_motion_that_ends_at_the_first_instant_is_a_pulse() -> None:
    """A truck that comes to its mouth at second 0 and queues there: seen at 0, and not before."""
    layout, visits, _ = drawn_floor(1)
    assert visits.coming is not None
    eyes = tuple(
        one.model_copy(update={"miss": 0.0, "approach_m": 5.0, "still_rate_per_min": 0.0})
        for one in layout.sensors
    )
    coming = dataclasses.replace(visits.coming, enter_line=None)
    for arrive, wanted in ((0.0, 1), (-1e-9, 0)):
        alone = dataclasses.replace(
            visits, coming=dataclasses.replace(coming, arrive=np.full(len(coming), arrive)), drives=None,
            moves=dataclasses.replace(visits.moves, start=visits.moves.start - 1e5),
            enter=visits.enter - 1e5, arrive=visits.arrive - 1e5,
        )
        found = sense(dataclasses.replace(layout, sensors=eyes), alone, DiceBox(), 9.0)
        assert (found.start.tolist(), found.end.tolist()) == ([0.0] * wanted, [0.0] * wanted)


OTHERS = {
    "miss": 0.55, "approach_m": 4.0, "still_rate_per_min": 5.0, "still_rate_person_per_min": 5.0,
    "range_m": 5.0, "passing_trigger": 0.45, "passing_range_m": 5.0,
}


@pytest.mark.parametrize("key", OTHERS)
def test_other_sensors_would_be_seen(key: str) -> None:
    """The negative control: a twin with another key in one of six floors."""
    with spoilt(key):
        for number in range(6):
            check(number, **{key: OTHERS[key]})


def test_the_scene_holds_what_it_is_meant_to_hold() -> None:
    """Queues, entries by the back and between the mouths, people, a robot, trucks on their way, second 0."""
    floors = [drawn_floor(number)[1] for number in range(6)]
    assert sum(int(np.sum(visits.enter - visits.arrive > 20.0)) for visits in floors) > 20
    assert any(visits.enters_back.any() for visits in floors)
    assert any(visits.enter_line is not None and (visits.enter_line > 0).any() for visits in floors)
    assert all(any(visits.truck_on_foot) and not all(visits.truck_seen) for visits in floors)
    assert sum(len(visits.coming) for visits in floors if visits.coming is not None) > 3
    assert all(visits.leave.min() < 0.0 < visits.leave.max() for visits in floors)
