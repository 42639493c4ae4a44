"""The sentences that README.md tells of the study in scenarios/studies, from the numbers in the gallery.

That the numbers are the study's own is checked by `tests/house/test_gallery.py`.
"""

from __future__ import annotations

import pandas as pd
import pytest

from figures.study import SITES, mean_of
from figures.tables import read_table, table_path


@pytest.fixture(scope="module")
def table() -> pd.DataFrame:
    """Return the study's numbers."""
    return read_table(table_path("study"))


def hold(table: pd.DataFrame) -> None:
    """Hold every figure of the sentences against the table, rounded as they are told."""

    def change(site: str, factor: str, low: float | str, high: float | str) -> float:
        first, last = (mean_of(table, "saved", site=site, **{factor: value}) for value in (low, high))
        return 100.0 * (last - first)

    timeout = [change(site, "timeout", 1200.0, 30.0) for site in SITES]
    halves = [change(site, "zones", 1.0, 2.0) for site in SITES]
    skew = [abs(change(site, "skew", 0.5, 1.5)) for site in SITES]
    every = [-change(site, "at", "ends", "every") for site in SITES]
    assert (round(min(timeout)), round(max(timeout))) == (9, 17)
    assert (round(min(halves)), round(max(halves))) == (2, 6)
    assert round(max(skew)) == 4
    assert round(max(every)) == 1
    at_ends = [mean_of(table, "dim_s", site=site, at="ends", zones=2.0) for site in SITES]
    everywhere = [mean_of(table, "dim_s", site=site, at="every", zones=2.0) for site in SITES]
    assert (round(min(at_ends)), round(max(at_ends))) == (4, 23)
    assert (round(min(everywhere), 2), round(max(everywhere), 2)) == (0.01, 0.17)
    whole = [mean_of(table, "saved", site=site, zones=1.0) for site in SITES]
    every_half = [mean_of(table, "saved", site=site, at="every", zones=2.0) for site in SITES]
    more = [100.0 * (half - one) for half, one in zip(every_half, whole, strict=True)]
    assert (round(min(more)), round(max(more))) == (2, 5)
    changes = table[table["kind"] == "change"]
    assert 100.0 * changes["saved_half_width"].max() < 0.25
    told = {(one.site, one.factor): 100.0 * one.saved for one in changes.itertuples()}
    by_points = {(site, "timeout"): value for site, value in zip(SITES, timeout, strict=True)}
    assert {key: told[key] for key in by_points} == pytest.approx(by_points, rel=1e-9)


def test_the_sentences_are_the_numbers(table):
    hold(table)


def test_the_sentences_of_another_study_are_not(table):
    """The comparison can fail: placements swapped."""
    with pytest.raises(AssertionError):
        hold(table.replace({"at": {"ends": "every", "every": "ends"}}))
