"""Every log of the corpus: the good ones mean the same rows, the bad ones are refused with their words."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from sim.errors import InputError
from sim.floor.layout import lay_out
from sim.scenario.toml import load_scenario
from sim.sensing.logs import read_detections
from sim.traffic.logs import read_visit_rows
from sim.traffic.move_logs import read_stops

CORPUS = Path(__file__).parents[1] / "corpus" / "logs"
BAD = sorted((CORPUS / "bad").glob("*.csv"))
GOOD = sorted((CORPUS / "good").glob("detections-*.csv"))
EXPECTED = tomllib.loads((CORPUS / "expectations.toml").read_text(encoding="utf-8"))
SITE = load_scenario(CORPUS / "site.toml")
LAYOUT = lay_out(SITE)


def read(path: Path) -> None:
    """Read a log by the reader that its name tells."""
    if path.name.startswith("visits"):
        read_visit_rows(path, SITE, LAYOUT)
    elif path.name.startswith("moves"):
        read_stops(path, "moves", SITE, LAYOUT)
    elif path.name.startswith("picks"):
        read_stops(path, "picks", SITE, LAYOUT)
    else:
        read_detections(path, SITE, LAYOUT)


def test_corpus_is_there_and_expected() -> None:
    assert {path.stem for path in BAD} == set(EXPECTED)
    assert len(BAD) >= 28
    assert len(GOOD) >= 5


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_bad_log_is_refused_with_its_words_and_line(path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read(path)
    expected = EXPECTED[path.stem]
    message = str(caught.value)
    for words in expected["expect"]:
        assert words in message
    lines = [fault.line for fault in caught.value.faults]
    assert (expected["line"] or None) in lines
    assert len(lines) <= 21
    for fault in caught.value.faults:
        shown = str(fault)
        assert shown.startswith(str(path))
        assert shown.isprintable()
        assert len(shown) < 400 + len(str(path))


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_good_logs_are_the_same_rows_written_in_other_ways(path: Path) -> None:
    found = read_detections(path, SITE, LAYOUT)
    assert found.zone.tolist() == [0, 0, 1, 2]
    assert found.start.tolist() == [0.0, 10.0, 0.5, 86399.5]
    assert found.end.tolist() == [5.0, 100.0, 0.5, 86400.0]


def test_a_log_that_is_not_there(tmp_path: Path) -> None:
    for name, words in (("none.csv", "no such file"), ("", "cannot be read"), ("a\0b", "cannot be read")):
        with pytest.raises(InputError, match=words):
            read_detections(tmp_path / name if name != "a\0b" else name, SITE, LAYOUT)
