"""The rebate worksheet: factors that multiply, baselines of the books, what is struck out, agreed numbers."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np
import pytest

from sim.errors import InputError
from sim.results import Outcomes, Result
from sim.scenario.schema import Scenario
from sim.scenario.toml import dump_scenario, parse_scenario
from sim.show.folders.worksheet import render_worksheet
from sim.show.words.sections import page_text
from sim.show.words.worksheet import SHEET_HEADER, sheet_csv, sheet_lines, sheet_page
from sim.study.replications.replicate import run
from sim.study.year.money import count_money
from sim.verification.worksheet import Worksheet, make_worksheet
from tests.show.made_results import make_scenario

REBATE = {
    "programme": "test programme",
    "measure_life_years": 8.0,
    "measure_life_years_source": "manual, p. 4",
    "net_to_gross": 0.9,
    "net_to_gross_source": "manual, p. 5",
}
TODAY = {
    "luminaires": 40, "full_w": 250.0, "hours_per_year": 6000.0, "savings_factor": 0.1, "source": "audit",
    "controls": "time switch",
}


def site(**changes: object) -> Scenario:
    """The week of three aisles, trimmed by day."""
    content: dict[str, object] = {"days": 7.0, "replications": 3}
    return make_scenario(**(content | changes))


@pytest.fixture(scope="module")
def plain() -> tuple[Result, Worksheet]:
    """A run and its sheet."""
    result = run(site(rebate=REBATE))
    return result, make_worksheet(result)


@pytest.fixture(scope="module")
def retrofit() -> Worksheet:
    """A sheet with lights that are there today."""
    return make_worksheet(run(site(rebate=REBATE, today=TODAY)))


def test_baselines_are_those_of_the_books(plain: tuple[Result, Worksheet]) -> None:
    """52 weeks and the Friday of 2027, from the outcomes that the run's own books add up."""
    result, sheet = plain
    for base in sheet.bases:
        weekly = np.mean([outcome.total[f"{base.name}_kwh"] for outcome in result.outcomes])
        friday = np.mean([outcome.hours[f"{base.name}_kwh"][96:120].sum() for outcome in result.outcomes])
        assert base.kwh.mean == pytest.approx(52.0 * weekly + friday, rel=1e-6)
        assert base.hours_before == pytest.approx((base.kwh.mean or 0.0) / sheet.connected_kw)
        assert base.saved_kwh.mean == pytest.approx((base.kwh.mean or 0.0) - (sheet.kwh.mean or 0.0))


def test_special_weeks_count_as_what_they_are() -> None:
    """Of the 52 weeks and the Friday of 2027 two are of a shutdown, simulated by itself: hardly any work."""
    closed = {"name": "shutdown", "spans": [[dt.date(2027, 8, 2), dt.date(2027, 8, 15)]], "volume": 0.05}
    result = run(site(rebate=REBATE, year={"of": 2027}, year_weeks=[closed]), replications=2)
    sheet = make_worksheet(result)

    def energy(outcomes: Sequence[Outcomes]) -> tuple[float, float]:
        hours = np.mean([one.hours["energy_kwh"] for one in outcomes], axis=0)
        return float(hours.sum()), float(hours[96:120].sum())

    weekly, friday = energy(result.outcomes)
    special, _ = energy(result.special["shutdown"])
    assert sheet.kwh.mean == pytest.approx(50.0 * weekly + friday + 2.0 * special, rel=1e-6)
    assert sheet.kwh.mean != pytest.approx(52.0 * weekly + friday, rel=1e-3), "as if nobody had told of them"


def test_the_sheet_agrees_with_the_report(plain: tuple[Result, Worksheet]) -> None:
    """Energy and saving of the year as `study/year/money` has them."""
    result, sheet = plain
    priced = site(rebate=REBATE, tariff={"currency": "EUR", "per_kwh": 0.2})
    money = count_money(run(priced))
    assert money is not None
    assert result.scenario.tariff is None
    assert sheet.kwh.mean == pytest.approx(money.kwh.here.mean)
    always = next(base for base in sheet.bases if base.name == "always_on")
    assert always.saved_kwh.mean == pytest.approx(money.kwh.saved.mean)
    assert always.saved_kwh.half_width == pytest.approx(money.kwh.saved.half_width)


