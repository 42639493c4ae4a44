"""Lists of aisles from spreadsheets: the good ones mean what they say, the bad ones are refused."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from sim.errors import InputError
from sim.scenario.aisle_list import read_aisle_list

CORPUS = Path(__file__).parents[1] / "corpus" / "aisles"
BAD = sorted((CORPUS / "bad").glob("*.csv"))
GOOD = sorted((CORPUS / "good").glob("*.csv"))
EXPECTED = tomllib.loads((CORPUS / "expectations.toml").read_text(encoding="utf-8"))


def test_corpus_is_there_and_expected() -> None:
    assert {path.stem for path in BAD} == set(EXPECTED)
    assert len(BAD) >= 30
    assert len(GOOD) >= 6


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_good_lists_are_the_same_aisles_written_in_other_ways(path: Path) -> None:
    rows = read_aisle_list(path)
    assert [row.name for row in rows] == ["G1", "G2", "G3"]
    assert [row.length_m for row in rows] == [60.0, 60.5, 72.0]
    if path.stem in ("whole", "other-order"):
        assert [row.luminaires for row in rows] == [10, 10, 12]
        assert [row.watts for row in rows] == [100.0, 100.0, 150.5]
        assert [row.circuit for row in rows] == ["DB1/3", "DB1/3", "DB1/4"]
        assert [row.zone for row in rows] == ["Z1", "Z1", ""]
    else:
        assert {(row.luminaires, row.watts) for row in rows} == {(None, None)}


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_bad_list_is_refused_with_its_words_and_line(path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read_aisle_list(path)
    message, expected = str(caught.value), EXPECTED[path.stem]
    for words in expected["expect"]:
        assert words in message
    assert (expected["line"] or None) in [fault.line for fault in caught.value.faults]
    for fault in caught.value.faults:
        shown = str(fault)
        assert shown.startswith(str(path))
        assert shown.isprintable()
        assert len(shown) < 400 + len(str(path))


def test_more_aisles_than_a_scenario_may_have(tmp_path: Path) -> None:
    path = tmp_path / "many.csv"
    path.write_text("name,length\n" + "".join(f"G{k},60\n" for k in range(2001)), encoding="utf-8")
    with pytest.raises(InputError, match="more than 2,000 aisles"):
        read_aisle_list(path)


def test_a_list_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_aisle_list(tmp_path / "none.csv")
