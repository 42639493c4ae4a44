"""Runs from Python: seeds, how many replications, when a precision is reached, what is refused."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import t as student

from sim.errors import InputError
from sim.results import Result
from sim.scenario.schema import Scenario
from sim.study.replications.precision import estimate_mean, relative_half_width
from sim.study.replications.replicate import replay, run
from sim.study.replications.run_start import is_cut_into
from tests.study.decide_site import small_site

PRECISION = 0.05


def quarter_day(**changes: str) -> Scenario:
    """Six hours of the small site: a run takes a twentieth of a second."""
    return small_site(d="days = 1 -> days = 0.25", **changes)


def energies(result: Result) -> list[float]:
    """Energy of each replication [kWh]."""
    return [outcome.total["energy_kwh"] for outcome in result.outcomes]


def widths(values: list[float]) -> list[float]:
    """Half-width over mean of the first 2, 3, ... values, Student's t at 95 %."""
    found = []
    for count in range(2, len(values) + 1):
        some = np.array(values[:count])
        half = student.ppf(0.975, count - 1) * some.std(ddof=1) / math.sqrt(count)
        found.append(float(half / some.mean()))
    return found


def test_a_seed_given_to_the_run_is_the_scenarios():
    given = energies(run(quarter_day(), seed=8, replications=2))
    assert given == energies(run(quarter_day(e="seed = 3 -> seed = 8"), replications=2))
    assert given != energies(run(quarter_day(), replications=2)), "another seed is another week"


@pytest.mark.parametrize("least", [2, 5])
def test_replications_go_on_until_the_precision_is_reached(least):
    """The first count, from the scenario's own on, at which the interval is narrow enough."""
    told: list[tuple[int, int | None]] = []
    site = quarter_day(c=f"replications = 2 -> replications = {least}\nprecision = {PRECISION}")
    found = run(site, progress=lambda done, expected: told.append((done, expected)))
    by_count = widths(energies(run(quarter_day(), replications=7)))
    counts = [count for count, width in enumerate(by_count, start=2) if count >= least and width <= PRECISION]
    assert least < counts[0] < 7, "neither at once nor never: the check can fail"
    assert len(found.outcomes) == len(found.replications) == counts[0]
    assert told == [(done, None) for done in range(counts[0] + 1)], "nobody knows beforehand how many"
    (notice,) = (one for one in found.notices if one.startswith("Replications went on"))
    assert f"reached {by_count[counts[0] - 2]:.4g} with {counts[0]}." in notice


def test_a_stated_number_of_replications_needs_no_precision():
    site = quarter_day(c="replications = 2 -> replications = 2\nprecision = 0.000001")
    found = run(site, replications=3)
    assert len(found.outcomes) == 3
    assert not any("went on" in notice for notice in found.notices)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ({"seed": -1}, "seed: -1: must be at least 0"),
        ({"replications": 0}, "replications: 0: must be at least 1"),
        ({"replication": -1}, "replication: -1: must be at least 0"),
        ({"workers": 0}, "workers: 0: must be at least 1"),
        ({"replications": 2, "replication": 0}, "either replications .* or replication"),
    ],
)
def test_numbers_out_of_range_are_told(words, message):
    with pytest.raises(InputError, match=message):
        run(quarter_day(), **words)


def test_a_replay_of_nothing_is_told():
    with pytest.raises(InputError, match="needs a detections log, a log of visits, moves or picks"):
        replay(quarter_day())


def test_the_width_of_nothing_is_nothing():
    """Replications all alike are known to the last digit, also where their mean is 0; one alone is not."""
    assert relative_half_width(estimate_mean([0.0, 0.0])) == 0.0
    assert relative_half_width(estimate_mean([5.0, 5.0, 5.0])) == 0.0
    assert relative_half_width(estimate_mean([5.0])) == math.inf
    assert relative_half_width(estimate_mean([-1.0, 1.0])) == math.inf


def test_no_shift_works_just_before_a_run_that_follows_a_holiday():
    """Shifts run round the clock: only a holiday on the day before keeps them from being cut into."""
    assert is_cut_into(small_site())
    assert not is_cut_into(small_site(a="days = 1 -> days = 1\nholidays = [2027-02-28]"))
    assert is_cut_into(small_site(a="days = 1 -> days = 1\nholidays = [2027-03-01]"))
