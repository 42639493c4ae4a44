"""The traffic's books of two and a half made-up hours, every figure worked by hand.

Two trucks fetch and carry, two others unload; one driver comes late, one has a break, one never comes; a
pair is finished and one is not; trucks wait at the charger; trailers wait at the doors.  The run is 9000 s,
so its third hour is half an hour.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from sim.outcome.clock import cut_run
from sim.outcome.traffic import keep_traffic_books
from sim.results import TrafficBooks
from sim.scenario.schema import Scenario
from sim.traffic.dock import DockBook
from sim.traffic.fleet import Fleet
from sim.traffic.tours import no_tours
from sim.traffic.work import Tasks
from sim.traffic.world import BOTH, FIRST_OF_PAIR, SECOND_OF_PAIR, ChargeLog, Log

NEVER, NOBODY, END = np.inf, np.nan, 9000.0
BINS = cut_run(dt.datetime(2027, 3, 1), END)


def named(*names: str) -> tuple[SimpleNamespace, ...]:
    """Things of which only the name counts."""
    return tuple(SimpleNamespace(name=name) for name in names)


SITE = cast(Scenario, SimpleNamespace(
    trucks=named("reach", "tow", "idle"), work=named("in", "out"), inbound=named("none"), outbound=(),
))
FLEET = Fleet(
    ("reach-01", "reach-02", "tow-01", "tow-02"), (0, 0, 1, 1),
    ((-600.0, 5400.0), (3600.0,), (-900.0, -300.0, 0.0, 1800.0, 7200.0, 8100.0, 9600.0, 12_000.0), ()),
)
# arisen, stream, due, done by, begun, finished
ROWS = [
    (100.0, 0, 600.0, 0, 200.0, 500.0),  # in time; the first of a pair
    (100.0, 0, 800.0, 0, 200.0, 900.0),  # its second, 100 s late; keeps the truck busy from 500 s
    (3600.0, 0, 3500.0, 1, 3700.0, 4000.0),  # 500 s late; put down in the aisle of the next
    (3100.0, 0, NOBODY, 1, 3700.0, 4300.0),
    (4000.0, 1, END, 2, 8000.0, NEVER),  # under way at the end, due then: not late
    (5000.0, 1, 6000.0, -1, NEVER, NEVER),  # never begun: 3000 s late at the end
    (6000.0, 0, 9500.0, -1, NEVER, NEVER),  # not due yet
    (8400.0, 1, NOBODY, 0, 8500.0, NEVER),  # a pair of which not even the first is done
    (8400.0, 1, NOBODY, 0, 8500.0, NEVER),
    (8900.0, 0, NOBODY, 1, 8950.0, NEVER),
]
PAIRS = [
    (0, BOTH, 1), (2, FIRST_OF_PAIR, 3), (3, SECOND_OF_PAIR, 2), (4, 0, -1), (7, FIRST_OF_PAIR, 8),
    (9, 1, -1),
]
DOCK = DockBook(
    trailer_stream=np.zeros(4, np.int64), trailer_door=np.array([0, 1, 0, -1]),
    trailer_arrive=np.array([0.0, 100.0, 500.0, 8000.0]),
    trailer_docked=np.array([50.0, 400.0, 500.0, NEVER]),
    trailer_gone=np.array([2000.0, 9500.0, END, NEVER]),
    pallet_trailer=np.zeros(0, np.int64), pallet_time=np.zeros(0),
    busy_truck=np.array([3, 3]), busy_from=np.array([1000.0, 8900.0]), busy_to=np.array([4600.0, 9500.0]),
)
CHARGES = ChargeLog(
    np.array([0, 2, 2]), np.array([1000.0, 7000.0, 8900.0]), np.array([1200.0, 8800.0, NEVER]),
    np.array([2000.0, 9400.0, NEVER]),
)


def books(
    *,
    dock: DockBook | None = DOCK,
    rows: list[tuple[Any, ...]] = ROWS,
    fleet: Fleet = FLEET,
    charges: ChargeLog = CHARGES,
) -> TrafficBooks:
    """Account for the rows."""
    time, work, due, done_by, begin, finish = (np.array(column) for column in zip(*rows, strict=True))
    count, task = len(rows), np.array([row[0] for row in PAIRS])
    nothing, nowhere = np.zeros(count), np.zeros(count, np.int64)
    tasks = Tasks(
        time, work, nowhere, nowhere, nothing, nowhere, nothing, nowhere, np.zeros((3, count)),
        np.zeros((3, count)), nothing, nothing, np.zeros(count, bool), due, nowhere - 1, no_tours(3), dock,
    )
    log = Log(
        task, np.array([row[1] for row in PAIRS]), np.array([row[2] for row in PAIRS]), done_by[task],
        nowhere[task], nothing[task], nothing[task], done_by, begin, finish, 2, charges,
    )
    return keep_traffic_books(SITE, fleet, tasks, log, BINS)


def differing(found: Mapping[str, Any], wanted: Mapping[str, Any]) -> set[str]:
    """Names of the figures that are not those worked out by hand."""
    assert list(found) == list(wanted)
    return {name for name, value in wanted.items() if found[name] != pytest.approx(value)}


def wrong_hours(found: TrafficBooks) -> set[str]:
    """Busy: 300 + 400 s in the first hour, a pair of 300 + 300 s in the second, then 1000 + 500 + 50 s.

    Unloading adds 2600, 1000 and 100 s; on duty are 3600 + 1800, 1800 + 3600 and 1800 + 900 s.
    """
    return differing({name: column.tolist() for name, column in found.hours.items()}, {
        "moves_arisen": [3.0, 4.0, 3.0],
        "moves_begun": [2.0, 2.0, 4.0],
        "moves_done": [2.0, 2.0, 0.0],
        "backlog": [1.0, 3.0, 2.0],
        "duty_h": [5400.0 / 3600.0, 5400.0 / 3600.0, 2700.0 / 3600.0],
        "busy_h": [3300.0 / 3600.0, 1600.0 / 3600.0, 1650.0 / 3600.0],
        "charging_h": [800.0 / 3600.0, 0.0, 200.0 / 3600.0],
    })


def wrong_groups(found: TrafficBooks) -> set[str]:
    """Reach: 700 + 600 + 550 s of 3 h; tow: 1000 + 3600 + 100 s of 0.75 h; of the third there is nobody."""
    names = ("duty_h", "busy_h", "utilisation", "charges", "charger_wait_h")
    return wrong_rows(found.groups, names, {
        "reach": (3.0, 1850.0 / 3600.0, 1850.0 / 10_800.0, 1.0, 200.0 / 3600.0),
        "tow": (0.75, 4700.0 / 3600.0, 4700.0 / 2700.0, 2.0, 1900.0 / 3600.0),
        "idle": (0.0,) * 5,
    })


def wrong_streams(found: TrafficBooks) -> set[str]:
    """Waits of 100, 100, 100, 600, 50 s, and 4000, 100, 100 s; late by 0, 100, 500 s, and by 0 and 3000."""
    names = (
        "arisen", "begun", "done", "backlog_end", "wait_mean_s", "due", "late", "late_share",
        "lateness_mean_s",
    )
    return wrong_rows(found.streams, names, {
        "in": (6.0, 5.0, 4.0, 1.0, 190.0, 3.0, 2.0, 2.0 / 3.0, 200.0),
        "out": (4.0, 3.0, 0.0, 1.0, 1400.0, 2.0, 1.0, 0.5, 1500.0),
        "none": (0.0,) * 9,
    })


def wrong_rows(
    found: Mapping[str, Mapping[str, float]], names: Sequence[str], wanted: Mapping[str, Sequence[float]]
) -> set[str]:
    """Names of the wrong figures of some rows, each behind its row's name and a point."""
    assert list(found) == list(wanted)
    return {
        f"{row}.{name}"
        for row, values in wanted.items()
        for name in differing(found[row], dict(zip(names, values, strict=True)))
    }


