"""A year from weeks: exception dates, special weeks, and a published schedule's full-load hours."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.floor.layout import lay_out
from sim.lighting.timetable import place_programs
from sim.outcome.year_load import QUARTERS_A_WEEK, baseline_kw, connected_kw, repeat_weeks, year_clock
from sim.scenario.schema import Scenario
from sim.study.replications.replicate import run
from sim.study.year.money import count_money
from tests.show.made_results import make_scenario

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
LEVELS = {"low": 0.1, "six": 0.6, "threequarters": 0.75, "high": 0.85}
WORKDAYS = [("00:00", "07:00", "low"), ("07:00", "08:00", "six"), ("08:00", "09:00", "threequarters"),
            ("09:00", "16:00", "high"), ("16:00", "17:00", "threequarters"), ("17:00", "18:00", "six"),
            ("18:00", "24:00", "low")]


def schedule_site(**changes: object) -> Scenario:
    """A site whose occupied levels are the storage schedule of the DOE prototype warehouse."""
    rows = [
        {"days": list(DAYS[:6]), "from": start, "to": end, "settings": name} for start, end, name in WORKDAYS
    ]
    rows.append({"days": ["Sun"], "from": "00:00", "to": "24:00", "settings": "low"})
    named = {
        name: {"occupied_level": level, "unoccupied_level": 0.0, "timeout_s": 60}
        for name, level in LEVELS.items()
    }
    return make_scenario(days=7.0, lighting={"settings": named}, timetable=rows, **changes)


def full_load_hours(scenario: Scenario, year: int) -> float:
    """Equivalent full-load hours of a year by the timetable alone."""
    layout = lay_out(scenario)
    week = baseline_kw("schedule_only", layout, place_programs(scenario), np.zeros(168), QUARTERS_A_WEEK)
    load = repeat_weeks(week, scenario.start_datetime, year_clock(year))
    return float(load.sum()) / 4.0 / connected_kw(layout)


def test_full_load_hours_of_the_prototype_warehouse() -> None:
    """DOE prototype, storage lighting: 9.95 h on workdays and Saturdays (313 in 2027), 2.4 h on Sundays (52).

    3239.15 h; at 3.552087 W/m2 (90.1-2019, 0.33 W/ft2) 11.505743 kWh/m2 a year.
    """
    hours = full_load_hours(schedule_site(), 2027)
    assert hours == pytest.approx(313 * 9.95 + 52 * 2.4)
    assert hours == pytest.approx(3239.15)
    assert 3.552087 * hours / 1000.0 == pytest.approx(11.505743, abs=5e-7)
    assert full_load_hours(schedule_site(), 2028) != pytest.approx(3239.15)


def settings_at(scenario: Scenario, moment: dt.datetime) -> str:
    """The settings at an instant, straight from the words of the format: the naive twin."""
    day, time = DAYS[moment.weekday()], moment.time()
    for row in scenario.exceptions or ():
        if moment.date() in row.dates:
            if row.settings is not None:
                return row.settings
            day = row.as_day or day
    before = DAYS[DAYS.index(day) - 1]
    for row in scenario.timetable:
        start = dt.time.fromisoformat(row.from_)
        end = None if row.to == "24:00" else dt.time.fromisoformat(row.to)
        wraps = end is not None and end <= start
        if day in row.days and time >= start and (wraps or end is None or time < end):
            return row.settings
        if before in row.days and wraps and end is not None and time < end:
            return row.settings
    raise AssertionError("no row")


ROWS = [
    {"days": ["Mon", "Tue", "Wed", "Thu", "Fri"], "from": "06:00", "to": "22:00", "settings": "day"},
    {"days": ["Mon", "Tue", "Wed", "Thu", "Fri"], "from": "22:00", "to": "06:00", "settings": "night"},
    {"days": ["Sat", "Sun"], "from": "06:00", "to": "06:00:01", "settings": "day"},
    {"days": ["Sat", "Sun"], "from": "06:00:01", "to": "06:00", "settings": "closed"},
]
NAMED = {
    "day": {"unoccupied_level": 0.3, "timeout_s": 270},
    "night": {"unoccupied_level": 0.2, "timeout_s": 60},
    "closed": {"unoccupied_level": 0.0, "timeout_s": 30},
}


@settings(max_examples=60, deadline=None)
@given(
    start=st.datetimes(dt.datetime(2027, 3, 1), dt.datetime(2027, 3, 14)),
    chosen=st.lists(
        st.tuples(st.integers(0, 20), st.sampled_from([*NAMED, *DAYS])),
        max_size=5,
        unique_by=lambda one: one[0],
    ),
)
def test_exception_dates_against_the_words_of_the_format(
    start: dt.datetime, chosen: list[tuple[int, str]]
) -> None:
    start = start.replace(microsecond=0)
    exceptions = [
        {"dates": [dt.date(2027, 3, 1) + dt.timedelta(days=day)],
         ("settings" if name in NAMED else "as_day"): name}
        for day, name in chosen
    ]
    scenario = make_scenario(
        start=start.isoformat(), days=9.0, lighting={"settings": NAMED}, timetable=ROWS,
        exceptions=exceptions or None,
    )
    program = place_programs(scenario)[0]
    assert (np.diff(program.border) > 0.0).all()
    for second in np.linspace(0.0, 9 * 86_400.0 - 2.0, 400).round().tolist():
        period = int(np.searchsorted(program.border, second, side="right")) - 1
        expected = settings_at(scenario, start + dt.timedelta(seconds=second))
        assert program.names[period] == expected


def test_without_the_exception_the_check_would_fail() -> None:
    scenario = make_scenario(
        start="2027-03-01", days=7.0, lighting={"settings": NAMED}, timetable=ROWS,
        exceptions=[{"dates": [dt.date(2027, 3, 3)], "settings": "closed"}],
    )
    plain = scenario.model_copy(update={"exceptions": None})
    noon = dt.datetime(2027, 3, 3, 12)
    assert settings_at(scenario, noon) == "closed"
    assert settings_at(plain, noon) == "day"
    assert place_programs(scenario)[0].names != place_programs(plain)[0].names


@pytest.fixture(scope="module")
def special_run():
    """A week with two weeks of closure and three of more work."""
    return run(make_scenario(
        days=7.0,
        year_weeks=[
            {"name": "closed", "spans": [[dt.date(2027, 8, 2), dt.date(2027, 8, 15)]], "volume": 0.0,
             "settings": "night"},
            {"name": "peak", "spans": [[dt.date(2027, 11, 29), dt.date(2027, 12, 19)]], "volume": 1.5},
        ],
    ), replications=3)


def test_special_weeks_fill_their_dates(special_run) -> None:
    """Whole weeks: 14 and 21 days are two and three of each; the other 330 are the run's, counted by weekday.

    Closed at level 0 and without standby draws nothing.
    """
    money = count_money(special_run)
    assert money is not None
    assert money.kinds == {"typical": 330, "closed": 14, "peak": 21}

    def by_weekday(outcomes) -> np.ndarray:
        hours = np.mean([outcome.hours["energy_kwh"] for outcome in outcomes], axis=0)
        return hours.reshape(7, 24).sum(axis=1)

    days = [dt.date(2027, 1, 1) + dt.timedelta(days=day) for day in range(365)]
    typical = [
        day for day in days
        if not (dt.date(2027, 8, 2) <= day <= dt.date(2027, 8, 15))
        and not (dt.date(2027, 11, 29) <= day <= dt.date(2027, 12, 19))
    ]
    own, peak = by_weekday(special_run.outcomes), by_weekday(special_run.special["peak"])
    expected = sum(own[day.weekday()] for day in typical) + 3.0 * peak.sum()
    assert by_weekday(special_run.special["closed"]).sum() == 0.0
    assert money.kwh.here.mean == pytest.approx(expected)
    plain = count_money(special_run.__class__(**{**special_run.__dict__, "special": {}}))
    assert plain is not None
    assert plain.kwh.here.mean != pytest.approx(expected)


def test_more_work_in_peak_weeks(special_run) -> None:
    """Half as much work again: the visits follow within four standard errors of a Poisson count."""
    usual = np.mean([outcome.total["visits"] for outcome in special_run.outcomes])
    peak = np.mean([outcome.total["visits"] for outcome in special_run.special["peak"]])
    error = (1.5**2 * usual / 3 + peak / 3) ** 0.5
    assert abs(peak - 1.5 * usual) < 4.0 * error
    assert abs(peak - 1.0 * usual) > 4.0 * error


def test_the_run_itself_does_not_change(special_run) -> None:
    plain = run(special_run.scenario.model_copy(update={"year_weeks": None}), replications=3)
    assert [one.total for one in plain.outcomes] == [one.total for one in special_run.outcomes]
