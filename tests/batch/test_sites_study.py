"""The sentences that README.md tells of the study in scenarios/studies, from its own numbers (minutes)."""

from __future__ import annotations

import importlib.util
from types import ModuleType
from typing import Any

import pytest

from tests.house.source import ROOT

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def drawing() -> ModuleType:
    """Return the script that draws its picture."""
    spec = importlib.util.spec_from_file_location("draw_study", ROOT / "figures" / "draw_study.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def rows(drawing: ModuleType, tmp_path_factory: pytest.TempPathFactory) -> Any:
    """Compute the study."""
    return drawing.read_rows(drawing.compute(tmp_path_factory.mktemp("sites") / "store"))


def hold(drawing: ModuleType, rows: Any) -> None:
    """Hold every figure of the sentences against the table, rounded as they are told."""

    def mean(name: str, **chosen: str) -> float:
        return float(drawing.mean_of(rows, **chosen)[name].mean())

    def change(site: str, key: str, low: str, high: str) -> float:
        values = [mean("saved", site=site, **{key: value}) for value in (low, high)]
        return 100.0 * (values[1] - values[0])

    sites = list(drawing.SITES)
    timeout = [change(site, "timeout", "1200", "30") for site in sites]
    halves = [change(site, "zones", "1", "2") for site in sites]
    skew = [abs(change(site, "skew", "0.5", "1.5")) for site in sites]
    every = [-change(site, "at", "ends", "every") for site in sites]
    assert (round(min(timeout)), round(max(timeout))) == (10, 17)
    assert (round(min(halves)), round(max(halves))) == (2, 6)
    assert round(max(skew)) == 4
    assert round(max(every)) == 1
    at_ends = [mean("dim", site=site, at="ends", zones="2") for site in sites]
    everywhere = [mean("dim", site=site, at="every", zones="2") for site in sites]
    assert (round(min(at_ends)), round(max(at_ends))) == (4, 23)
    assert (round(min(everywhere), 2), round(max(everywhere), 2)) == (0.01, 0.14)
    more = [
        100.0 * (mean("saved", site=site, at="every", zones="2") - mean("saved", site=site, zones="1"))
        for site in sites
    ]
    assert (round(min(more)), round(max(more))) == (2, 5)


def test_the_sentences_are_the_numbers(drawing, rows):
    hold(drawing, rows)


def test_the_sentences_of_another_study_are_not(drawing, rows):
    """The comparison can fail: placements swapped."""
    other = {"ends": "every", "every": "ends"}
    with pytest.raises(AssertionError):
        hold(drawing, [{**row, "sensors.at": other[row["sensors.at"]]} for row in rows])
