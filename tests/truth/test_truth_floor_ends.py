"""Where a day's work, a shift or a run ends: who is still on the way, and what nobody does any more.

A run that ends earlier is the beginning of a longer one with the same tasks: that is the twin here.
"""

from __future__ import annotations

import numpy as np
import pytest

from sim.records import OpenRuns
from sim.traffic import open_runs as outside
from sim.traffic.open_runs import open_runs
from sim.traffic.paths import log_paths, stays_in_zones
from sim.traffic.ways import is_middle
from sim.traffic.world import FIRST_OF_PAIR, SECOND_OF_PAIR, Log, simulate_floor
from tests.truth.traffic_scenes import PLAIN, Floor, run_floor
from tests.truth.truth_scenes import equals, holds, plain_visits, site, spoilt


def cut_at(made: Floor, end_s: float) -> Log:
    """The log of the same floor and tasks, where the run ends earlier."""
    place = made.site
    return simulate_floor(
        place.layout, place.scenario.trucks, place.may_do, place.fleet, made.tasks, end_s
    )


def check_after_the_shift(days: list[str], first_h: int, done: bool) -> None:
    """One truck on duty until two o'clock, and work in one hour of Monday: all of it is done or none."""
    made = run_floor(
        hours=10.0,
        trucks=[PLAIN],
        shifts=[{"trucks": "reach", "days": days, "from": "00:00", "to": "02:00", "crew": 1}],
        work=[
            {"name": "out", "kind": "retrieve", "per_hour": [9.0 * (hour == first_h) for hour in range(24)]}
        ],
    )
    count = len(made.tasks)
    holds(count > 3, "there is work")
    holds(made.log.waiting_tasks == (0 if done else count), "tasks that nobody began")
    holds((made.log.done_by >= 0) == done, "who did it")
    holds(np.isfinite(made.log.finish) == done, "when it was done")
    equals(len(made.visits), count if done else 0, 0.0, "visits")


@pytest.mark.parametrize("days", [["Mon"], ["Mon", "Tue"]])
def test_work_after_the_last_shift_stays(days: list[str]):
    """Whether there is another shift of the week after the run or none."""
    check_after_the_shift(days, 5, done=False)
    with spoilt("work within the shift"):
        check_after_the_shift(days, 0, done=False)
    check_after_the_shift(days, 0, done=True)


@pytest.fixture(scope="module")
def pairs() -> Floor:
    """Three trucks that do a putaway and a retrieval in one round, mostly in two aisles."""
    return run_floor(
        aisles=8,
        hours=20.0,
        trucks=[PLAIN | {"count": 3, "pairing": True, "handling_mean_s": 40.0}],
        work=[{"name": kind, "kind": kind, "per_hour": 30.0} for kind in ("putaway", "retrieve")],
    )


def test_a_pair_whose_second_aisle_is_not_reached(pairs: Floor):
    """The run ends between the two aisles of a pair: the truck is on its way to the second one.

    All rows before the end are those of the longer run; the last one of the truck stands in the log with
    the time at which it would have come, and never enters.
    """
    log = pairs.log
    second = np.flatnonzero((log.part == SECOND_OF_PAIR) & np.isfinite(log.enter))
    assert len(second) > 50
    for row in second[10:40:10].tolist():
        mine = np.flatnonzero((log.truck == log.truck[row]) & (log.part == FIRST_OF_PAIR))
        first = int(mine[log.arrive[mine] < log.arrive[row]][-1])
        assert log.partner[first] == log.task[row]
        leave = float(pairs.visits.leave[np.flatnonzero(
            (pairs.visits.enter == log.enter[first]) & (pairs.visits.truck == log.truck[first])
        )[0]])
        assert leave < log.arrive[row]
        cut = cut_at(pairs, 0.5 * (leave + float(log.arrive[row])))
        late = np.flatnonzero(~np.isfinite(cut.enter) & (cut.truck == log.truck[row]))
        (last,) = late.tolist()
        columns = ("task", "part", "partner", "truck", "from_door", "arrive")
        found = [getattr(cut, name)[last] for name in columns]
        equals(found, [getattr(log, name)[row] for name in columns], 1e-9, "who was on its way")
        with spoilt("another visit"):
            equals(found, [getattr(log, name)[row - 1] for name in columns], 1e-9, "who was on its way")
        entered = np.isfinite(cut.enter)
        for name in (*columns, "enter"):
            longer = getattr(log, name)[: entered.sum()]
            equals(np.sort(getattr(cut, name)[entered]), np.sort(longer), 1e-9, name)
        assert np.isfinite(cut.begin[[log.task[first], log.task[row]]]).all()
        assert np.isinf(cut.finish[log.task[row]])