def wrong_trailers(found: TrafficBooks) -> set[str]:
    """Waits of 50, 300, 0 and 1000 s; gone by the end are two, after 1950 and 8500 s at the door."""
    return differing(found.trailers, {
        "trailers": 4.0, "docked": 3.0, "gone": 2.0, "door_wait_mean_s": 337.5, "door_wait_max_s": 1000.0,
        "door_stay_mean_s": 5225.0,
    })


def wrong(found: TrafficBooks) -> list[set[str]]:
    """The wrong figures of hours, groups, streams and trailers."""
    return [wrong_hours(found), wrong_groups(found), wrong_streams(found), wrong_trailers(found)]


def test_every_figure() -> None:
    assert wrong(books()) == [set()] * 4


def test_without_a_dock() -> None:
    """Nobody unloads, and no trailer is told."""
    without = books(dock=None)
    busy_s = [700.0, 600.0, 1550.0]
    assert without.hours["busy_h"].tolist() == pytest.approx([seconds / 3600.0 for seconds in busy_s])
    assert without.trailers == {}


def test_a_dock_without_trailers() -> None:
    empty = np.zeros(0)
    none = books(dock=DockBook(*[empty.astype(np.int64)] * 2, *[empty] * 3, empty.astype(np.int64), empty,
                               empty.astype(np.int64), empty, empty)).trailers
    assert none == dict.fromkeys(books().trailers, 0.0)
    early = replace(DOCK, trailer_gone=np.array([END + 1.0, 9500.0, END + 1.0, NEVER]))
    assert books(dock=early).trailers["door_stay_mean_s"] == 0.0


