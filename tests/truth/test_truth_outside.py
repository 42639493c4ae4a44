"""Lights by the sun against pvlib's solar position, and by the clock against the calendar.

pvlib: `sun_rise_set_transit_spa`, NREL's SPA algorithm, an independent program; within 60 s.
"""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pvlib
import pytest

from sim.outcome.outside import lit_share, site_parts
from sim.outcome.year_load import year_clock
from sim.scenario.sun_times import dark_spans, why_no_sun
from sim.study.replications.replicate import run
from sim.study.year.money import count_money
from tests.show.made_results import make_scenario

PLACES = [
    (36.1, -79.95, "America/New_York"),
    (52.5, 13.4, "Europe/Berlin"),
    (-33.9, 151.2, "Australia/Sydney"),
    (60.2, 24.9, "Europe/Helsinki"),
]
SOLSTICES = [dt.date(2027, 6, 21), dt.date(2027, 12, 21)]


def wall_s(date: dt.date, event: pd.Timestamp) -> float:
    """Seconds of local wall time from 1 January of the date's year."""
    return (event.tz_localize(None) - pd.Timestamp(date.year, 1, 1)).total_seconds()


@pytest.mark.parametrize(("latitude", "longitude", "zone"), PLACES)
@pytest.mark.parametrize("date", SOLSTICES)
def test_sunset_and_sunrise(latitude: float, longitude: float, zone: str, date: dt.date) -> None:
    spans = dark_spans(latitude, longitude, zone, date.year)
    midnight = pd.DatetimeIndex([pd.Timestamp(date, tz=zone)])
    table = pvlib.solarposition.sun_rise_set_transit_spa(midnight, latitude, longitude)
    sunrise, sunset = wall_s(date, table["sunrise"].iloc[0]), wall_s(date, table["sunset"].iloc[0])
    assert min(abs(end - sunrise) for _, end in spans) < 60.0
    assert min(abs(start - sunset) for start, _ in spans) < 60.0
    wrong = dark_spans(latitude + 2.0, longitude, zone, date.year)
    assert min(abs(end - sunrise) for _, end in wrong) > 60.0


def test_polar_day_and_polar_night() -> None:
    """Tromso, 69.65 N: midnight sun about 20 May to 22 July, polar night about 27 November to 15 January."""
    spans = dark_spans(69.65, 18.96, "Europe/Oslo", 2027)
    day = 86_400.0
    june = (dt.date(2027, 6, 21) - dt.date(2027, 1, 1)).days * day
    december = (dt.date(2027, 12, 21) - dt.date(2027, 1, 1)).days * day
    assert not any(start < june + day and end > june for start, end in spans)
    assert any(start < december - 10 * day and end > december + 5 * day for start, end in spans)
    longest = max(end - start for start, end in spans if start > 180 * day)
    assert longest > 30 * day


def test_a_year_that_begins_and_ends_in_daylight() -> None:
    """At 80 S the sun stays up over New Year: no span begins before it sets first, none after it last rose.

    It stays up while the sun's declination is beyond -10 degrees, less 0.833 for refraction and the disc;
    declination by Cooper (1969), 23.45 sin(360 (284 + n) / 365), which is within half a degree: 3 days here.
    """
    spans = dark_spans(-80.0, 0.0, "UTC", 2027)
    day = np.arange(1, 366)
    declination = 23.45 * np.sin(2.0 * np.pi * (284 + day) / 365.0)
    sets = day[declination > -10.0 - 0.833]
    first, last = spans[0][0] / 86_400.0 + 1.0, spans[-1][1] / 86_400.0 + 1.0
    assert first == pytest.approx(sets[0], abs=3.0)
    assert last == pytest.approx(sets[-1], abs=3.0)
    assert all(end > start for start, end in spans)
    assert dark_spans(-77.0, 0.0, "UTC", 2027)[0][0] / 86_400.0 + 1.0 != pytest.approx(sets[0], abs=3.0)
    # in the north it is night at New Year, and the first and the last span reach over the year's ends
    north = dark_spans(80.0, 0.0, "UTC", 2027)
    assert north[0][0] < 0.0
    assert north[-1][1] > 365 * 86_400.0


