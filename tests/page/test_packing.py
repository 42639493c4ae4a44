"""What is packed for the page: shifts as spans of the run, and no more of the traffic than may matter."""

from __future__ import annotations

import base64
import datetime as dt
import zlib

import numpy as np
import pytest

import sim
from sim.records import Stays
from sim.replication import prepare_site, simulate_traffic
from sim.show.page.data import Source, gather, pack_page
from sim.show.page.packing import pack_bytes, pack_columns
from sim.show.page.shifts import work_shifts
from sim.units import WEEKDAYS


@pytest.mark.parametrize("start", [dt.datetime(2027, 3, 1), dt.datetime(2027, 3, 4, 9, 30)])
def test_shifts_are_where_the_calendar_has_them(start: dt.datetime) -> None:
    """Every tenth minute of the run, looked up in the scenario's rows by weekday and time of day."""
    scenario = sim.load("pallet-reserve").model_copy(update={"start": start})
    shifts = {shift.label: shift for shift in work_shifts(scenario)}
    assert set(shifts) == {"06:00 to 14:00", "14:00 to 22:00"}
    for row in scenario.shifts:
        edges = np.array(shifts[f"{row.from_} to {row.to}"].spans).ravel()
        for minute in range(0, int(scenario.days * 1440), 10):
            now = start + dt.timedelta(minutes=minute)
            is_on = WEEKDAYS[now.weekday()] in row.days and row.from_ <= f"{now:%H:%M}" < row.to
            assert (np.searchsorted(edges, 60.0 * minute, side="right") % 2 == 1) == is_on, (row, now)


def test_a_night_shift_belongs_to_the_day_it_begins_on() -> None:
    """Cross-dock, Monday 00:00 on: the night that begins on Sunday is under way where Sunday has one."""
    scenario = sim.load("cross-dock")
    night = next(row for row in scenario.shifts if row.to < row.from_)
    spans = next(one.spans for one in work_shifts(scenario) if one.label == f"{night.from_} to {night.to}")
    start = scenario.start_datetime
    begins = {WEEKDAYS[(start + dt.timedelta(seconds=begin)).weekday()] for begin, _ in spans}
    assert begins - set(night.days) <= {WEEKDAYS[start.weekday()]}
    assert all(begin < end for begin, end in spans)


def test_entries_count_by_their_weight() -> None:
    shift = work_shifts(sim.load("pallet-reserve"))[0]
    begin, end = shift.spans[0]
    times = np.array([begin - 1.0, begin, 0.5 * (begin + end), end])
    zone = np.zeros(4, dtype=np.int64)
    weight = np.array([1.0, 0.5, 1.0, 1.0])
    assert shift.entries(Stays(zone, zone, times, times + 1.0)) == 2.0
    assert shift.entries(Stays(zone, zone, times, times + 1.0, weight)) == 1.5


def test_packed_columns_hold_every_bit() -> None:
    """Unpacked here by hand; the page's own unpacking is tried in test_node."""
    rng = np.random.default_rng(1)
    column = np.cumsum(rng.exponential(10.0, 100))
    text = pack_columns([column])
    planes = np.frombuffer(zlib.decompress(base64.b64decode(text["data"])), dtype=np.uint8).reshape(8, 100)
    numbers = np.ascontiguousarray(planes.T).view("<u8").ravel()
    if text["forms"] == ["rise"]:
        numbers = np.cumsum(numbers, dtype=np.uint64)
    assert numbers.view("<f8").tolist() == column.tolist()
    kinds = rng.integers(0, 4, 50).astype(np.uint8)
    assert zlib.decompress(base64.b64decode(pack_bytes(kinds)["data"])) == kinds.tobytes()


def test_less_traffic_is_kept_where_sliders_begin_later() -> None:
    """Fewer blocks and pieces than detections and stays, and fewer still with a greater least timeout."""
    scenario = sim.load("pallet-reserve")
    traffic = simulate_traffic(prepare_site(scenario), 0)
    gathered = gather([Source("as planned", scenario)], [0], lambda done, expected: None)
    kept = []
    for least_s in (30.0, 60.0):
        run = pack_page(gathered, [0], least_s)["variants"][0]["runs"][0]
        kept.append((sum(run["block_counts"]), sum(run["piece_counts"])))
    assert traffic.stays is not None
    assert len(traffic.detections.start) > kept[0][0] > kept[1][0]
    assert len(traffic.stays.enter) > kept[0][1] > kept[1][1]
