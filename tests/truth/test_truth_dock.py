"""Trailers: batches against compound Poisson, doors as servers (T21: M/D/1), unloading by trucks, departures.

Expected values are formulas; standard errors are exact or those of independent replications, k = 4.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest

from sim.outcome.traffic import keep_traffic_books
from sim.replication import prepare_site
from sim.traffic.dock import DockBook, Trailer, run_dock
from sim.traffic.fleet import Fleet
from sim.traffic.work import Tasks, draw_tasks
from tests.truth.traffic_scenes import PLAIN, run_floor
from tests.truth.truth_scenes import agrees, equals, holds, scenario, spoilt

DAY = 86_400.0


def tasks_of(
    replication: int = 0, *, hours: float, doors: int = 50, trucks: list | None = None, **inbound
) -> Tasks:
    """Draw the moves of one stream of trailers."""
    made = scenario(
        hours=hours,
        trucks=[PLAIN, *(trucks or [])],
        floor={"dock_doors": doors},
        inbound=[{"name": "in"} | inbound],
    )
    return draw_tasks(made, prepare_site(made).layout, replication)


def check_batches(pallets: int, model: dict) -> None:
    """Pallets of a day: compound Poisson of mean l n and variance l n^2 (l trailers of n pallets each).

    A Poisson count of mean l has the sample variance's variance (l + 2 l^2 N/(N - 1)) / N over N days.
    """
    days, trailers = 600, 9.6
    tasks = tasks_of(hours=24.0 * days, pallets=pallets, pallet_s=1e-6, **model)
    counts = np.bincount((tasks.time // DAY).astype(int), minlength=days)[:days]
    agrees(counts.mean(), trailers * pallets, pallets * math.sqrt(trailers / days), "pallets a day")
    spread = pallets**2 * math.sqrt((trailers + 2 * trailers**2 * days / (days - 1)) / days)
    agrees(np.var(counts, ddof=1), trailers * pallets**2, spread, "variance of pallets a day")


@pytest.mark.parametrize("pallets", [26, 28, 30, 33])
def test_trailers_come_in_batches(pallets):
    check_batches(pallets, {"per_hour": 0.4})
    with spoilt("a tenth more trailers"):
        check_batches(pallets, {"per_hour": 0.44})
    with spoilt("a timetable"):
        check_batches(pallets, {"at": [f"{hour:02d}:00" for hour in range(0, 24, 3)]})


def mean_waits(runs: int, load: float) -> np.ndarray:
    """Mean wait for the only door, over its service, in runs of 60 days without the first two."""
    waits = []
    for run in range(runs):
        book = tasks_of(run, hours=1440.0, doors=1, per_hour=3.0 * load, pallets=20, pallet_s=60.0).dock
        kept = np.isfinite(book.trailer_docked) & (book.trailer_arrive > 2 * DAY)
        waits.append((book.trailer_docked - book.trailer_arrive)[kept].mean() / 1200.0)
    return np.array(waits)


def check_door(load: float, expected: float) -> None:
    """T21: M/D/1: wait over service = rho / (2 (1 - rho))."""
    waits = mean_waits(16, load)
    agrees(waits.mean(), expected, np.std(waits, ddof=1) / 4.0, "wait for the door")


def test_T21_a_door_is_one_server():
    """A trailer of 20 pallets at 60 s holds its door for 1200 s: rho 0.8 waits 2 services, 0.6 waits 0.75."""
    check_door(0.8, 2.0)
    check_door(0.6, 0.75)
    with spoilt("a load of 0.75"):
        check_door(0.75, 2.0)


def check_doors(book: DockBook, doors: dict[int, set[int]], change_s: float) -> None:
    """A door holds one trailer, and the next one only after the change; trailers use their own doors."""
    for door in np.unique(book.trailer_door[book.trailer_door >= 0]).tolist():
        rows = np.flatnonzero(book.trailer_door == door)
        rows = rows[np.argsort(book.trailer_docked[rows])]
        holds(
            book.trailer_docked[rows][1:] >= book.trailer_gone[rows][:-1] + change_s - 1e-9,
            f"one at door {door}",
        )
    for stream, own in doors.items():
        used = set(book.trailer_door[(book.trailer_stream == stream) & (book.trailer_door >= 0)].tolist())
        holds(used <= own, "own doors")
        holds(used == own, "all of them in use at times")


def test_doors_hold_one_trailer():
    made = scenario(
        hours=24.0 * 60,
        trucks=[PLAIN],
        floor={"dock_doors": 4},
        inbound=[
            {
                "name": "a",
                "per_hour": 1.2,
                "pallets": 30,
                "pallet_s": 60.0,
                "doors": [1, 2],
                "change_s": 300.0,
            },
            {"name": "b", "per_hour": 0.9, "pallets": 30, "pallet_s": 60.0, "change_s": 300.0},
        ],
    )
    book = draw_tasks(made, prepare_site(made).layout, 0).dock
    check_doors(book, {0: {0, 1}, 1: {0, 1, 2, 3}}, 300.0)
    wait = book.trailer_docked - book.trailer_arrive
    assert np.isfinite(wait).mean() > 0.9
    assert (wait > 60.0).mean() > 0.1, "too little pressure on the doors to tell"
    with spoilt("a longer change"):
        check_doors(book, {0: {0, 1}, 1: {0, 1, 2, 3}}, 900.0)
    with spoilt("another door for the first stream"):
        check_doors(book, {0: {0, 2}, 1: {0, 1, 2, 3}}, 300.0)
    for stream in (0, 1):
        own = np.flatnonzero((book.trailer_stream == stream) & np.isfinite(book.trailer_docked))
        holds(np.diff(book.trailer_docked[own]) >= 0.0, "first come, first served within a stream")


def pace(seconds: float):
    """Every truck takes the same time for every pallet."""

    def times(truck: int) -> Iterator[float]:
        while True:
            yield seconds

    return times


def trailer(arrive: float, pallets: int, *, groups: tuple[int, ...] = (0,)) -> Trailer:
    return Trailer(arrive, 0, pallets, (0, 1), None, (), groups, 0.0)


def test_one_truck_unloads_until_its_break():
    """26 pallets at 60 s from 100 s on; off duty from 700 to 1000 s: the pallet in hand is finished.

    By hand: ten pallets end at 160 .. 700 s, the eleventh would begin at 700 s, which is off duty.
    """

    def check(seconds: float) -> None:
        fleet = Fleet(("dock-01",), (0,), ((0.0, 700.0, 1000.0, 9000.0),))
        book = run_dock([trailer(100.0, 26)], 2, fleet, pace(seconds), lambda free: 0, 20_000.0)
        expected = [100.0 + 60.0 * k for k in range(1, 11)] + [1000.0 + 60.0 * k for k in range(1, 17)]
        equals(len(book.pallet_time), 26, 0.0, "pallets")
        equals(book.pallet_time, expected, 1e-9, "pallets on the floor")
        equals((book.busy_from, book.busy_to), ((100.0, 1000.0), (700.0, 1960.0)), 1e-9, "busy")
        equals(book.trailer_gone, [1960.0], 1e-9, "the trailer leaves")

    check(60.0)
    with spoilt("70 s a pallet"):
        check(70.0)


def test_two_trucks_three_trailers():
    """Three trailers at 0 s, two doors, two trucks, 10 pallets of 30 s: the third is served from 300 s on."""

    def check(trucks: int) -> None:
        fleet = Fleet(tuple(f"dock-{k}" for k in range(trucks)), (0,) * trucks, ((0.0,),) * trucks)
        book = run_dock([trailer(0.0, 10)] * 3, 2, fleet, pace(30.0), lambda free: 0, 9_000.0)
        equals(book.trailer_docked, [0.0, 0.0, 300.0], 1e-9, "at the door")
        equals(book.trailer_gone, [300.0, 300.0, 600.0], 1e-9, "gone")

    check(2)
    with spoilt("one truck"):
        check(1)


def test_a_trailer_waits_for_its_own_group():
    """Two doors; group 0 unloads until 150 s and is idle then, group 1 until 300 s, and the third is for 1.

    By hand, 30 s a pallet: it docks at 160 s and is unloaded from 300 to 390 s. Open to both it would be
    gone at 250 s.
    """

    def check(groups: tuple[int, ...]) -> None:
        fleet = Fleet(("a", "b"), (0, 1), ((0.0,), (0.0,)))
        trailers = [
            trailer(0.0, 10, groups=(1,)), trailer(0.0, 5), trailer(160.0, 3, groups=groups),
        ]
        book = run_dock(trailers, 2, fleet, pace(30.0), lambda free: 0, 9_000.0)
        equals(book.trailer_docked, [0.0, 0.0, 160.0], 1e-9, "at the door")
        equals(book.trailer_gone, [300.0, 150.0, 390.0], 1e-9, "gone")

    check((1,))
    with spoilt("a trailer for everybody"):
        check((0, 1))


def test_unloading_is_the_trucks_own_time():
    """Named trucks: way in and out at their speeds, one pick-up and one set-down a pallet."""

    def check(way_m: float) -> None:
        dock = {
            "name": "dock",
            "count": 1,
            "speed_laden_m_per_s": 1.0,
            "speed_empty_m_per_s": 2.0,
            "handling_mean_s": 12.0,
        }
        tasks = tasks_of(
            hours=30.0, trucks=[dock], at=["08:00"], pallets=26, unload_trucks=["dock"], unload_m=way_m
        )
        first = tasks.time[tasks.time < DAY]
        equals(len(first), 26, 0.0, "pallets of the first day")
        equals(np.diff(first), 2 * 12.0 + 8.0 / 1.0 + 8.0 / 2.0, 1e-6, "time of a pallet")

    check(8.0)
    with spoilt("a way of 9 m"):
        check(9.0)


def test_departures_have_their_wave():
    """Pallets of a departure arise from wave_s before it, over spread_s, and are due at it."""

    def check(wave_s: float) -> None:
        made = scenario(
            hours=48.0,
            trucks=[PLAIN],
            start="2027-03-01T00:00:00",
            outbound=[
                {"name": "out", "at": ["10:00", "16:30"], "pallets": 26, "wave_s": 7200.0, "spread_s": 1800.0}
            ],
        )
        tasks = draw_tasks(made, prepare_site(made).layout, 0)
        due = np.sort(np.repeat([10.0, 16.5, 34.0, 40.5], 26)) * 3600.0
        equals(len(tasks), 4 * 26, 0.0, "retrievals")
        equals(np.sort(tasks.due), due, 1e-9, "due")
        early = tasks.due - tasks.time
        holds((early <= wave_s) & (early >= wave_s - 1800.0), "released over the spread")
        holds(early.max() - early.min() > 1500.0, "and not at once")
        equals(tasks.kind, 1, 0.0, "retrievals")

    check(7200.0)
    with spoilt("a wave an hour earlier"):
        check(10_800.0)


def test_no_trailer_came():
    """One trailer at six, and a run that ends at one: nothing to take a mean of, so every figure is 0."""

    def check(hours: float) -> None:
        wave = {"name": "out", "at": ["06:00"], "pallets": 20, "wave_s": 60.0}
        made = run_floor(hours=hours, trucks=[PLAIN], outbound=[wave])
        books = keep_traffic_books(made.site.scenario, made.site.fleet, made.tasks, made.log, made.site.bins)
        for name, value in books.trailers.items():
            equals(value, 0.0, 0.0, name)
        holds(len(books.trailers) == 6, "every figure is there")

    check(1.0)
    with spoilt("a longer run, in which it comes"):
        check(12.0)


def test_lateness_of_a_wave_by_hand():
    """One truck of 100 s a cycle, 20 pallets released 1001 s before the cut-off: the last ten are late.

    The k-th is done at 100 k s: late by 100 k - 1001 s, k = 11 .. 20: mean over 20 is 5490 / 20 = 274.5 s.
    """

    def check(handling_s: float) -> None:
        made = run_floor(
            hours=12.0,
            trucks=[PLAIN | {"handling_mean_s": handling_s}],
            floor={"aisle_length_m": 1e-6, "aisle_pitch_m": 1e-6},
            outbound=[{"name": "out", "at": ["06:00"], "pallets": 20, "wave_s": 1001.0}],
        )
        books = keep_traffic_books(made.site.scenario, made.site.fleet, made.tasks, made.log, made.site.bins)
        out = books.streams["out"]
        equals(out["lateness_mean_s"], 274.5, 1e-3, "mean lateness")
        equals(out["late"], 10.0, 0.0, "late")
        equals(out["wait_mean_s"], 950.0, 1e-3, "wait until begun: 100 (k - 1) s")

    check(50.0)
    with spoilt("a slower truck"):
        check(55.0)
