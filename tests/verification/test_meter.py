"""Reading a meter: units, tags, gaps, doubled intervals, clock changes; of all bytes only our own error."""

from __future__ import annotations

import datetime as dt
import random
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import sim.logs.text
import sim.verification.meter
from sim.errors import InputError
from sim.verification.meter import Meter, Reading, read_meter
from sim.verification.meter_clock import find_zone, read_instants, wall_clock
from tests.verification.made_meters import meter_text

BERLIN = ZoneInfo("Europe/Berlin")
ZONES = ("Europe/Berlin", "America/Phoenix", "Australia/Lord_Howe")
"""With summer time, without, and with one of half an hour."""


def read(folder: Path, text: str | bytes, **reading: object) -> Meter:
    """Write a meter's file and read it."""
    path = folder / "meter.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_meter(path, Reading(**reading))  # type: ignore[arg-type]


def test_units_tags_and_hours(tmp_path: Path) -> None:
    """Four quarters of 2 kWh are 8; of 8 kW too; half an hour is no hour."""
    energy, power = [2.0] * 10, [8.0] * 10
    text = meter_text({"C1 [kWh measured]": energy, '"b [kW, Calculated]"': power}, step_min=15)
    meter = read(tmp_path, text)
    assert meter.interval_s == 900
    assert [column.name for column in meter.columns] == ["C1", "b"]
    assert [column.kind for column in meter.columns] == ["measured", "calculated"]
    for column in meter.columns:
        np.testing.assert_array_equal(column.kwh, [8.0, 8.0, np.nan])


def test_what_the_header_leaves_open_is_said_or_refused(tmp_path: Path) -> None:
    text = meter_text({"site": [1.0, 2.0]})
    with pytest.raises(InputError) as caught:
        read(tmp_path, text)
    assert "has no unit" in str(caught.value)
    assert "is not marked" in str(caught.value)
    meter = read(tmp_path, text, unit="kW", kind="calculated")
    assert (meter.columns[0].name, meter.columns[0].kind) == ("site", "calculated")
    assert meter.columns[0].kwh.tolist() == [1.0, 2.0]


def test_gaps_and_doubled_intervals_are_used_and_named(tmp_path: Path) -> None:
    """A day without hours 5 and 6, with hour 9 twice and hour 12 empty."""
    values = np.arange(24.0)
    text = meter_text({"site [kWh measured]": values}, leave_out=(5, 6), double=(9,))
    text = text.replace("2027-03-01T12:00,12.0", "2027-03-01T12:00,")
    meter = read(tmp_path, text)
    said = "\n".join(meter.warnings)
    assert "2027-03-01 05:00 to 2027-03-01 07:00 (2 h)" in said
    assert "1 interval stands more than once; the mean is used: 2027-03-01 09:00" in said
    assert "site: 1 interval has no value: 2027-03-01 12:00" in said
    expected = [float(hour) for hour in range(24) if hour not in (5, 6)]
    expected[expected.index(12.0)] = np.nan
    np.testing.assert_array_equal(meter.columns[0].kwh, expected)


def test_unequal_rows_of_one_interval_become_their_mean(tmp_path: Path) -> None:
    text = "time,site [kW measured]\n2027-03-01T00:00,1\n2027-03-01T00:00,3\n2027-03-01T01:00,5\n"
    assert read(tmp_path, text).columns[0].kwh.tolist() == [2.0, 5.0]


@pytest.mark.parametrize("zone", ZONES)
@pytest.mark.parametrize("writing", ["offset", "utc"])
def test_a_constant_load_over_a_year(tmp_path: Path, zone: str, writing: str) -> None:
    """3 kW in every half-hour of 2027 are 26 280 kWh in every zone; days have 23 to 25 hours by its clock.

    Where the clock moves by half an hour, the half-hour left of an hour is no whole hour and left out.
    """
    clock = ZoneInfo(zone)
    first = dt.datetime(2027, 1, 1, tzinfo=clock).astimezone(dt.UTC)
    moments = [first + dt.timedelta(minutes=30 * step) for step in range(2 * 8760)]
    shown = [moment.astimezone(clock if writing == "offset" else dt.UTC).isoformat() for moment in moments]
    text = "time,site [kW measured]\n" + "".join(f"{stamp},3\n" for stamp in shown)
    meter = read(tmp_path, text, zone=clock)
    kwh = meter.columns[0].kwh
    known = ~np.isnan(kwh)
    halves = 2 if zone == "Australia/Lord_Howe" else 0
    assert kwh[known].sum() == 3.0 * (8760 - 0.5 * halves)
    assert int((~known).sum()) == halves
    lengths = {meter.hours_of_day(int(day)) for day in np.unique(meter.day)}
    assert lengths == ({23, 24, 25} if zone == "Europe/Berlin" else {24})