def test_measures_multiply_to_what_is_left(plain: tuple[Result, Worksheet], retrofit: Worksheet) -> None:
    _, sheet = plain
    assert [measure.name for measure in sheet.measures] == ["trim", "timetable", "sensors"]
    left = np.prod([measure.left.mean for measure in sheet.measures])
    always = next(base for base in sheet.bases if base.name == "always_on")
    assert left == pytest.approx((sheet.kwh.mean or 0.0) / (always.kwh.mean or 1.0), rel=1e-6)
    assert [measure.name for measure in retrofit.measures] == ["lamps", "trim", "timetable", "sensors"]
    left = np.prod([measure.left.mean for measure in retrofit.measures])
    today = retrofit.bases[0]
    assert today.name == "today"
    assert today.kwh.mean == pytest.approx(10.0 * 6000.0 * 0.9)
    assert today.hours_before == pytest.approx(5400.0)
    assert left == pytest.approx((retrofit.kwh.mean or 0.0) / (today.kwh.mean or 1.0), rel=1e-6)
    assert retrofit.measures[0].left.mean == pytest.approx(3.0 / 10.0)
    added = sum(1.0 - (measure.left.mean or 0.0) for measure in retrofit.measures)
    assert added != pytest.approx(1.0 - left, rel=0.01)


def test_trim_and_timetable_by_hand() -> None:
    """Occupied level 0.8 by day (06 to 22), 0.5 by night, power linear from 0 W.

    Trim leaves 0.8; the timetable then (16 x 0.8 + 8 x 0.5)/24 over 0.8.
    """
    settings = {
        "day": {"occupied_level": 0.8, "unoccupied_level": 0.3, "timeout_s": 270},
        "night": {"occupied_level": 0.5, "unoccupied_level": 0.1, "timeout_s": 60},
    }
    sheet = make_worksheet(run(site(lighting={"settings": settings}), replications=1))
    left = {measure.name: measure.left.mean for measure in sheet.measures}
    assert left["trim"] == pytest.approx(0.8)
    assert left["timetable"] == pytest.approx((16 * 0.8 + 8 * 0.5) / 24.0 / 0.8)


def test_daylight_stands_apart_from_sensors() -> None:
    """Caps of 0.5 from 10 to 14: the timetable's light falls by 4 x 0.5 of 16 x 1 + 8 x 0.5 hours a day."""
    caps = [[0.5 if 10 <= hour < 14 else 1.0 for hour in range(24)] for _ in range(12)]
    made = site(skylight={"caps": caps}, replications=2)
    sheet = make_worksheet(run(made))
    left = {measure.name: measure.left.mean for measure in sheet.measures}
    assert list(left) == ["trim", "timetable", "daylight", "sensors"]
    assert left["timetable"] == pytest.approx(20.0 / 24.0)
    assert left["daylight"] == pytest.approx(18.0 / 20.0)
    product = np.prod(list(left.values()))
    always = next(base for base in sheet.bases if base.name == "always_on")
    assert product == pytest.approx((sheet.kwh.mean or 0.0) / (always.kwh.mean or 1.0), rel=1e-6)


def test_what_a_code_forces_is_struck_out(plain: tuple[Result, Worksheet]) -> None:
    """Forced and counted are all that the controls save; where no code applies everything counts."""
    _, sheet = plain
    always = next(base for base in sheet.bases if base.name == "always_on")
    code = next(base for base in sheet.bases if base.name == "code_minimum")
    assert sheet.forced_kwh is not None
    forced, counted = sheet.forced_kwh.mean or 0.0, sheet.counted_kwh.mean or 0.0
    assert forced == pytest.approx((always.kwh.mean or 0.0) - (code.kwh.mean or 0.0))
    assert forced + counted == pytest.approx(always.saved_kwh.mean)
    assert always.is_struck
    assert not code.is_struck
    page = render_worksheet(sheet)
    assert page.count("<s>") == sum(line.is_struck for line in sheet_lines(sheet)) >= 2
    free = make_worksheet(run(site(rebate=REBATE | {"code_applies": False})))
    assert free.forced_kwh is None
    assert free.counted_kwh.mean == pytest.approx(always.saved_kwh.mean)
    assert "<s>" not in render_worksheet(free)


def test_lifetime_and_sources(plain: tuple[Result, Worksheet], retrofit: Worksheet) -> None:
    _, sheet = plain
    assert sheet.lifetime_kwh is not None
    assert sheet.lifetime_kwh.mean == pytest.approx(8.0 * 0.9 * (sheet.counted_kwh.mean or 0.0))
    assert sheet.lifetime_kwh.half_width == pytest.approx(8.0 * 0.9 * (sheet.counted_kwh.half_width or 0.0))
    rows = list(sheet_csv(retrofit))
    assert all(len(row) == len(SHEET_HEADER) for row in rows)
    life = next(row for row in rows if row[1] == "measure life")
    assert life[2] == "8"
    assert life[-1] == "manual, p. 4"
    assert {row[5] for row in rows} == {"yes", "no"}
    assert retrofit.lamps_kwh is not None
    assert retrofit.lamps_kwh.mean == pytest.approx(0.7 * 54_000.0)


