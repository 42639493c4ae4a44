"""What a verification says of days, savings and columns that are unlike the usual: no baseline day, no proof.

Comes in: one meter of two weeks beside its site, with single figures replaced by plain ones.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from sim.show.folders.verify_rows import week_rows
from sim.show.reports.summary_proof import verify_summary_page, worksheet_summary
from sim.show.words.sections import Section
from sim.show.words.verify import QUESTIONS, verify_page
from sim.study.replications.replicate import run
from sim.verification.agree import agree
from sim.verification.misfits import LEAST_SAMPLES, DayMisfit
from sim.verification.option_b import Saving
from sim.verification.verify import Series, Verification
from sim.verification.worksheet import make_worksheet
from tests.show.made_papers import verified
from tests.show.made_results import make_scenario

CONFIDENCE = 0.9
MONDAY = (dt.date(2027, 3, 8) - dt.date(1970, 1, 1)).days


def section_of(found: Verification, title: str) -> Section:
    """A section of the page by its title."""
    return next(one for one in verify_page(found, CONFIDENCE).sections if one.title == title)


def remarks_of(found: Verification, title: str) -> str:
    """The remarks of a section."""
    return " ".join(section_of(found, title).remarks)


def with_main(found: Verification, main: Series) -> Verification:
    """The same with another sum of what is measured."""
    return replace(found, whole=main)


def main_of(found: Verification) -> Series:
    """The sum of what is measured."""
    assert found.whole is not None
    return found.whole


def saving(before_kwh: float, after_kwh: float) -> Saving:
    """A saving of plain numbers, its standard uncertainty 10 kWh."""
    return Saving(before_kwh, after_kwh, 10.0, 12.0, (7, 7), 0, 0.0)


def with_saving(before_kwh: float, after_kwh: float) -> Verification:
    """The sum saves so much."""
    found = verified()
    return with_main(found, replace(main_of(found), saving=saving(before_kwh, after_kwh)))


def test_a_column_without_a_day_to_compare_has_no_figures() -> None:
    found = verified()
    first = replace(found.series[0], saving=None)
    rows = section_of(replace(found, series=(first, *found.series[1:])), "Metered saving").rows
    told = {row[0]: row[1:] for row in rows}
    assert told["A01"] == ("-",) * 5
    assert "-" not in told["A02"][:3]
    summary = verify_summary_page(replace(found, series=(first, *found.series[1:])), CONFIDENCE)
    assert summary.table is not None
    assert [row[3] == "no baseline" for row in summary.table.rows] == [False, True, False, False]


@pytest.mark.parametrize("times", [3.0, 1.0, 0.5])
def test_the_saving_that_was_predicted_is_told_where_there_is_one(times: float) -> None:
    """Baseline of so many times the prediction; a quarter of the baseline saved.

    Of three times the prediction 0.75 are metered and 2 were predicted: 37.5 %.  A baseline that does not
    exceed the prediction predicts no saving.
    """
    found = verified()
    main = main_of(found)
    predicted = float(sum(main.days.predicted[place] for place, one in enumerate(main.days.is_whole) if one))
    text = remarks_of(with_saving(times * predicted, 0.75 * times * predicted), "Metered saving")
    assert ("The simulation predicted a saving" in text) == (times > 1.0)
    if times > 1.0:
        assert "37.5 % of it is metered" in text


def test_no_saving_has_no_share() -> None:
    assert section_of(with_saving(500.0, 500.0), "Metered saving").rows[0][5] == "-"
    # t of 12 degrees of freedom at 68 % two-sided is 1.037: 10.4 kWh of 100
    assert section_of(with_saving(500.0, 400.0), "Metered saving").rows[0][5] == "10.4 %, yes"
    assert section_of(with_saving(500.0, 490.0), "Metered saving").rows[0][5] == "104 %, no"


def misfit(day: int, over: float = 1.0, hours: Sequence[int] = (22, 23)) -> DayMisfit:
    """A day with 30 kWh predicted, and 10 more or less metered."""
    return DayMisfit("A01", MONDAY + day, 30.0 + 10.0 * over, 30.0, 5.0 * over, 4.0, tuple(hours), "more")


def judged(*days: DayMisfit) -> Verification:
    """A meter beside enough simulated weeks, with these days that do not fit."""
    return replace(verified(), replications=LEAST_SAMPLES, patterns=(), days=days)


def test_days_that_follow_each_other_stand_together() -> None:
    """Three days over, one of them after a gap, then one under: three rows."""
    rows = section_of(judged(misfit(0), misfit(1), misfit(3), misfit(4, -1.0)), "What does not fit").rows
    assert [row[1] for row in rows] == ["80 kWh", "40 kWh", "20 kWh"]
    assert [row[2] for row in rows] == ["60 kWh", "30 kWh", "30 kWh"]
    assert "(2 days)" in rows[0][0]
    assert "days)" not in rows[1][0]
    assert {row[3] for row in rows} == {"22:00 to 24:00"}
    assert {row[4] for row in rows} == {QUESTIONS["more"]}


def test_two_days_with_hours_of_their_own_and_more_of_them() -> None:
    """Of two days each one's hours; of three those that at least half of them have."""
    rows = section_of(judged(misfit(0, hours=(1,)), misfit(1, hours=(5,))), "What does not fit").rows
    assert rows[0][3] == "Mon 01:00 to 02:00; Tue 05:00 to 06:00"
    three = (misfit(0, hours=(1, 2)), misfit(1, hours=(1, 5)), misfit(2, hours=(1, 2)))
    assert section_of(judged(*three), "What does not fit").rows[0][3] == "01:00 to 03:00"


