"""Lights besides the aisles', quarter-hour by quarter-hour, under a made-up sun.

The sun sets at 18:00 and rises at 06:00 each day of a common year, so every load can be written down from
Python's calendar.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from sim.outcome import outside
from sim.outcome.outside import lit_share, site_parts
from sim.outcome.year_load import year_clock
from tests.show.made_results import make_scenario

CLOCK = year_clock(2027)
QUARTERS = [dt.datetime(2027, 1, 1) + dt.timedelta(minutes=15 * step) for step in range(365 * 96)]
PLACE = {"latitude": 52.5, "longitude": 13.4, "time_zone": "Europe/Berlin"}
NIGHTS = [(day * 86_400.0 + 64_800.0, day * 86_400.0 + 108_000.0) for day in range(-1, 366)]


YARD = {
    "name": "yard", "kw": 4.0, "sunset_offset_min": 20.0, "sunrise_offset_min": -90.0,
    "late_from": "22:00", "late_to": "02:00", "late_power": 0.25,
}


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[tuple[object, ...]]:
    """Puts the made-up sun up; for which places it was asked."""
    places: list[tuple[object, ...]] = []

    def dark(*place: object) -> list[tuple[float, float]]:
        places.append(place)
        return NIGHTS

    monkeypatch.setattr(outside, "dark_spans", dark)
    return places


def lit(time: dt.datetime, on: float, off: float) -> float:
    """Share of a quarter-hour that is lit, from and to minutes of the day."""
    minute = time.hour * 60.0 + time.minute
    evening = min(15.0, max(0.0, minute + 15.0 - on))
    return max(evening, min(15.0, max(0.0, off - minute))) / 15.0


def check_yard(**changes: object) -> None:
    """On 20 min after sunset, off 90 min before sunrise; late from 22:00 to 02:00 at a quarter.

    From 18:15 to 18:30 the yard burns for 10 of 15 min. The program may be given another yard.
    """
    (yard,) = site_parts(make_scenario(place=PLACE, yard=[YARD | changes]), CLOCK)
    wanted = [
        4.0 * lit(time, 1100.0, 270.0) * (0.25 if time.hour >= 22 or time.hour < 2 else 1.0)
        for time in QUARTERS
    ]
    assert wanted[18 * 4 + 1] == pytest.approx(4.0 * 10.0 / 15.0)
    assert np.abs(yard.load_kw - wanted).max() < 1e-9


def test_a_yard_by_the_sun(asked: list[tuple[object, ...]]) -> None:
    check_yard()
    assert asked == [(52.5, 13.4, "Europe/Berlin", 2027)]


@pytest.mark.usefixtures("asked")
@pytest.mark.parametrize(
    "changes",
    [
        {"kw": 4.1}, {"sunset_offset_min": 21.0}, {"sunrise_offset_min": -89.0}, {"late_from": "22:15"},
        {"late_to": "01:45"}, {"late_power": 0.3},
    ],
)
def test_another_yard_is_told_apart(changes: dict[str, object]) -> None:
    """Negative control."""
    with pytest.raises(AssertionError):
        check_yard(**changes)


@pytest.mark.usefixtures("asked")
def test_a_yard_and_a_wall() -> None:
    """A wall that burns from sunset to sunrise, behind a yard; one of another power is told apart."""
    walls = [{"name": "wall", "kw": kw, "late_power": 1.0} for kw in (1.0, 1.1)]
    parts = site_parts(make_scenario(place=PLACE, yard=[YARD, walls[0]]), CLOCK)
    assert [(part.name, part.is_outside, part.always_kw) for part in parts] == [
        ("yard", True, 4.0), ("wall", True, 1.0),
    ]
    wanted = [lit(time, 1080.0, 360.0) for time in QUARTERS]
    assert np.abs(parts[1].load_kw - wanted).max() < 1e-9
    (other,) = site_parts(make_scenario(place=PLACE, yard=walls[1:]), CLOCK)
    assert np.abs(other.load_kw - wanted).max() == pytest.approx(0.1)


def test_offices_that_work_at_night() -> None:
    """Monday and Friday from 20:00 to 04:00 at 3 kW, else 0.5; a cold room draws more while it is closed."""
    office = {
        "name": "night", "kw": 3.0, "rest_kw": 0.5, "days": ["Mon", "Fri"], "from": "20:00", "to": "04:00",
    }
    cold = {"name": "cold", "kw": 1.0, "rest_kw": 2.0, "from": "06:00", "to": "18:00"}
    night, room = site_parts(make_scenario(offices=[office, cold]), CLOCK)
    wanted = [
        3.0 if (time.weekday() in (0, 4) and time.hour >= 20) or (time.weekday() in (1, 5) and time.hour < 4)
        else 0.5
        for time in QUARTERS
    ]
    assert night.load_kw.tolist() == wanted
    assert room.load_kw.tolist() == [1.0 if 6 <= time.hour < 18 else 2.0 for time in QUARTERS]
    assert [(part.name, part.is_outside, part.always_kw) for part in (night, room)] == [
        ("night", False, 3.0), ("cold", False, 2.0),
    ]
    assert site_parts(make_scenario(), CLOCK) == ()


def test_nights_that_run_into_each_other_burn_once() -> None:
    """Spans of 10 and 20 min that overlap by 5, one within them, one of no length: 25 min, then 5 min."""
    dark = [(300.0, 900.0), (600.0, 1800.0), (700.0, 800.0), (2000.0, 2000.0), (2700.0, 3000.0)]
    assert lit_share(dark, 0.0, 0.0, 4).tolist() == pytest.approx([600.0 / 900.0, 1.0, 0.0, 300.0 / 900.0])
    later = lit_share(dark, 60.0, 120.0, 4)
    assert later.tolist() == pytest.approx([540.0 / 900.0, 1.0, 180.0 / 900.0, 360.0 / 900.0])
    assert lit_share([], 0.0, 0.0, 4).tolist() == [0.0] * 4
    assert lit_share([(-500.0, 450.0)], 0.0, 0.0, 2).tolist() == [0.5, 0.0]
    assert not np.array_equal(later, lit_share(dark, 60.0, 60.0, 4))
