"""scenarios/README.md says what the program does: keys, defaults, outcomes, columns, the least file."""

from __future__ import annotations

import re
from typing import Any

import pytest

from sim.outcome.names import OUTCOMES
from sim.records import Visits
from sim.scenario.demos import demo_paths
from sim.scenario.schema import Override, Scenario
from sim.scenario.toml import parse_scenario
from sim.traffic.paths import VISIT_TASKS
from tests.house.format_page import PAGE, default_text, fill, find_tables

TEXT = PAGE.read_text(encoding="utf-8")


def test_tables_are_current() -> None:
    assert fill(TEXT) == TEXT, "run: python -m tests.house.format_page"


def test_a_changed_table_would_be_seen() -> None:
    assert fill(TEXT.replace("| `range_m` |", "| `reach_m` |")) != TEXT.replace(
        "| `range_m` |", "| `reach_m` |"
    )


@pytest.mark.parametrize(
    ("path", "model"),
    [(path, model) for _, _, path, model in find_tables()],
    ids=lambda given: str(given)[:40],
)
def test_every_key_is_named_with_its_default(path: tuple[str | int, ...], model: type[Any]) -> None:
    for name, field in model.model_fields.items():
        key = field.alias or name
        if path == () and re.search(rf"^### `\[+{key}[\].]", TEXT, re.MULTILINE):
            continue
        rows = re.findall(rf"^\| `{key}` \|.*$", TEXT, re.MULTILINE)
        assert rows, key
        if model is not Override or key in ("aisles", "settings"):
            assert any(f" | {default_text(field)} | " in row for row in rows), key


def test_every_outcome_is_explained() -> None:
    for name in OUTCOMES:
        assert f"| `{name}` |" in TEXT


def test_every_word_of_a_visits_log_is_named() -> None:
    assert all(f"`{task}`" in TEXT for task in VISIT_TASKS)
    assert "bay_m" in Visits.__dataclass_fields__


def test_the_packaged_sites_are_listed() -> None:
    assert all(f"| `{name}`" in TEXT for name in demo_paths())


def test_the_least_file_is_a_scenario() -> None:
    example = re.search(r"```toml\n(.*?)```", TEXT, re.DOTALL)
    assert example
    assert isinstance(parse_scenario(example[1]), Scenario)
