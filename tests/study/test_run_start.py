"""Runs that begin in the middle of the work: MSER-5 on the load, the daily pattern taken off."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

import sim
from sim.records import FloatColumn
from sim.replication import Site, prepare_site
from sim.study.replications.run_start import is_cut_into, start_notices
from tests.bench.site import bench_site
from tests.study.decide_site import small_site


def load_of(site: Site, first_quarters: int, missing_kw: float) -> FloatColumn:
    """Return a load that follows the clock, with some noise, and less at the beginning."""
    middle = 0.5 * (site.bins.quarter_edges[1:] + site.bins.quarter_edges[:-1])
    load = 30.0 + 10.0 * np.sin(2.0 * np.pi * middle / 86_400.0)
    load += np.random.default_rng(5).normal(0.0, 0.2, len(load))
    load[:first_quarters] -= missing_kw
    return load


def test_a_planted_beginning_is_found_with_what_is_missing_there() -> None:
    """Ten quarter-hours of 4 kW less: 2.5 h and 10 kWh; two batches of five."""
    site = bench_site(7.0)
    (notice,) = start_notices(site, [load_of(site, 10, 4.0)])
    assert "the first 2.5 h" in notice
    missing = float(notice.split("about ")[1].split(" kWh")[0])
    # noise of 0.2 kW over 10 quarters and over the mean of six other days: sd sqrt(10 (1 + 1/6)) 0.05 kWh
    assert abs(missing - 10.0) < 4.0 * 0.05 * (10.0 * (1.0 + 1.0 / 6.0)) ** 0.5
    (short,) = start_notices(site, [load_of(site, 5, 4.0)])
    assert "the first 1.25 h" in short
    (none,) = start_notices(site, [load_of(site, 0, 0.0)])
    assert "nothing to leave out" in none
    brief = bench_site(0.3)
    (unknown,) = start_notices(brief, [load_of(brief, 5, 4.0)])
    assert "cannot be seen in so short a run" in unknown


def test_more_than_the_pattern_is_left_out_where_it_is_not_taken_off() -> None:
    """Negative control: with the clock taken for another one, the day's wave is found instead."""
    site = bench_site(7.0)
    load = load_of(site, 5, 4.0)
    shifted = np.concatenate([load[:5], np.roll(load[5:], 30)])
    assert start_notices(site, [shifted]) != start_notices(site, [load])


@pytest.mark.parametrize(
    ("start", "expected"),
    [
        (dt.datetime(2027, 3, 1, 0, 0), False),
        (dt.datetime(2027, 3, 1, 5, 30), False),
        (dt.datetime(2027, 3, 1, 10, 0), True),
        (dt.datetime(2027, 3, 1, 22, 30), False),
        (dt.datetime(2027, 3, 7, 12, 0), False),
    ],
)
def test_a_site_is_cut_into_during_its_shifts_only(start: dt.datetime, expected: bool) -> None:
    """Monday to Friday two shifts from 06:00 on; nobody on Sunday."""
    site = sim.load("pallet-reserve").model_copy(update={"start": start})
    assert is_cut_into(site) is expected


def test_a_run_says_it_only_where_it_applies() -> None:
    assert is_cut_into(small_site())
    words = "begins while a shift works"
    assert any(words in one for one in sim.run(small_site(), replications=1).notices)
    quiet = sim.load("pallet-reserve").model_copy(update={"days": 1.0})
    assert start_notices(prepare_site(quiet), []) == []
    assert not any(words in one for one in sim.run(quiet, replications=1).notices)
