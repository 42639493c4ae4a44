"""Summer time in logs: what a local clock shows against seconds of the run, and a year's energy."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.errors import InputError
from sim.floor.layout import lay_out
from sim.logs.clock import RunClock, wall_seconds
from sim.logs.form import LogForm
from sim.logs.times import TimeReader
from sim.scenario.schema import Scenario
from sim.scenario.toml import load_scenario
from sim.sensing.logs import read_detections
from sim.study.replications.replicate import replay

SITE = load_scenario(Path(__file__).parents[1] / "corpus" / "logs" / "site.toml")
BERLIN, PHOENIX, LORD_HOWE = "Europe/Berlin", "America/Phoenix", "Australia/Lord_Howe"


def site_in(zone: str, start: dt.datetime, days: float) -> Scenario:
    """The corpus' site elsewhere and at another time."""
    return SITE.model_copy(update={"timezone": zone, "start": start, "days": days})


def read_times(zone: str, start: dt.datetime, texts: list[str], **form: str) -> list[float]:
    """Seconds of the run of some times; nan for faults."""
    times = TimeReader(RunClock.of(start, 3.0, zone), LogForm(**form)).read(texts)  # type: ignore[arg-type]
    return times.seconds.tolist()


def first_fault(zone: str, start: dt.datetime, texts: list[str], **form: str) -> str:
    """What is said of the first time at fault."""
    times = TimeReader(RunClock.of(start, 3.0, zone), LogForm(**form)).read(texts)  # type: ignore[arg-type]
    return times.faults[min(times.faults)]


def real_hours(zone: str, day: dt.date) -> float:
    """Length of a local day, by the time zone database alone [h]."""
    clock = ZoneInfo(zone)
    midnights = [dt.datetime.combine(day + dt.timedelta(days=k), dt.time(), clock) for k in (0, 1)]
    return (midnights[1].astimezone(dt.UTC) - midnights[0].astimezone(dt.UTC)).total_seconds() / 3600.0


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        (BERLIN, dt.date(2026, 3, 29), 23.0),
        (BERLIN, dt.date(2026, 10, 25), 25.0),
        (BERLIN, dt.date(2026, 6, 1), 24.0),
        (PHOENIX, dt.date(2026, 3, 29), 24.0),
        (LORD_HOWE, dt.date(2026, 4, 5), 24.5),
        (LORD_HOWE, dt.date(2026, 10, 4), 23.5),
    ],
)
def test_days_of_23_to_25_hours(zone: str, day: dt.date, hours: float) -> None:
    """Figures of the time zone database. The run's own day has 24 h throughout."""
    assert real_hours(zone, day) == hours
    start = dt.datetime.combine(day, dt.time())
    clock = RunClock.of(start, 1.0, zone)
    midnights = [dt.datetime.combine(day + dt.timedelta(days=k), dt.time()) for k in (0, 1)]
    utc, _ = clock.instants(np.array([wall_seconds(midnight) for midnight in midnights]), "")
    assert (utc[1] - utc[0]) / 3600.0 == hours
    assert clock.run_seconds(utc)[0].tolist() == [0, 86_400]
    skipped = sum(high - low for low, high in clock.skipped if 0 <= low < 86_400)
    assert skipped == max(0.0, 24.0 - hours) * 3600.0


def test_the_spring_night_of_berlin() -> None:
    """The clock goes from 02:00 to 03:00: nothing happens in the hour between."""
    start = dt.datetime(2026, 3, 29)
    texts = ["2026-03-29T01:59:59+01:00", "2026-03-29T03:00:00+02:00", "2026-03-29T01:30:00Z"]
    assert read_times(BERLIN, start, texts) == [7199.0, 10800.0, 12600.0]
    local = ["2026-03-29T01:59:59", "2026-03-29T02:30:00", "2026-03-29T03:00:00"]
    assert "never comes in Europe/Berlin" in first_fault(BERLIN, start, local)
    assert read_times(BERLIN, start, local, dst="first") == [7199.0, 12600.0, 10800.0]
    assert read_times(BERLIN, start, local, dst="second") == [7199.0, 5400.0, 10800.0]