def test_naive_times_at_a_change_of_the_clock(tmp_path: Path) -> None:
    """Clocks go back on 2027-10-31: the hour from 2 stands twice, 25 hours in all."""
    stamps = [f"2027-10-31T{hour:02d}:00" for hour in (0, 1, 2, 2, *range(3, 24))]
    text = "time,site [kWh measured]\n" + "".join(f"{stamp},1\n" for stamp in stamps)
    meter = read(tmp_path, text, zone=BERLIN)
    assert meter.columns[0].kwh.tolist() == [1.0] * 25
    assert meter.hours_of_day(int(meter.day[0])) == 25
    assert "the first of each is taken for the earlier" in meter.warnings[0]
    once = text.replace("2027-10-31T02:00,1\n", "", 1)
    with pytest.raises(InputError, match="twice, and it stands here once"):
        read(tmp_path, once, zone=BERLIN)
    for dst, missing in (("first", "02:00 to 2027-10-31 03:00"), ("second", "02:00 to 2027-10-31 02:00")):
        meter = read(tmp_path, once, zone=BERLIN, dst=dst)
        assert len(meter) == 24
        assert missing in meter.warnings[0]
    plain = read(tmp_path, text)
    assert "every day with 24 hours" in plain.warnings[0]
    assert "more than once" in plain.warnings[1]


def test_what_is_assumed_where_no_zone_is_known(tmp_path: Path) -> None:
    """Offsets give hours of the day; without them every day has 24; with a zone nothing is told."""
    lines = [f"2027-03-01T0{hour}:00+01:00,{hour}\n" for hour in range(3)]
    text = "time,site [kWh measured]\n" + "".join(lines)
    assumed = "no time zone is known: hours of the day are those that the file's offsets give"
    found = read(tmp_path, text)
    assert found.warnings == (assumed,)
    assert (found.wall_s % 86_400).tolist() == [0, 3600, 7200]
    in_utc = read(tmp_path, text.replace("+01:00", "Z"))
    assert in_utc.warnings == (assumed,)
    plain = read(tmp_path, text.replace("+01:00", ""))
    assert plain.warnings == (
        "no time zone is known: the clock is taken to run through, every day with 24 hours",
    )
    assert read(tmp_path, text, zone=BERLIN).warnings == ()