def with_row(number: int, **changes: Any) -> list[tuple[Any, ...]]:
    """The rows with one of them changed."""
    names = ("arisen", "stream", "due", "done_by", "begun", "finished")
    row = dict(zip(names, ROWS[number], strict=True)) | changes
    return [*ROWS[:number], tuple(row.values()), *ROWS[number + 1 :]]


def changed(column: np.ndarray, place: int, value: float) -> np.ndarray:
    """A column with another value at one place."""
    column = column.copy()
    column[place] = value
    return column


def parts(row: str, *names: str) -> set[str]:
    """Names of some figures of a row."""
    return {f"{row}.{name}" for name in names}


REACH, TOW = parts("reach", "busy_h", "utilisation"), parts("tow", "busy_h", "utilisation")
ANOTHER_DUTY = (FLEET.duty[0], (1800.0,), *FLEET.duty[2:])


@pytest.mark.parametrize(
    ("spoilt", "expected"),
    [
        # the putaway of a pair takes longer, so its retrieval less
        ({"rows": with_row(2, finished=4100.0)}, [set(), set(), {"in.lateness_mean_s"}, set()]),
        ({"rows": with_row(3, finished=4400.0)}, [{"busy_h"}, REACH, set(), set()]),
        ({"rows": with_row(3, finished=NEVER)}, [{"moves_done", "busy_h"}, REACH, {"in.done"}, set()]),
        ({"rows": with_row(4, begun=8600.0)}, [{"busy_h"}, TOW, {"out.wait_mean_s"}, set()]),
        (
            {"rows": with_row(4, begun=7000.0)},
            [{"moves_begun", "backlog", "busy_h"}, TOW, {"out.wait_mean_s"}, set()],
        ),
        ({"rows": with_row(5, arisen=7300.0)}, [{"moves_arisen", "backlog"}, set(), set(), set()]),
        (
            {"rows": with_row(9, done_by=-1, begun=NEVER)},
            [
                {"moves_begun", "backlog", "busy_h"}, REACH,
                parts("in", "begun", "backlog_end", "wait_mean_s"), set(),
            ],
        ),
        (
            {"rows": with_row(6, stream=1)},
            [
                set(), set(),
                parts("in", "arisen", "backlog_end") | parts("out", "arisen", "backlog_end"), set(),
            ],
        ),
        (
            {"rows": with_row(0, due=400.0)},
            [set(), set(), parts("in", "late", "late_share", "lateness_mean_s"), set()],
        ),
        (
            {"rows": with_row(3, due=END)},
            [set(), set(), parts("in", "due", "late_share", "lateness_mean_s"), set()],
        ),
        (
            {"fleet": replace(FLEET, duty=ANOTHER_DUTY)},
            [{"duty_h"}, parts("reach", "duty_h", "utilisation"), set(), set()],
        ),
        (
            {"charges": replace(CHARGES, begin=changed(CHARGES.begin, 0, 1300.0))},
            [{"charging_h"}, {"reach.charger_wait_h"}, set(), set()],
        ),
        (
            {"charges": replace(CHARGES, truck=changed(CHARGES.truck, 0, 2))},
            [
                set(),
                parts("reach", "charges", "charger_wait_h") | parts("tow", "charges", "charger_wait_h"),
                set(), set(),
            ],
        ),
        (
            {"dock": replace(DOCK, busy_truck=changed(DOCK.busy_truck, 0, 0))},
            [set(), REACH | TOW, set(), set()],
        ),
        (
            {"dock": replace(DOCK, trailer_docked=changed(DOCK.trailer_docked, 1, 500.0))},
            [set(), set(), set(), {"door_wait_mean_s"}],
        ),
        (
            {"dock": replace(DOCK, trailer_docked=changed(DOCK.trailer_docked, 1, NEVER))},
            [set(), set(), set(), {"docked", "door_wait_mean_s", "door_wait_max_s"}],
        ),
        (
            {"dock": replace(DOCK, trailer_gone=changed(DOCK.trailer_gone, 0, NEVER))},
            [set(), set(), set(), {"gone", "door_stay_mean_s"}],
        ),
    ],
)
def test_spoilt_books_are_told_apart(spoilt: dict[str, Any], expected: list[set[str]]) -> None:
    """The negative control: a row, a duty or a trailer changed, just the figures that hang on it differ."""
    assert wrong(books(**spoilt)) == expected