def test_the_autumn_night_of_berlin() -> None:
    """The hour from 02:00 comes twice: the second pass lies at 03:00 of the run, and is told."""
    start = dt.datetime(2026, 10, 25)
    texts = [
        "2026-10-25T02:30:00+02:00", "2026-10-25T02:59:59+02:00", "2026-10-25T02:00:00+01:00",
        "2026-10-25T02:59:59+01:00", "2026-10-25T03:00:00+01:00",
    ]
    times = TimeReader(RunClock.of(start, 1.0, BERLIN), LogForm()).read(texts)
    assert times.seconds.tolist() == [9000.0, 10799.0, 10800.0, 10800.0, 10800.0]
    assert times.is_repeat.tolist() == [False, False, True, True, False]
    local = ["2026-10-25T01:00:00", "2026-10-25T02:30:00"]
    assert "comes twice in Europe/Berlin" in first_fault(BERLIN, start, local)
    assert read_times(BERLIN, start, local, dst="first") == [3600.0, 9000.0]
    assert read_times(BERLIN, start, local, dst="second") == [3600.0, 10800.0]


def test_the_half_hour_of_lord_howe() -> None:
    """2026-04-05 02:00 is put back to 01:30."""
    start = dt.datetime(2026, 4, 5)
    texts = ["2026-04-05T01:45:00+11:00", "2026-04-05T01:45:00+10:30", "2026-04-05T02:00:00+10:30"]
    times = TimeReader(RunClock.of(start, 1.0, LORD_HOWE), LogForm()).read(texts)
    assert times.seconds.tolist() == [6300.0, 7200.0, 7200.0]
    assert times.is_repeat.tolist() == [False, True, False]


def test_a_zone_without_summer_time_never_complains() -> None:
    start = dt.datetime(2026, 3, 29)
    assert read_times(PHOENIX, start, ["2026-03-29T02:30:00"]) == [9000.0]


def test_mixing_is_refused_and_offsets_need_a_zone() -> None:
    start = dt.datetime(2026, 3, 29)
    mixed = ["2026-03-29T01:00:00+01:00", "2026-03-29T04:00:00"]
    assert "of another kind" in first_fault(BERLIN, start, mixed)
    assert "give the scenario a timezone" in first_fault("", start, mixed[:1])
    turned = mixed[::-1]
    assert first_fault("", start, turned) == (
        '"2026-03-29T01:00:00+01:00" has a time zone; give the scenario a timezone = "...", or write local '
        "time without it"
    )
    assert first_fault(BERLIN, start, turned) == (
        '"2026-03-29T01:00:00+01:00" is of another kind than the first time of the log, date-times; use one '
        "kind"
    )


@pytest.mark.parametrize(("form", "text"), [("unix", "2e11"), ("unix_ms", "2e14"), ("unix", "noon")])
def test_what_is_no_time_since_1970(form: str, text: str) -> None:
    """Beyond 1e11 s, the year 5138, and words; the number beside it is read all the same."""
    start = dt.datetime(1970, 1, 1)
    read = read_times(PHOENIX, start, [text, "25200" if form == "unix" else "25200000"], time=form)
    assert np.isnan(read[0])
    assert read[1] == 0.0, "midnight in Phoenix is seven o'clock UTC"
    said = first_fault(PHOENIX, start, [text], time=form)
    assert said == f'"{text}" is no time since 1970; the columns file says time = {form}'


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from([BERLIN, PHOENIX, LORD_HOWE, "America/New_York", "Asia/Kathmandu"]),
    st.lists(st.integers(0, 365 * 86_400), min_size=1, max_size=30),
)
def test_seconds_of_the_run_are_the_latest_that_the_clock_showed(zone: str, after: list[int]) -> None:
    """Against the time zone database minute by minute, looking back over the hour before."""
    start = dt.datetime(2026, 1, 1)
    clock, tz = RunClock.of(start, 366.0, zone), ZoneInfo(zone)
    begin = int(start.replace(tzinfo=tz).timestamp())
    utc = np.array(sorted(begin + second for second in after))
    found, is_repeat = clock.run_seconds(utc)

    def shown(instant: int) -> int:
        return wall_seconds(dt.datetime.fromtimestamp(instant, dt.UTC).astimezone(tz)) - wall_seconds(start)

    for instant, second, repeat in zip(utc.tolist(), found.tolist(), is_repeat.tolist(), strict=True):
        back = range(instant - 3600, instant + 1, 60)
        latest = max(max(shown(one) for one in back), shown(instant))
        assert abs(second - latest) < 60
        assert repeat == (shown(instant) < second)
    assert (np.diff(found) >= 0).all()