def test_the_last_retrievals_are_paired_once_each():
    """One truck behind its work, to its end: no retrieval that waits is taken twice, none is forgotten."""
    made = run_floor(
        aisles=8,
        hours=9.0,
        trucks=[PLAIN | {"pairing": True, "handling_mean_s": 40.0}],
        work=[
            {"name": "in", "kind": "putaway", "per_hour": [20.0] * 3 + [0.0] * 21},
            {"name": "out", "kind": "retrieve", "per_hour": [20.0] * 2 + [0.0] * 22},
        ],
    )
    log, retrievals = made.log, np.flatnonzero(made.tasks.kind == 1)
    put = made.tasks.kind[log.task] == 0

    def check(paired: np.ndarray) -> None:
        alone = log.task[(log.partner < 0) & ~put]
        equals(np.sort(np.append(paired, alone)), retrievals, 0.0, "each is fetched once")

    paired = log.partner[put & (log.partner >= 0)]
    assert len(paired) > 20
    assert np.isfinite(log.finish).all()
    check(paired)
    with spoilt("one of them twice"):
        check(np.append(paired[:-1], paired[0]))


def runs_until(made: Floor, log: Log, end_s: float) -> tuple[OpenRuns, np.ndarray]:
    """Runs outside the aisles; and who comes by a middle cross-aisle as the run ends, after another aisle."""
    place = made.site
    visits = log_paths(place.layout, place.scenario.trucks, place.fleet, made.tasks, log, end_s)
    coming = visits.coming
    runs = open_runs(place.layout, place.scenario.trucks, place.fleet, log, visits, end_s)
    if coming is None or coming.enter_line is None:
        return runs, np.zeros(0, dtype=np.int64)
    later = log.truck[~np.isfinite(log.enter) & (log.part > 0)]
    by_middle = coming.truck[is_middle(place.layout, coming.aisle, coming.enter_line)]
    return runs, np.intersect1d(by_middle, later)


def stretches(runs: OpenRuns, truck: int, end_s: float) -> np.ndarray:
    """One truck's runs that begin before a time, what lasts longer cut there: a row each."""
    mine = np.flatnonzero((runs.truck == truck) & (runs.start < end_s))
    names = ("from_across_m", "from_along_m", "to_across_m", "to_along_m")
    ends = np.minimum(runs.end[mine], end_s)
    return np.column_stack([runs.start[mine], ends, *(getattr(runs, name)[mine] for name in names)])


def test_ways_by_middle_cross_aisles_are_cut_where_the_run_ends(monkeypatch: pytest.MonkeyPatch):
    """A truck between the two aisles of a move, on its way to a middle cross-aisle, was where it was."""
    made = run_floor(
        aisles=4,
        hours=11.0,
        floor={"cross_aisles_m": [20.0, 40.0], "staging_depth_m": 12.0, "one_way": "alternating"},
        trucks=[PLAIN | {"count": 4, "handling_mean_s": 5.0, "turn_s": 2.0}],
        work=[{"name": "move", "kind": "replenish", "per_hour": 120.0}],
    )
    whole, _ = runs_until(made, made.log, made.end_s)
    times = np.arange(3600.0, 36_000.0, 1777.0)
    logs = [(end_s, cut_at(made, end_s)) for end_s in times.tolist()]

    def check() -> int:
        seen = 0
        for end_s, log in logs:
            cut, trucks = runs_until(made, log, end_s)
            for truck in trucks.tolist():
                found, wanted = stretches(cut, truck, end_s), stretches(whole, truck, end_s)
                equals(len(found), len(wanted), 0.0, "stretches until the end")
                equals(found, wanted, 1e-6, "when and where")
                seen += 1
        return seen

    assert check() > 5
    monkeypatch.setattr(outside, "place_inside", lambda layout, aisle, line: np.zeros(len(aisle)))
    with spoilt("as if they came to the front mouth"):
        check()


def test_visits_without_positions_are_in_no_part_of_an_aisle():
    """In whole aisles they are; where zones are cut nobody can say in which one."""
    visits = plain_visits(np.array([1, 0]), np.array([10.0, 20.0]), np.array([90.0, 95.0]), 3600.0)
    whole = stays_in_zones(site(aisles=2).layout, visits)
    assert whole.zone.tolist() == [0, 1]
    assert (whole.enter.tolist(), whole.leave.tolist()) == ([20.0, 10.0], [95.0, 90.0])
    with pytest.raises(ValueError, match="without positions cannot be placed"):
        stays_in_zones(site(aisles=2, floor={"zones_per_aisle": 2}).layout, visits)