def test_a_file_of_too_many_rows_is_no_meter(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Reading ends with the block after the last row allowed; as many rows as are allowed are read."""
    monkeypatch.setattr(sim.logs.text, "_BLOCK_BYTES", 100)
    monkeypatch.setattr(sim.verification.meter, "_MOST_ROWS", 24)
    rows = meter_text({"site [kWh measured]": np.ones(40)})
    assert len(read(tmp_path, meter_text({"site [kWh measured]": np.ones(24)}))) == 24
    with pytest.raises(InputError) as caught:
        read(tmp_path, rows)
    path = tmp_path / "meter.csv"
    assert str(caught.value) == f"{path}: has more than 24 rows, which are 11 years of minutes"


def test_a_time_that_no_clock_shows(tmp_path: Path) -> None:
    """Clocks go forward on 2027-03-28 over the hour from 2."""
    text = "time,site [kWh measured]\n" + "".join(f"2027-03-28T{hour:02d}:00,1\n" for hour in range(4))
    with pytest.raises(InputError) as caught:
        read(tmp_path, text, zone=BERLIN)
    assert caught.value.faults[0].line == 4
    assert "never" in str(caught.value)
    meter = read(tmp_path, text.replace("2027-03-28T02:00,1\n", ""), zone=BERLIN)
    assert len(meter) == 3
    assert not meter.warnings
    assert meter.hours_of_day(int(meter.day[0])) == 23


def test_instants_against_the_standard_library() -> None:
    """Python's zoneinfo, both ways, around every change of ten years."""
    for name in ZONES:
        zone = ZoneInfo(name)
        start = dt.datetime(2020, 1, 1, tzinfo=dt.UTC)
        moments = [start + dt.timedelta(hours=7 * step) for step in range(12_000)]
        utc = np.array([int(moment.timestamp()) for moment in moments])
        wall = wall_clock(utc, zone)
        local = [moment.astimezone(zone) for moment in moments]
        naive = [moment.replace(tzinfo=dt.UTC).timestamp() for moment in local]
        assert wall.tolist() == naive
        found = read_instants([moment.isoformat() for moment in local], zone)
        assert not found.faults
        assert found.utc_s.tolist() == utc.tolist()
        assert found.wall_s.tolist() == wall.tolist()


def test_end_stamps_name_the_hour_before(tmp_path: Path) -> None:
    text = meter_text({"site [kWh measured]": [1.0, 2.0, 3.0]}, start=dt.datetime(2027, 3, 1, 1))
    meter = read(tmp_path, text, stamps="end")
    assert [int(second) % 86_400 // 3600 for second in meter.wall_s] == [0, 1, 2]


def test_end_stamps_at_a_change_of_the_clock(tmp_path: Path) -> None:
    """What ends at 02:00+01:00, the second 2 o'clock of 2027-10-31, began at the first."""
    stamps = ("T01:00+02:00", "T02:00+02:00", "T02:00+01:00", "T03:00+01:00", "T04:00+01:00")
    text = "time,site [kWh measured]\n" + "".join(f"2027-10-31{stamp},1\n" for stamp in stamps)
    meter = read(tmp_path, text, stamps="end", zone=BERLIN)
    assert [int(second) % 86_400 // 3600 for second in meter.wall_s] == [0, 1, 2, 2, 3]


@settings(max_examples=40, deadline=None)
@given(
    st.lists(st.integers(0, 400), min_size=3, max_size=60, unique=True),
    st.randoms(use_true_random=False),
)
def test_shuffled_and_sorted_is_the_same(
    tmp_path_factory: pytest.TempPathFactory, rows: list[int], rng: random.Random
) -> None:
    folder = tmp_path_factory.mktemp("meters")
    rows = sorted({*rows, 0, 1, 2, 3, 4, 5, 6, 7, 8})
    lines = [
        f"{(dt.datetime(2027, 3, 1) + dt.timedelta(minutes=15 * row)).isoformat()},{row / 8}" for row in rows
    ]
    head = "time,site [kWh measured]"
    in_order = read(folder, "\n".join([head, *lines]))
    rng.shuffle(lines)
    again = read(folder, "\n".join([head, *lines]), sort=True)
    np.testing.assert_array_equal(again.columns[0].kwh, in_order.columns[0].kwh)
    assert again.wall_s.tolist() == in_order.wall_s.tolist()
    assert again.warnings == in_order.warnings


LETTERS = st.sampled_from(list("time,site [kWh]\n\r\t 0123456789.-+:TZeE\"';\u00e4\0"))


@settings(max_examples=250, deadline=None)
@given(st.text(LETTERS, max_size=90) | st.binary(max_size=70), st.sampled_from(["", *ZONES]))
def test_any_meter(tmp_path_factory: pytest.TempPathFactory, tail: str | bytes, zone: str) -> None:
    """Whatever the bytes, only an InputError leaves."""
    folder = tmp_path_factory.mktemp("meters")
    data = tail if isinstance(tail, bytes) else tail.encode()
    head = b"time,site [kWh measured]\n2027-03-01T00:00,1\n2027-03-01T01:00,2\n"
    for text in (data, head + data, b"time," + data):
        faults: str | None = None
        try:
            meter = read(folder, text, zone=find_zone(zone) if zone else None, unit="kW", kind="measured")
            assert len(meter) > 0
        except InputError as error:
            faults = str(error)
        assert faults is None or faults.replace("\n", "").isprintable()


STAMPS = st.builds(
    "{}-{:02d}-{:02d}{}{:02d}:{:02d}{}".format,
    st.integers(1960, 2210), st.integers(0, 13), st.integers(0, 32), st.sampled_from("T "),
    st.integers(0, 24), st.integers(0, 60), st.sampled_from(["", "Z", "+01:00", "-2359", ":30", "+25:00"]),
)


@settings(max_examples=200, deadline=None)
@given(st.lists(STAMPS, min_size=1, max_size=8), st.sampled_from(["", *ZONES]))
def test_any_time(texts: list[str], zone: str) -> None:
    """Every row is read or told; nothing else happens."""
    found = read_instants(texts, find_zone(zone) if zone else None)
    assert len(found.utc_s) == len(texts)
    assert all(0 <= row < len(texts) and text.isprintable() for row, text in found.faults)