def test_heat_of_a_cold_store_counts_everywhere(plain: tuple[Result, Worksheet]) -> None:
    """COP 2: every energy is half as much again; hours and factors stay."""
    _, sheet = plain
    cold = make_worksheet(run(site(rebate=REBATE, store={"cooling_cop": 2.0})))
    assert cold.kwh.mean == pytest.approx(1.5 * (sheet.kwh.mean or 0.0))
    for here, there in zip(cold.bases, sheet.bases, strict=True):
        assert here.kwh.mean == pytest.approx(1.5 * (there.kwh.mean or 0.0))
        assert here.hours_before == pytest.approx(there.hours_before)
        assert here.factor.mean == pytest.approx(there.factor.mean)
    for here, there in zip(cold.deemed, sheet.deemed, strict=True):
        assert here.kwh == pytest.approx(1.5 * there.kwh)


def test_load_in_the_utilitys_window() -> None:
    """From 10 to 12 on all days: always on 3 kW less the run's own mean of those hours."""
    made = site(demand_window={"from": "10:00", "to": "12:00"}, year={"of": 2027}, replications=2)
    result = run(made)
    sheet = make_worksheet(result)
    always = next(base for base in sheet.bases if base.name == "always_on")
    assert always.window_kw is not None
    weekday = [(dt.date(2027, 1, 1) + dt.timedelta(days=day)).weekday() for day in range(365)]
    by_day = np.mean(
        [outcome.hours["energy_kwh"].reshape(7, 24)[:, 10:12].mean(axis=1) for outcome in result.outcomes],
        axis=0,
    )
    assert always.window_kw.mean == pytest.approx(3.0 - np.mean(by_day[weekday]), rel=1e-9)


def test_words_for_people(retrofit: Worksheet) -> None:
    text = page_text(sheet_page(retrofit))
    assert "test programme" not in text  # the programme states no factor of its own
    assert "[" in text
    assert "controls: time switch" not in text
    assert "connected load today" in text
    open_sheet = make_worksheet(run(site(), replications=1))
    text = page_text(sheet_page(open_sheet))
    assert "What is there today is not stated" in text
    assert "No [rebate] table" in text
    assert "compliant" not in text


def test_a_programmes_own_factor_stands_first() -> None:
    rebate = REBATE | {
        "deemed_factor": 0.3, "deemed_factor_source": "manual, p. 9", "coincidence": 0.5,
        "coincidence_source": "manual, p. 10",
    }
    sheet = make_worksheet(run(site(rebate=rebate), replications=1))
    first = sheet.deemed[0]
    assert (first.name, first.factor) == ("test programme", 0.3)
    assert first.kwh == pytest.approx(3.0 * first.hours * 0.3)
    assert first.kw == pytest.approx(3.0 * 0.3 * 0.5)
    assert "manual, p. 9" in first.source


def test_too_short_a_run_is_refused() -> None:
    with pytest.raises(InputError, match="at least 7"):
        make_worksheet(run(make_scenario(days=6.0), replications=1))
    with pytest.raises(InputError, match="quarter-hour"):
        make_worksheet(run(make_scenario(days=7.0, start="2027-03-01T00:10:00"), replications=1))


def test_tables_survive_writing() -> None:
    made = site(rebate=REBATE, today=TODAY)
    assert parse_scenario(dump_scenario(made), "again.toml") == made


def test_lights_that_never_dim_save_nothing_by_agreement() -> None:
    """2 of 10 luminaires in each aisle never dim: 3 kW connected, 2.4 kW that a deemed factor counts on."""
    lamps = {"per_aisle": 10, "full_w": 100.0, "fixed_on": 2}
    sheet = make_worksheet(run(site(luminaires=lamps), replications=1))
    assert (sheet.connected_kw, sheet.controlled_kw) == pytest.approx((3.0, 2.4))
    first = sheet.deemed[0]
    assert first.kwh == pytest.approx(2.4 * 8760.0 * 0.24)
    always = next(base for base in sheet.bases if base.name == "always_on")
    assert first.over == pytest.approx(first.kwh - (always.saved_kwh.mean or 0.0))
