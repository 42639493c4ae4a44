"""What the readers of logs make of rows: times, order, cuts, unions, columns of visits."""

from __future__ import annotations

import datetime as dt
import random
from fractions import Fraction
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.errors import InputError
from sim.floor.layout import lay_out
from sim.logs.clock import RunClock
from sim.logs.form import OWN_FORM
from sim.logs.times import TimeReader
from sim.logs.values import fast_numbers, parse_number
from sim.replication import prepare_site
from sim.results import ExtraTable
from sim.scenario.toml import load_scenario
from sim.sensing.logs import read_detections
from sim.study.from_logs.log import read_site_log
from sim.study.from_logs.traffic import LogKind, read_log_traffic, scan_log
from sim.traffic.logs import read_visit_rows
from sim.traffic.paths import VISIT_TASKS

SITE = load_scenario(Path(__file__).parents[1] / "corpus" / "logs" / "site.toml")
LAYOUT = lay_out(SITE)
PREPARED = prepare_site(SITE)
FULL = (
    "aisle,enter,leave,truck,bay_m,arrive,type,task,enters_at,leaves_at,second_bay_m,second_stand_s\n"
    "A02,10,50.5,reach-01,12.5,9.25,reach,replenish-both,back,front,30,11\n"
    "A01,10,90000,,,,,,,,,\n"
    "B 1,20,40,t 7,0,20,,retrieve,front,back,,\n"
)


def seconds_of(text: str, start: dt.datetime) -> float:
    """Read one time of a log without a time zone."""
    return float(TimeReader(RunClock.of(start, 30.0), OWN_FORM).read([text]).seconds[0])


def written(folder: Path, text: str | bytes) -> Path:
    """Write a log."""
    path = folder / "log.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def test_visits_with_every_column(tmp_path: Path) -> None:
    rows = read_visit_rows(written(tmp_path, FULL), SITE, LAYOUT)
    assert rows.line.tolist() == [2, 3, 4]
    assert rows.aisle.tolist() == [1, 0, 2]
    assert rows.enter.tolist() == [10.0, 10.0, 20.0]
    assert rows.leave.tolist() == [50.5, 86400.0, 40.0]
    assert rows.truck.tolist() == [0, -1, 1]
    assert rows.truck_names == ("T01", "T02"), "pseudonyms by first appearance"
    assert rows.group.tolist() == [0, -1, -1]
    assert [VISIT_TASKS[task] for task in rows.task] == ["replenish-both", "unknown", "retrieve"]
    assert rows.enters_back.tolist() == [True, False, False]
    assert rows.leaves_back.tolist() == [False, False, True]
    np.testing.assert_array_equal(rows.bay_m, [12.5, np.nan, 0.0])
    np.testing.assert_array_equal(rows.arrive, [9.25, np.nan, 20.0])
    np.testing.assert_array_equal(rows.second_bay_m, [30.0, np.nan, np.nan])
    np.testing.assert_array_equal(rows.second_stand_s, [11.0, np.nan, np.nan])


def test_visits_with_the_least_columns(tmp_path: Path) -> None:
    rows = read_visit_rows(written(tmp_path, "leave,aisle,enter\n30,A01,0\n"), SITE, LAYOUT)
    assert (rows.truck.tolist(), rows.group.tolist()) == ([-1], [-1])
    assert VISIT_TASKS[rows.task[0]] == "unknown"
    assert not rows.enters_back.any()
    assert np.isnan(rows.bay_m).all()
    assert np.isnan(rows.arrive).all()


def test_sorting_visits_keeps_rows_of_one_time_in_order(tmp_path: Path) -> None:
    text = "aisle,enter,leave,truck\nA01,30,40,a\nA01,20,25,b\nA02,30,35,c\nA02,20,21,d\n"
    path = written(tmp_path, text)
    with pytest.raises(InputError, match="2 such rows"):
        read_visit_rows(path, SITE, LAYOUT)
    rows = read_visit_rows(path, SITE, LAYOUT, sort=True)
    assert [rows.truck_names[truck] for truck in rows.truck] == ["T02", "T04", "T01", "T03"]
    assert rows.line.tolist() == [3, 5, 2, 4]


