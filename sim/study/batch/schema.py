"""What a study file may say: every key with its meaning and what is allowed.

Comes in: nothing.  Goes out: `StudyForm`, its JSON Schema, and for messages what each key may hold.  Before:
`scenario/tables/base`; after: `study/batch/file`.
"""

from __future__ import annotations

import json
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, StringConstraints

from sim.scenario.tables.base import Frozen, Part, Title

__all__ = ["ALLOWED", "MOST_REPLICATIONS", "StudyForm", "study_schema"]

MOST_REPLICATIONS = 10_000
_DIALECT = "https://json-schema.org/draft/2020-12/schema"

Number = int | float
File = Annotated[str, StringConstraints(min_length=1, max_length=1000)]


def _as_files(value: Any) -> Any:
    """Freeze a list of files; one file is a list of one."""
    return (value,) if isinstance(value, str) else tuple(value) if isinstance(value, list) else value


def _key(meaning: str, allowed: str, default: Any = ..., **limits: Any) -> Any:
    """Declare a key: its meaning, and what it may hold in words."""
    return Field(default, description=meaning, json_schema_extra={"allowed": allowed}, **limits)


class RangeForm(Part):
    """A range of values: with a step a list, without one continuous (for a sample only)."""

    from_: Number = Field(alias="from")
    to: Number
    step: Number | None = None


Values = Annotated[tuple[Any, ...], Field(min_length=1), Frozen]


class SampleForm(Part):
    """Points drawn evenly from all combinations instead of every one."""

    size: int = _key("how many points", "a whole number from 1 to 10,000,000", ge=1, le=10_000_000)
    design: Literal["sobol", "lhs"] = _key(
        "how they are drawn: Sobol' points or a Latin hypercube", '"sobol" or "lhs"', "sobol"
    )
    seed: int = _key("chance of the drawing", "a whole number from 0 to 4,294,967,295", 0, ge=0, le=2**32 - 1)


class StudyForm(Part):
    """A whole study file."""

    format: Literal[1] = _key("version of this file's form", "1")
    title: Title = _key(
        "what a reader of the results should call the study",
        "text in quotes on one line, at most 200 characters, not beginning with = + - @",
    )
    scenario: Annotated[tuple[File, ...], Field(min_length=1), BeforeValidator(_as_files)] = _key(
        "scenario file, beside this file, or a packaged site's name; a list makes the site a factor",
        "text in quotes, or a list of texts",
    )
    replications: int | None = _key(
        "independent replications of each point; absent: the scenario's",
        f"a whole number from 1 to {MOST_REPLICATIONS:,}",
        None,
        ge=1,
        le=MOST_REPLICATIONS,
    )
    seed: int | None = _key(
        "seed of the traffic instead of the scenario's",
        "a whole number of at least 0",
        None,
        ge=0,
        le=2**63 - 1,
    )
    outcomes: Annotated[tuple[str, ...], Field(min_length=1), Frozen] | None = _key(
        "columns of the table; absent: every outcome that needs no replay",
        "a list of names of outcomes in quotes",
        None,
    )
    sample: SampleForm | None = _key("a sample instead of every combination", "a table", None)
    factors: Annotated[dict[str, Values | RangeForm], Field(min_length=1)] = _key(
        "what is varied: keys of the scenario with dots, in quotes; the last one runs fastest",
        "a list of values, or { from = , to = , step = }",
    )


ALLOWED: dict[tuple[str, ...], str] = {
    (*prefix, name): str(field.json_schema_extra["allowed"])
    for prefix, form in (((), StudyForm), (("sample",), SampleForm))
    for name, field in form.model_fields.items()
    if isinstance(field.json_schema_extra, dict)
}
"""What each key may hold, in words."""


def study_schema() -> str:
    """Return the JSON Schema of a study file as text, ending in a line feed."""
    content = StudyForm.model_json_schema()
    content["properties"]["scenario"] = {
        "description": content["properties"]["scenario"]["description"],
        "anyOf": [
            {"type": "string", "minLength": 1, "maxLength": 1000},
            {"type": "array", "items": {"type": "string", "minLength": 1, "maxLength": 1000}, "minItems": 1},
        ],
    }
    whole = {"$schema": _DIALECT, **_plain(content), "title": "aislewake study, format 1"}
    return json.dumps(whole, indent=2, ensure_ascii=False) + "\n"


def _plain(node: Any, is_schema: bool = True) -> Any:
    """Drop made-up titles, words for messages, and the null of optional keys (TOML has none)."""
    if isinstance(node, list):
        return [_plain(inner) for inner in node if inner != {"type": "null"}]
    if not isinstance(node, dict):
        return node
    kept = {
        key: _plain(inner, not (is_schema and key in ("properties", "$defs")))
        for key, inner in node.items()
        if not (is_schema and (key in ("title", "allowed") or (key == "default" and inner is None)))
    }
    if is_schema and len(kept.get("anyOf", ())) == 1:
        kept |= kept.pop("anyOf")[0]
    return kept
