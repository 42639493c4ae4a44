"""Every scenario of the corpus: the good ones load, the bad ones are refused with the words they ask for."""

from __future__ import annotations

from pathlib import Path

import pytest

from sim.errors import InputError
from sim.scenario.toml import dump_scenario, load_scenario, parse_scenario

CORPUS = Path(__file__).parents[1] / "corpus" / "scenarios"
GOOD = sorted((CORPUS / "good").glob("*.toml"))
BAD = sorted((CORPUS / "bad").glob("*.toml"))


def directive(text: str, name: str) -> list[str]:
    """Return the parts of a `# name: a | b` comment line."""
    line = next(line for line in text.splitlines() if line.startswith(f"# {name}:"))
    separator = "|" if name == "expect" else ","
    return [part.strip() for part in line.removeprefix(f"# {name}:").split(separator) if part.strip()]


def test_corpus_is_there() -> None:
    assert len(GOOD) >= 4
    assert len(BAD) >= 45


@pytest.mark.parametrize("path", GOOD, ids=lambda path: path.stem)
def test_good_scenario_loads_and_survives_writing(path: Path) -> None:
    scenario = load_scenario(path)
    again = parse_scenario(dump_scenario(scenario), path.name)
    assert again == scenario
    assert dump_scenario(again) == dump_scenario(scenario)


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_bad_scenario_is_refused_with_its_words_and_lines(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_scenario(path)
    message = str(caught.value)
    for words in directive(text, "expect"):
        assert words in message
    lines = {fault.line for fault in caught.value.faults}
    assert lines >= {int(number) for number in directive(text, "lines")}
    for fault in caught.value.faults:
        shown = str(fault)
        assert shown.startswith(str(path))
        assert "\n" not in shown
        assert shown.isprintable()
        assert len(shown) < 500 + len(str(path))


@pytest.mark.parametrize("path", BAD, ids=lambda path: path.stem)
def test_bad_scenario_has_no_fault_that_is_not_expected(path: Path) -> None:
    """One mistake is one fault: as many lines are at fault as the file marks, or one where it marks none."""
    marked = directive(path.read_text(encoding="utf-8"), "lines")
    with pytest.raises(InputError) as caught:
        load_scenario(path)
    assert len({fault.line for fault in caught.value.faults}) == max(1, len(marked))
