"""Every meter of the corpus: the good ones are the same hours, the bad ones are refused with their words."""

from __future__ import annotations

import tomllib
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from sim.errors import InputError
from sim.verification.meter import Reading, read_meter

CORPUS = Path(__file__).parents[1] / "corpus" / "meters"
BAD = sorted((CORPUS / "bad").glob("*.csv"))
GOOD = sorted((CORPUS / "good").glob("*.csv"))
EXPECTED = tomllib.loads((CORPUS / "expectations.toml").read_text(encoding="utf-8"))
READING = Reading(zone=ZoneInfo("Europe/Berlin"))


def test_corpus_is_there_and_expected() -> None:
    assert {path.stem for path in BAD} == set(EXPECTED)
    assert len(BAD) >= 30
    assert len(GOOD) >= 5


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_bad_meter_is_refused_with_its_words_and_line(path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read_meter(path, READING)
    expected = EXPECTED[path.stem]
    for words in expected["expect"]:
        assert words in str(caught.value)
    assert (expected["line"] or None) in [fault.line for fault in caught.value.faults]
    for fault in caught.value.faults:
        shown = str(fault)
        assert shown.startswith(str(path))
        assert shown.isprintable()
        assert len(shown) < 400 + len(str(path))


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_good_meters_are_the_same_hours(path: Path) -> None:
    found = read_meter(path, READING)
    assert [column.name for column in found.columns] == ["site"]
    assert found.columns[0].kind == "measured"
    assert found.columns[0].kwh.tolist() == [1.5, 2.0, 0.0]
    assert [int(second) % 86_400 for second in found.wall_s] == [0, 3600, 7200]


def test_a_meter_that_is_not_there(tmp_path: Path) -> None:
    for path, words in ((tmp_path / "none.csv", "no such file"), (tmp_path, "cannot be read")):
        with pytest.raises(InputError, match=words):
            read_meter(path, READING)