def test_order_of_detections_counts_within_a_zone(tmp_path: Path) -> None:
    text = "zone,start,end\nA02,50,60\nA01,0,5\nA01,7,8\nA02,70,80\n"
    found = read_detections(written(tmp_path, text), SITE, LAYOUT)
    assert found.zone.tolist() == [0, 0, 1, 1]


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.sampled_from(["A01", "A02", "B 1"]), st.integers(0, 300), st.integers(0, 40)),
        min_size=1,
        max_size=40,
    ),
    st.randoms(use_true_random=False),
)
def test_shuffled_and_sorted_is_the_log_in_order(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[str, int, int]], rng: random.Random
) -> None:
    """Shuffling and `sort` changes nothing; the count of rows out of order is exact."""
    folder = tmp_path_factory.mktemp("logs")
    ordered = sorted(rows, key=lambda row: row[1])
    lines = [f"{zone},{start},{start + length}" for zone, start, length in ordered]
    in_order = read_detections(written(folder, "\n".join(["zone,start,end", *lines])), SITE, LAYOUT)
    rng.shuffle(lines)
    path = written(folder, "\n".join(["zone,start,end", *lines]))
    again = read_detections(path, SITE, LAYOUT, sort=True)
    for column in ("zone", "start", "end"):
        assert getattr(again, column).tolist() == getattr(in_order, column).tolist()
    latest: dict[str, int] = {}
    late = 0
    for line in lines:
        zone, start, _ = line.split(",")
        late += int(start) < latest.get(zone, -1)
        latest[zone] = int(start)
    if late:
        with pytest.raises(InputError, match="the only such row" if late == 1 else f"{late} such rows"):
            read_detections(path, SITE, LAYOUT)


def test_union_by_hand(tmp_path: Path) -> None:
    """Seconds in which a zone is seen, counted one by one."""
    text = "zone,start,end\nA01,0,3\nA01,2,5\nA01,5,6\nA01,7,7\nA01,7,9\nA01,20,\nA02,3,4\n"
    found = read_detections(written(tmp_path, text), SITE, LAYOUT)
    assert list(zip(found.zone.tolist(), found.start.tolist(), found.end.tolist(), strict=True)) == [
        (0, 0.0, 6.0),
        (0, 7.0, 9.0),
        (0, 20.0, 20.0),
        (1, 3.0, 4.0),
    ]


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_numbers_survive_writing(value: float) -> None:
    assert parse_number(repr(value)) == value
    column = fast_numbers([repr(value), ""])
    assert column is not None
    assert column[0] == value
    assert np.isnan(column[1])


@settings(max_examples=200)
@given(st.integers(0, 10**9), st.integers(0, 999_999_999), st.integers(1, 9))
def test_date_times_are_the_nearest_double(seconds: int, fraction: int, digits: int) -> None:
    """Exact in rational arithmetic, then rounded once."""
    start = dt.datetime(2027, 3, 1, 6)
    digits_text = f"{fraction:09d}"[:digits]
    text = f"{(start + dt.timedelta(seconds=seconds)).isoformat()}.{digits_text}"
    assert seconds_of(text, start) == float(seconds + Fraction(int(digits_text), 10**digits))


def test_date_times_against_a_start_within_a_second() -> None:
    start = dt.datetime(2027, 3, 1, 6, 0, 0, 250_000)
    assert seconds_of("2027-03-01T06:00:01.75", start) == 1.5
    assert seconds_of("2027-03-01 05:59:59", start) == -1.25
    assert seconds_of("2027-03-01T06:00", dt.datetime(2027, 3, 1)) == 21_600.0


RIGHT = "2027-03-01T06:00:09"


@pytest.mark.parametrize(
    ("texts", "wrong"),
    [
        (["nineteen letters ok", RIGHT], [0, 1]),  # the first text says of which kind a log's times are
        ([RIGHT, "nineteen letters ok"], [1]),
        ([RIGHT, "2027/03/01T06:00:09"], [1]),
        ([RIGHT, "2027-03-01T06:0x:09"], [1]),
        ([RIGHT, "2027-03-01T06:00:0/"], [1]),
        ([RIGHT, "2027-13-01T06:00:09", RIGHT], [1]),
        ([RIGHT, "2027-00-01T06:00:09"], [1]),
        ([RIGHT, "2027-03-00T06:00:09"], [1]),
        ([RIGHT, "0000-03-01T06:00:09"], [1]),
        ([RIGHT, "2027-02-29T06:00:09"], [1]),
        ([RIGHT, "2027-03-01T24:00:09"], [1]),
        ([RIGHT, "2027-03-01T06:00:60"], [1]),
        ([RIGHT, "2027-03-01 06:00:09"], []),  # a blank for the T: another form, the same time
        (["2027-03-01T06:00:09.00", "2027-03-01T06:00:09,00"], []),
    ],
)
def test_times_that_are_not_alike(texts: list[str], wrong: list[int]) -> None:
    """Rows that are no date-times are told, and those beside them are the ninth second of the run."""
    times = TimeReader(RunClock.of(dt.datetime(2027, 3, 1, 6), 1.0), OWN_FORM).read(texts)
    assert sorted(times.faults) == wrong
    read = times.seconds[~np.isnan(times.seconds)]
    assert read.tolist() == [9.0] * (len(texts) - len(wrong))