@pytest.mark.parametrize(("latitude", "longitude", "zone"), PLACES)
def test_hours_of_darkness(latitude: float, longitude: float, zone: str) -> None:
    """Refraction and the disc make nights shorter than half the year, by 1 to 5 % below 61 degrees."""
    hours = sum(min(end, 8760 * 3600) - max(start, 0.0) for start, end in dark_spans(
        latitude, longitude, zone, 2027
    ) if end > 0.0 and start < 8760 * 3600) / 3600.0
    assert 4380.0 * 0.95 < hours < 4380.0 * 0.995


def test_offsets_and_late_hours_of_a_made_up_sun() -> None:
    """Dark from 18:00 to 06:00, on 30 min later, off 60 min earlier: 10.5 h a night."""
    nights = [(day * 86_400.0 + 64_800.0, day * 86_400.0 + 108_000.0) for day in range(-1, 365)]
    lit = lit_share(nights, 1800.0, -3600.0, 8760 * 4)
    assert lit.sum() / 4.0 == pytest.approx(365 * 10.5)
    assert lit[:4].tolist() == [1.0] * 4
    assert lit[20] == 0.0  # 05:00
    assert lit[18 * 4 + 2] == 1.0
    assert lit_share(nights, 0.0, 0.0, 8760 * 4).sum() / 4.0 == pytest.approx(365 * 12.0)


def test_overlapping_nights_count_once() -> None:
    """On 8 h before sunset and off 8 h after sunrise never goes off, and never counts twice."""
    nights = [(day * 86_400.0 + 64_800.0, day * 86_400.0 + 108_000.0) for day in range(-1, 365)]
    lit = lit_share(nights, -8 * 3600.0, 8 * 3600.0, 8760 * 4)
    assert lit.max() == 1.0
    assert lit[96:-96].min() == 1.0


YARD = {"name": "yard", "kw": 4.0}
PLACE = {"latitude": 52.5, "longitude": 13.4, "time_zone": "Europe/Berlin"}
OFFICE = {
    "name": "office", "kw": 3.0, "rest_kw": 0.5, "days": ["Mon", "Tue", "Wed", "Thu", "Fri"],
    "from": "07:00", "to": "18:00",
}


def test_late_hours_cut_power() -> None:
    """Midnight to 06:00 at half the power: half of what burns in these hours is saved, nothing else."""
    clock = year_clock(2027)
    cut, whole = (
        site_parts(make_scenario(place=PLACE, yard=[{**YARD, "late_power": share}]), clock)[0].load_kw
        for share in (0.5, 1.0)
    )
    late = clock.week_quarter % 96 < 24
    assert np.array_equal(cut[~late], whole[~late])
    assert cut[late].sum() == pytest.approx(0.5 * whole[late].sum())
    assert whole.max() == 4.0


def test_offices_by_the_clock() -> None:
    """NumPy counts the workdays: 11 h at 3 kW, all else at 0.5 kW."""
    (part,) = site_parts(make_scenario(offices=[OFFICE]), year_clock(2027))
    hours = 11 * int(np.busday_count("2027-01-01", "2028-01-01"))
    assert part.load_kw.sum() / 4.0 == pytest.approx(3.0 * hours + 0.5 * (8760 - hours))


def test_the_site_is_the_sum_of_its_parts() -> None:
    scenario = make_scenario(days=7.0, place=PLACE, yard=[YARD], offices=[OFFICE])
    result = run(scenario, replications=2)
    money = count_money(result)
    assert money is not None
    assert [part.name for part in money.parts] == ["aisles", "yard", "office"]
    assert [part.is_outside for part in money.parts] == [False, True, False]
    assert money.parts[0].kwh == pytest.approx(money.kwh.here.mean)
    assert money.parts[0].always_kwh == pytest.approx(3.0 * 8760.0)
    assert money.parts[1].always_kwh == pytest.approx(4.0 * 8760.0)
    assert 0.25 < money.parts[1].kwh / money.parts[1].always_kwh < 0.42


def test_why_the_sun_cannot_be_told() -> None:
    assert why_no_sun("Europe/Berlin") is None
    assert "Europe/Berlin" in (why_no_sun("Europe/Berlyn") or "")
