"""The sentences that README.md tells of the study in scenarios/studies, from the numbers in the gallery.

That the numbers are the study's own is checked by `tests/house/test_gallery.py`.
"""

from __future__ import annotations

import math

import pandas as pd
import pytest

from figures.study import SITES, mean_of
from figures.tables import read_table, table_path
from tests.house.source import ROOT


@pytest.fixture(scope="module")
def table() -> pd.DataFrame:
    """Return the study's numbers."""
    return read_table(table_path("study"))


def sentences(table: pd.DataFrame) -> list[str]:
    """Return what is told of the study, with its figures rounded as they are told."""

    def change(site: str, factor: str, low: float | str, high: float | str) -> float:
        first, last = (mean_of(table, "saved", site=site, **{factor: value}) for value in (low, high))
        return 100.0 * (last - first)

    def span(values: list[float], digits: int = 0) -> str:
        return f"{min(values):.{digits}f} to {max(values):.{digits}f}"

    timeout = [change(site, "timeout", 1200.0, 30.0) for site in SITES]
    halves = [change(site, "zones", 1.0, 2.0) for site in SITES]
    skew = [abs(change(site, "skew", 0.5, 1.5)) for site in SITES]
    every = [-change(site, "at", "ends", "every") for site in SITES]
    at_ends = [mean_of(table, "dim_s", site=site, at="ends", zones=2.0) for site in SITES]
    everywhere = [mean_of(table, "dim_s", site=site, at="every", zones=2.0) for site in SITES]
    whole = [mean_of(table, "saved", site=site, zones=1.0) for site in SITES]
    every_half = [mean_of(table, "saved", site=site, at="every", zones=2.0) for site in SITES]
    more = [100.0 * (half - one) for half, one in zip(every_half, whole, strict=True)]
    changes = table[table["kind"] == "change"]
    told = {(one.site, one.factor): 100.0 * one.saved for one in changes.itertuples()}
    by_points = {(site, "timeout"): value for site, value in zip(SITES, timeout, strict=True)}
    assert {key: told[key] for key in by_points} == pytest.approx(by_points, rel=1e-9)
    return [
        f"From 20 minutes to 30 seconds of timeout the saving grows by {span(timeout)} points of always on",
        f"halving the aisles adds {span(halves)} points",
        f"skew moves it by at most {max(skew):.0f},",
        f"a sensor on every luminaire costs about {max(every):.0f} at most",
        f"with sensors at the ends of halved aisles a visit spends {span(at_ends)} s in dim light",
        f"with one on every luminaire {span(everywhere, 2)} s",
        f"they then save {span(more)} points more than whole aisles",
        f"95 % half-widths of at most {math.ceil(1000.0 * changes['saved_half_width'].max()) / 10.0} points",
    ]


def untold(table: pd.DataFrame) -> list[str]:
    """Return the sentences that README.md does not hold."""
    text = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    return [one for one in sentences(table) if one not in text]


def test_the_sentences_are_the_numbers(table):
    assert untold(table) == []


def test_the_sentences_of_another_study_are_not(table):
    """The comparison can fail, sentence by sentence: placements swapped, all twice as much."""
    assert len(untold(table.replace({"at": {"ends": "every", "every": "ends"}}))) >= 4
    columns = ["saved", "saved_half_width", "dim_s"]
    more = table.assign(**{name: 2.0 * table[name] for name in columns})
    assert untold(more) == sentences(more)