@pytest.mark.parametrize("count", [20, 25])
def test_many_days_are_cut_with_what_is_left(count: int) -> None:
    found = judged(*(misfit(2 * day) for day in range(count)))
    assert len(section_of(found, "What does not fit").rows) == 20
    assert ("5 more days stand in days.csv" in remarks_of(found, "What does not fit")) == (count == 25)


def test_nothing_found_is_not_the_same_as_nothing_judged() -> None:
    nothing = judged()
    assert section_of(nothing, "What does not fit").header == ()
    assert "Nothing: each day" in remarks_of(nothing, "What does not fit")
    assert "Nothing: each day" not in remarks_of(judged(misfit(0)), "What does not fit")
    few = remarks_of(replace(nothing, replications=LEAST_SAMPLES - 1), "What does not fit")
    assert "Nothing" not in few
    assert f"{LEAST_SAMPLES - 1} simulated weeks do not show how weeks vary" in few


def test_calculated_columns_are_neither_judged_nor_proof() -> None:
    found = judged()
    series = tuple(replace(one, kind="calculated") for one in found.series)
    only = replace(found, series=series, whole=None)
    text = remarks_of(only, "What does not fit")
    assert text.startswith("No column is measured")
    assert "Nothing" not in text
    page = verify_page(only, CONFIDENCE)
    assert any(notice.startswith("A01, A02, A03: calculated from levels") for notice in page.notices)
    assert any("The measured columns are not added up" in notice for notice in page.notices)
    assert not any("not added up" in notice for notice in verify_page(found, CONFIDENCE).notices)
    saved = dict(verify_summary_page(only, CONFIDENCE).answers)["What is saved, by the meter?"]
    assert "calculated and not metered, so that it proves nothing" in saved
    saved = dict(verify_summary_page(found, CONFIDENCE).answers)["What is saved, by the meter?"]
    assert "proves nothing" not in saved


def test_what_was_wrong_in_the_files() -> None:
    assert remarks_of(replace(verified(), warnings=()), "The files") == "No gap, no doubled interval."
    assert remarks_of(replace(verified(), warnings=("m.csv: a gap",)), "The files") == "m.csv: a gap."


def test_a_dark_meter_has_no_bias() -> None:
    """Nothing was measured: errors over a mean of 0 are not known, and neither is whether limits are met."""
    dark = agree("hour", np.zeros(48), np.ones(48))
    found = verified()
    text = dict(verify_summary_page(
        with_main(found, replace(main_of(found), agreements=(dark,))), CONFIDENCE
    ).answers)["Does the meter agree with the prediction?"]
    assert "Nothing was metered" in text
    assert "nan" not in text
    assert "too few" not in text
    none = with_main(found, replace(main_of(found), agreements=()))
    text = dict(verify_summary_page(none, CONFIDENCE).answers)["Does the meter agree with the prediction?"]
    assert "There are too few hours or months for NMBE and CV(RMSE)." in text
    # metered 2 kWh each hour, predicted 1.8: NMBE 0.2 n / ((n - 1) 2), 10.2 % of 48 hours
    known = agree("hour", np.full(48, 2.0), np.full(48, 1.8))
    text = dict(verify_summary_page(
        with_main(found, replace(main_of(found), agreements=(known,))), CONFIDENCE
    ).answers)["Does the meter agree with the prediction?"]
    assert "By hour, NMBE is 10.2 %" in text


@pytest.mark.parametrize("samples", [1, 3])
def test_the_spread_of_an_hour_needs_two_weeks(samples: int) -> None:
    found = verified()
    one = replace(found.series[0], simulated=found.series[0].simulated[:samples])
    rows = list(week_rows(replace(found, series=(one,))))
    assert len(rows) == 168
    simulated = one.simulated[:, :168]
    for place, row in enumerate(rows):
        assert row[0] == "A01"
        if samples == 1:
            assert row[6] == ""
        else:
            squares = sum((value - simulated[:, place].mean()) ** 2 for value in simulated[:, place])
            assert float(row[6] or 0.0) == pytest.approx((squares / (samples - 1)) ** 0.5, abs=1e-12)


@pytest.mark.parametrize(
    ("source", "words"),
    [("run", "Means of 1 replication of 1 week,"), ("replay", "A replayed log of 1 week,")],
)
def test_a_worksheet_says_whether_it_rests_on_a_log(source: str, words: str) -> None:
    sheet = make_worksheet(run(make_scenario(days=7.0, replications=1)))
    told = dict(worksheet_summary(replace(sheet, source=source)).answers)["How sure is it?"]
    assert told.startswith(words)