@pytest.mark.parametrize("zone", [BERLIN, PHOENIX, LORD_HOWE])
def test_a_constant_load_over_the_year_is_exact(zone: str, tmp_path: Path) -> None:
    """Motion in every real hour of 2026: the light is up for 8,760 h, and uses power x 8,760 h."""
    tz, start = ZoneInfo(zone), dt.datetime(2026, 1, 1)
    first = start.replace(tzinfo=tz).astimezone(dt.UTC)
    instants = [first + dt.timedelta(hours=hour) for hour in range(8761)]
    stamps = [instant.astimezone(tz).isoformat() for instant in instants]
    rows = [f"{name},{stamps[k]},{stamps[k + 1]}" for k in range(8760) for name in ("A01", "A02", "B 1")]
    path = tmp_path / "year.csv"
    path.write_text("\n".join(["zone,start,end", *rows]), encoding="utf-8")
    site = site_in(zone, start, 365.0)
    found = read_detections(path, site, lay_out(site))
    assert found.start.tolist() == [0.0, 0.0, 0.0], "no hole at either change of the clock"
    assert found.end.tolist() == [365 * 86_400.0] * 3
    total = replay(site, detections=path).outcomes[0].total
    assert total["energy_kwh"] == pytest.approx(3 * 8 * 0.1 * 8760.0, rel=1e-12)
    assert total["always_on_kwh"] == pytest.approx(3 * 8 * 0.1 * 8760.0, rel=1e-12)


def test_an_hour_without_motion_would_be_seen(tmp_path: Path) -> None:
    """Negative control: one hour less of motion is 50 min at 20 % (timeout 10 min, no standby, no fade)."""
    path = tmp_path / "day.csv"
    rows = [f"{name},{a},{b}" for name in ("A01", "A02", "B 1") for a, b in ((0, 36_000), (39_600, 86_400))]
    path.write_text("\n".join(["zone,start,end", *rows]), encoding="utf-8")
    total = replay(SITE, detections=path).outcomes[0].total
    full = 3 * 8 * 0.1 * 24.0
    assert total["energy_kwh"] == pytest.approx(full - 3 * 8 * 0.1 * 0.8 * 50 / 60, rel=1e-9)


def test_the_second_pass_is_left_out_and_counted(tmp_path: Path) -> None:
    from sim.replication import prepare_site
    from sim.study.from_logs.traffic import read_log_traffic

    path = tmp_path / "night.csv"
    path.write_text(
        "zone,start,end\n"
        "A01,2026-10-25T01:50:00+02:00,2026-10-25T02:10:00+02:00\n"
        "A01,2026-10-25T02:10:00+01:00,2026-10-25T02:20:00+01:00\n"
        "A01,2026-10-25T02:50:00+01:00,2026-10-25T03:10:00+01:00\n",
        encoding="utf-8",
    )
    read = read_log_traffic(prepare_site(site_in(BERLIN, dt.datetime(2026, 10, 25), 1.0)), detections=path)
    assert read.traffic.detections.start.tolist() == [6600.0, 10800.0]
    assert read.traffic.detections.end.tolist() == [7800.0, 11400.0]
    counts = {row[0]: row[1] for row in read.tables[0].rows}
    assert counts["rows in an hour that the clock showed twice"] == "1"


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("detections", "zone,start,end\nA01,2026-10-25T02:30:00+01:00,2026-10-25T02:31:00+01:00\n"),
        ("visits", "aisle,enter,leave,bay_m\nA01,2026-10-25T02:30:00+01:00,2026-10-25T02:31:00+01:00,3\n"),
        ("picks", "time,location\n2026-10-25T02:30:00+01:00,A01\n"),
    ],
)
def test_a_log_of_nothing_but_the_second_pass(kind: str, text: str, tmp_path: Path) -> None:
    """The lights run on a site where nothing happened; a fit says that there is nothing to fit."""
    from sim.replication import prepare_site
    from sim.study.from_logs.log import read_site_log

    path = tmp_path / "night.csv"
    path.write_text(text, encoding="utf-8")
    site = site_in(BERLIN, dt.datetime(2026, 10, 25), 1.0)
    assert replay(site, **{kind: path}).outcomes[0].total["switch_ups"] == 0.0  # type: ignore[arg-type]
    with pytest.raises(InputError, match=r"second pass|no row lies in an aisle"):
        read_site_log(prepare_site(site), kind, path)  # type: ignore[arg-type]
    # negative control: the same rows an hour earlier, in the first pass
    path.write_text(text.replace("+01:00", "+02:00"), encoding="utf-8")
    assert replay(site, **{kind: path}).outcomes[0].total["switch_ups"] == 1.0  # type: ignore[arg-type]


def test_an_unknown_zone_is_a_fault(tmp_path: Path) -> None:
    path = tmp_path / "site.toml"
    text = (Path(__file__).parents[1] / "corpus" / "logs" / "site.toml").read_text(encoding="utf-8")
    path.write_text(text.replace("days = 1\n", 'days = 1\ntimezone = "Europe/Berlim"\n'), encoding="utf-8")
    with pytest.raises(InputError, match="no time zone of the IANA database"):
        load_scenario(path)