@pytest.mark.parametrize(
    ("text", "utc"),
    [
        ("2027-03-01T06:00+01:00", "05:00"),
        ("2027-03-01T06:00-0330", "09:30"),
        ("2027-03-01 06:00:00Z", "06:00"),
    ],
)
def test_instants_with_and_without_seconds(text: str, utc: str) -> None:
    """In Reykjavik the clock shows UTC all year."""
    start = dt.datetime(2027, 3, 1)
    found = TimeReader(RunClock.of(start, 1.0, "Atlantic/Reykjavik"), OWN_FORM).read([text] * 2)
    hours, minutes = map(int, utc.split(":"))
    assert found.seconds.tolist() == [3600.0 * hours + 60.0 * minutes] * 2


LETTERS = st.sampled_from(list("zonestard,;\"'\n\r\t 0123456789.-+eEAB:TZ\u00e4\0"))
HEADS = {
    "visits": b"aisle,enter,leave,truck,bay_m\nA01,0,3,t,4\n",
    "detections": b"zone,start,end\nA01,0,3\n",
    "moves": b"time,from,to\n0,A01,A02\n",
    "picks": b"time,location\n0,A01\n",
}


ANY_TAIL = st.text(LETTERS, max_size=80) | st.binary(max_size=60)
ANY_KIND = st.sampled_from(sorted(HEADS))


@settings(max_examples=200, deadline=None)
@given(ANY_TAIL, ANY_KIND)
def test_any_log(tmp_path_factory: pytest.TempPathFactory, tail: str | bytes, kind: LogKind) -> None:
    check_any_log(tmp_path_factory.mktemp("logs"), tail, kind)


@pytest.mark.slow
@settings(max_examples=10_000, deadline=None)
@given(ANY_TAIL, ANY_KIND)
def test_twenty_thousand_logs(
    tmp_path_factory: pytest.TempPathFactory, tail: str | bytes, kind: LogKind
) -> None:
    """Ten thousand drawn texts, each as it is and behind a header."""
    check_any_log(tmp_path_factory.getbasetemp(), tail, kind)


def check_any_log(folder: Path, tail: str | bytes, kind: LogKind) -> None:
    """Whatever the bytes, only an InputError leaves; reading, scanning and trusting tell of the same rows."""
    data = tail if isinstance(tail, bytes) else tail.encode()
    for text in (data, HEADS[kind] + data):
        path = written(folder, text)
        faults, found = [], {}
        for name, look in (
            ("read", partial(read_log_traffic, PREPARED, **{kind: path})),
            ("scanned", partial(scan_log, PREPARED, kind, path)),
            ("trusted", partial(read_site_log, PREPARED, kind, path, trusted=True)),
        ):
            try:
                found[name] = look()
            except InputError as error:
                faults.append(str(error))
        assert all(fault.replace("\n", "").isprintable() for fault in faults)
        if found:
            rows = rows_read(found["scanned"])
            assert "read" not in found or rows_read(found["read"].tables[0]) == rows
            assert "trusted" not in found or are_events_of(kind, float(found["trusted"].events.sum()), rows)


def rows_read(quality: ExtraTable) -> int:
    """Return how many rows a log has, by its table of quality."""
    return int({row[0]: row[1] for row in quality.rows}["rows read"])


def are_events_of(kind: LogKind, events: float, rows: int) -> bool:
    """Say whether rows can make so many entries.

    A visit is one; a pick one at most, together one at least; a move two at most; motion that was there at
    second 0, or follows other motion, is none.
    """
    ends = {"visits": (rows, rows), "picks": (1, rows), "moves": (1, 2 * rows), "detections": (0, rows)}
    least, most = ends[kind]
    return least <= events <= most


@pytest.mark.parametrize(
    ("kind", "text", "events"),
    [
        ("visits", "aisle,enter,leave\nA01,0,3\nA01,10,20\nB 1,10,90000\n", 3),
        # in A01 at 100 s and, after rows that go on, at 5000 s; what is there at 0 s has not come
        ("detections", "zone,start,end\nA01,100,130\nA01,120,140\nA01,150,\nA01,5000,5010\nA02,0,9\n", 2),
        # two aisles each time, an hour apart
        ("moves", "time,from,to\n50,A01,A02\n3650,A01,A02\n", 4),
        # two picks 20 s apart, with 30 s of handling each, are one stay; an hour later the truck comes anew
        ("picks", "time,location,truck\n500,A01,t\n520,A01,t\n4100,A01,t\n", 2),
    ],
    ids=HEADS,
)
def test_entries_by_hand(kind: LogKind, text: str, events: int, tmp_path: Path) -> None:
    """How many entries the rows make; and the check of any log fails for more or fewer than can be."""
    path = written(tmp_path, text)
    rows = text.count("\n") - 1
    assert rows_read(scan_log(PREPARED, kind, path)) == rows
    assert read_site_log(PREPARED, kind, path, trusted=True).events.sum() == events
    assert are_events_of(kind, events, rows)
    assert not are_events_of(kind, 2 * rows + 1, rows)
    assert not are_events_of(kind, -1, rows)
