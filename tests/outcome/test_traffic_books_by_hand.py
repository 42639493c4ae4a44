"""The traffic's books of two and a half made-up hours, every figure worked by hand.

Two trucks fetch and carry, two others unload; one driver comes late, one has a break, one never comes; a
pair is finished and one is not; trucks wait at the charger; trailers wait at the doors.  The run is 9000 s,
so its third hour is half an hour.
"""

from __future__ import annotations

import datetime as dt
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


def books(dock: DockBook | None = DOCK, rows: list[tuple[Any, ...]] = ROWS) -> TrafficBooks:
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
        nowhere[task], nothing[task], nothing[task], done_by, begin, finish, 2, CHARGES,
    )
    return keep_traffic_books(SITE, FLEET, tasks, log, BINS)


def test_hours() -> None:
    """Busy: 300 + 400 s in the first hour, a pair of 300 + 300 s in the second, then 1000 + 500 + 50 s.

    Unloading adds 2600, 1000 and 100 s; on duty are 3600 + 1800, 1800 + 3600 and 1800 + 900 s.
    """
    found = books().hours
    assert {name: column.tolist() for name, column in found.items()} == {
        "moves_arisen": [3.0, 4.0, 3.0],
        "moves_begun": [2.0, 2.0, 4.0],
        "moves_done": [2.0, 2.0, 0.0],
        "backlog": [1.0, 3.0, 2.0],
        "duty_h": pytest.approx([5400.0 / 3600.0, 5400.0 / 3600.0, 2700.0 / 3600.0]),
        "busy_h": pytest.approx([3300.0 / 3600.0, 1600.0 / 3600.0, 1650.0 / 3600.0]),
        "charging_h": pytest.approx([800.0 / 3600.0, 0.0, 200.0 / 3600.0]),
    }
    without = books(dock=None).hours["busy_h"]
    assert without.tolist() == pytest.approx([700.0 / 3600.0, 600.0 / 3600.0, 1550.0 / 3600.0])


def test_groups() -> None:
    """Reach: 700 + 600 + 550 s of 3 h; tow: 1000 + 3600 + 100 s of 0.75 h; of the third there is nobody."""
    found = books().groups
    assert list(found) == ["reach", "tow", "idle"]
    assert found["reach"] == pytest.approx({
        "duty_h": 3.0, "busy_h": 1850.0 / 3600.0, "utilisation": 1850.0 / 10_800.0, "charges": 1.0,
        "charger_wait_h": 200.0 / 3600.0,
    })
    assert found["tow"] == pytest.approx({
        "duty_h": 0.75, "busy_h": 4700.0 / 3600.0, "utilisation": 4700.0 / 2700.0, "charges": 2.0,
        "charger_wait_h": 1900.0 / 3600.0,
    })
    assert set(found["idle"].values()) == {0.0}
    assert found["idle"].keys() == found["tow"].keys()


def test_streams() -> None:
    """Waits of 100, 100, 100, 600, 50 s, and 4000, 100, 100 s; late by 0, 100, 500 s, and by 0 and 3000."""
    found = books().streams
    assert list(found) == ["in", "out", "none"]
    assert found["in"] == pytest.approx({
        "arisen": 6.0, "begun": 5.0, "done": 4.0, "backlog_end": 1.0, "wait_mean_s": 190.0, "due": 3.0,
        "late": 2.0, "late_share": 2.0 / 3.0, "lateness_mean_s": 200.0,
    })
    assert found["out"] == pytest.approx({
        "arisen": 4.0, "begun": 3.0, "done": 0.0, "backlog_end": 1.0, "wait_mean_s": 1400.0, "due": 2.0,
        "late": 1.0, "late_share": 0.5, "lateness_mean_s": 1500.0,
    })
    assert set(found["none"].values()) == {0.0}
    assert found["none"].keys() == found["in"].keys()


def test_trailers() -> None:
    """Waits of 50, 300, 0 and 1000 s; gone by the end are two, after 1950 and 8500 s at the door."""
    assert books().trailers == pytest.approx({
        "trailers": 4.0, "docked": 3.0, "gone": 2.0, "door_wait_mean_s": 337.5, "door_wait_max_s": 1000.0,
        "door_stay_mean_s": 5225.0,
    })
    empty = np.zeros(0)
    none = books(dock=DockBook(*[empty.astype(np.int64)] * 2, *[empty] * 3, empty.astype(np.int64), empty,
                               empty.astype(np.int64), empty, empty)).trailers
    assert none == dict.fromkeys(books().trailers, 0.0)
    assert books(dock=None).trailers == {}
    early = replace(DOCK, trailer_gone=np.array([END + 1.0, 9500.0, END + 1.0, NEVER]))
    assert books(dock=early).trailers["door_stay_mean_s"] == 0.0


def test_another_finish_is_another_book() -> None:
    """The negative control: the putaway of the pair takes 60 s longer, so the retrieval 60 s less."""
    longer = [(*ROWS[0][:5], 560.0), *ROWS[1:]]
    assert books(rows=longer).hours["busy_h"].tolist() == books().hours["busy_h"].tolist()
    assert books(rows=[*ROWS[:2], (*ROWS[2][:5], 4100.0), *ROWS[3:]]).streams != books().streams
    assert books(rows=[*ROWS[:3], (*ROWS[3][:5], 4400.0), *ROWS[4:]]).groups != books().groups
