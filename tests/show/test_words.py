"""Numbers in words: significant figures, and intervals that end at their mean's digit."""

from __future__ import annotations

import doctest
import math
from dataclasses import replace

import pytest

import sim.show.figures.style
import sim.show.words.amounts
from sim.results import Estimate
from sim.scenario.schema import Settings
from sim.show.words.amounts import WIDTH, digits, interval, listing, weekday_list, wrapped
from sim.show.words.in_force import levels_text, settings_in_force
from tests.show.made_results import make_scenario


@pytest.mark.parametrize("module", [sim.show.words.amounts, sim.show.figures.style])
def test_examples_in_docstrings(module):
    result = doctest.testmod(module)
    assert result.failed == 0


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (12345.6, "12,300"), (999.6, "1,000"), (99.96, "100"), (0.0999999, "0.100"), (-5.678, "-5.68"),
        (400.0, "400"), (0.0, "0"), (math.nan, "not known"), (1e-9, "0.00000000100"),
    ],
)
def test_three_significant_figures(value, text):
    assert digits(value) == text


@pytest.mark.parametrize(
    ("mean", "half", "text"),
    [
        (38.23, 1.34, "38.2 ± 1.3"),       # both end at the tenth
        (12345.0, 432.0, "12,300 ± 400"),  # three figures of the mean leave one of the half-width
        (12345.0, 7.2, "12,345 ± 7"),      # a narrow interval earns more figures of the mean
        (0.52, 3.26, "0.5 ± 3.3"),         # a wide one takes them away
        (0.0, 0.31, "0.00 ± 0.31"),
        (72.0, 0.0, "72 ± 0"),
        (72.0, None, "72"),
        (None, None, "not known"),
    ],
)
def test_interval_ends_at_the_same_digit(mean, half, text):
    assert interval(Estimate(mean, half)) == text


def test_unit_and_scale():
    assert interval(Estimate(0.5, 0.01), "%", 100.0) == "50.0 ± 1.0 %"


def test_levels_have_no_more_digits_than_people_read():
    """Command 230 of the dimming curve of IEC 62386-102: 10 ** (3 * (230 - 1) / 253 - 1) per cent."""
    level = 10.0 ** (3.0 * 229.0 / 253.0 - 1.0) / 100.0
    settings = Settings(unoccupied_level=level, timeout_s=300.0, second_delay_s=600.0, second_level=0.001)
    row = replace(settings_in_force(make_scenario())[0], settings=settings)
    assert level == pytest.approx(0.5192, abs=1e-4)
    assert levels_text(row) == "100 / 51.9 %, then 0.1 % after 10 min"


def test_runs_of_names_and_days_are_drawn_together():
    assert listing(["A08", "A09", "A10", "B1"]) == "A08 to A10 and B1"
    assert listing(["A1", "A2"]) == "A1 and A2"
    assert listing([f"N{2 * k}" for k in range(12)], most=3) == "N0, N2, N4 and 9 more"
    assert weekday_list(["Sun", "Mon", "Tue"]) == "Mon-Tue, Sun"


def test_lines_keep_numbers_with_units():
    lines = wrapped("x" * 70 + " within 12.5 kWh of it", "  ")
    assert all(len(line) <= WIDTH for line in lines)
    assert any("12.5 kWh" in line for line in lines)
