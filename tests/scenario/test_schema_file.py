"""The JSON Schema file is current, says what every key means, and agrees with the reader."""

from __future__ import annotations

import datetime as dt
import json
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from sim.scenario.jsonschema import json_schema

ROOT = Path(__file__).parents[2]
CORPUS = ROOT / "tests" / "corpus" / "scenarios"
SCHEMA = json.loads(json_schema())
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
ONLY_CODE_SEES = {
    "form-curve-falls": "order of rows",
    "form-curve-starts-late": "order of rows",
    "form-curve-level-twice": "order of rows",
    "form-number-nan": "JSON has no such number",
    "form-start-in-1066": "years are not in the pattern",
    "form-start-in-quotes": "a date is text in JSON",
    "form-clock-without-quotes": "a time is text in JSON",
}


def as_json(value: Any) -> Any:
    """TOML values as an editor hands them to a validator: dates are text."""
    if isinstance(value, dict):
        return {key: as_json(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [as_json(inner) for inner in value]
    return value.isoformat() if isinstance(value, dt.date | dt.time) else value


def test_the_written_file_is_current() -> None:
    written = (ROOT / "scenarios" / "scenario.schema.json").read_text(encoding="utf-8")
    assert written == json_schema(), "run: aislewake schema --out scenarios/scenario.schema.json"


def test_it_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_every_key_has_a_meaning_and_a_unit() -> None:
    tables = [SCHEMA, *SCHEMA["$defs"].values()]
    keys = [(name, key) for table in tables for name, key in table["properties"].items()]
    assert len(keys) > 80
    for name, key in keys:
        assert key["description"], name
        assert key["unit"], name
        if "_per_" not in name:
            assert key["unit"] == "s" or not name.endswith("_s"), name
            assert key["unit"] == "m" or not name.endswith("_m"), name
            assert key["unit"] == "W" or not name.endswith("_w"), name


@pytest.mark.parametrize("path", sorted((CORPUS / "good").glob("*.toml")), ids=lambda path: path.stem)
def test_good_scenarios_are_valid(path: Path) -> None:
    VALIDATOR.validate(as_json(tomllib.loads(path.read_text(encoding="utf-8"))))


@pytest.mark.parametrize("path", sorted((CORPUS / "bad").glob("form-*.toml")), ids=lambda path: path.stem)
def test_faults_of_form_are_invalid(path: Path) -> None:
    """The schema refuses what the reader refuses for its form; what only code can see is left out."""
    if path.stem in ONLY_CODE_SEES:
        pytest.skip(ONLY_CODE_SEES[path.stem])
    content = as_json(tomllib.loads(path.read_text(encoding="utf-8")))
    assert not VALIDATOR.is_valid(content)
