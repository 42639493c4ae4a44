"""The scenario's form as JSON Schema, and what it says of one key in words.

Comes in: the models of `scenario/schema`.  Goes out: the text of scenarios/scenario.schema.json (for
editors), and for messages: which keys a table has, what a key may hold.  One source for both, so that
they cannot differ.  JSON Schema: draft 2020-12, "Core" and "Validation".
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from functools import lru_cache
from typing import Any

from sim.scenario.positions import Key
from sim.scenario.schema import (
    CLOCK_PATTERN,
    COUNTRY_PATTERN,
    FIRST_YEAR,
    LAST_YEAR,
    LOCAL_TIME_PATTERN,
    NAME_PATTERN,
    TITLE_PATTERN,
    Scenario,
)
from sim.scenario.tables.outside import ZONE_PATTERN

__all__ = ["allowed_text", "json_schema", "keys_at", "meaning_at", "places_of_key"]

Node = Mapping[str, Any]

_DIALECT = "https://json-schema.org/draft/2020-12/schema"
_PATTERN_WORDS = {
    NAME_PATTERN: "a name in quotes: letters, digits, space, _ . -, the first a letter or digit, at most 60",
    TITLE_PATTERN: "text in quotes on one line, at most 200 characters, not beginning with = + - @",
    CLOCK_PATTERN: 'a wall-clock time in quotes, "00:00" to "24:00"',
    COUNTRY_PATTERN: 'a country in quotes, such as "DE", or with its state, such as "US-CA"',
    ZONE_PATTERN: 'a time zone of the IANA database in quotes, such as "Europe/Berlin"',
    LOCAL_TIME_PATTERN: (
        f"a local date such as 2027-03-01 or date-time such as 2027-03-01T06:00:00, without quotes, "
        f"year {FIRST_YEAR} to {LAST_YEAR}"
    ),
}


def json_schema() -> str:
    """Return the JSON Schema of a scenario file as text, ending in a line feed.

    Every key carries its meaning (`description`), its unit (`unit`) and its default.
    """
    content = {
        "$schema": _DIALECT,
        "title": "aislewake scenario, format 1",
        **{key: value for key, value in _schema().items() if key != "title"},
    }
    return json.dumps(content, indent=2, ensure_ascii=False) + "\n"


@lru_cache(maxsize=1)
def _schema() -> dict[str, Any]:
    """The models' schema without the titles that are made from the names of keys."""
    return _without_titles(Scenario.model_json_schema())  # type: ignore[no-any-return]


def _without_titles(node: Any, is_schema: bool = True) -> Any:
    """Drop made-up titles and the null of optional keys (TOML has none); close tables of named tables."""
    if isinstance(node, list):
        return [_without_titles(inner) for inner in node if inner != {"type": "null"}]
    if not isinstance(node, dict):
        return node
    kept = {
        key: _without_titles(inner, not (is_schema and key in ("properties", "patternProperties", "$defs")))
        for key, inner in node.items()
        if not (is_schema and (key == "title" or (key == "default" and inner is None)))
    }
    if is_schema and len(kept.get("anyOf", ())) == 1:
        kept |= kept.pop("anyOf")[0]
    if is_schema and "patternProperties" in kept:
        kept.setdefault("additionalProperties", False)
    return kept


def _branches(node: Node) -> Iterator[Node]:
    """Yield the forms a value may have, references followed."""
    if "$ref" in node:
        node = _schema()["$defs"][node["$ref"].rpartition("/")[2]]
    if "anyOf" in node:
        for inner in node["anyOf"]:
            yield from _branches(inner)
    else:
        yield node


def _children(node: Node, step: str | int) -> Iterator[Node]:
    """Yield what a key or a list item may be under one form of a value."""
    if isinstance(step, int):
        pair = node.get("prefixItems", ())
        if step < len(pair):
            yield pair[step]
        elif "items" in node:
            yield node["items"]
    elif step in node.get("properties", ()):
        yield node["properties"][step]
    else:
        yield from node.get("patternProperties", {}).values()


def _nodes_at(path: Key) -> list[tuple[Node, str]]:
    """Return the declarations of a value, each with its unit."""
    found: list[tuple[Node, str]] = [(_schema(), "-")]
    for step in path:
        found = [
            (child, child.get("unit", "-" if isinstance(step, str) else unit))
            for node, unit in found
            for branch in _branches(node)
            for child in _children(branch, step)
        ]
    return found


def keys_at(path: Key) -> tuple[str, ...]:
    """Return the keys that a table may have, () for anything that has no fixed keys.

    Examples
    --------
    >>> keys_at(("lighting",))
    ('settings',)
    """
    branches = (branch for node, _ in _nodes_at(path) for branch in _branches(node))
    return tuple(key for branch in branches for key in branch.get("properties", ()))


def meaning_at(path: Key) -> str:
    """Return the meaning of a key, "" where none is declared."""
    return next((node["description"] for node, _ in _nodes_at(path) if "description" in node), "")


def allowed_text(path: Key) -> str:
    """Return what a key may hold, in words with its unit.

    Examples
    --------
    >>> allowed_text(("trucks", 0, "speed_empty_m_per_s"))
    'a number above 0, at most 1,000 [m/s]'
    >>> allowed_text(("sensors", "at"))
    '"ends" or "every", or a list of numbers, each from 0 to 10,000,000 [m]'
    """
    forms = [
        _form(branch) + (f" [{unit}]" if _is_measure(branch) and unit != "-" else "")
        for node, unit in _nodes_at(path)
        for branch in _branches(node)
    ]
    return ", or ".join(dict.fromkeys(forms))


def _is_measure(node: Node) -> bool:
    """Say whether a form holds numbers, which have a unit."""
    if node.get("type") in ("number", "integer"):
        return True
    inner = [*node.get("prefixItems", ()), *([node["items"]] if "items" in node else [])]
    return any(_is_measure(branch) for item in inner for branch in _branches(item))


def _form(node: Node) -> str:
    """Say one form of a value in words."""
    kind = node.get("type")
    if "const" in node:
        return json.dumps(node["const"])
    if "enum" in node:
        return " or ".join(json.dumps(choice) for choice in node["enum"])
    if kind in ("number", "integer"):
        return f"a {'whole ' if kind == 'integer' else ''}number {_range(node)}".rstrip()
    if kind == "string" and node.get("format") == "date":
        return "a local date such as 2027-12-25, without quotes"
    if kind == "string":
        return _PATTERN_WORDS.get(node.get("pattern", ""), "text in quotes")
    if kind == "boolean":
        return "true or false"
    if kind == "array":
        return _list_form(node)
    return "a table"


def _range(node: Node) -> str:
    """Say the limits of a number."""
    low, high = node.get("minimum"), node.get("maximum")
    above, below = node.get("exclusiveMinimum"), node.get("exclusiveMaximum")
    if low is not None and low == high:
        return f"equal to {_figure(low)}"
    if low is not None and high is not None:
        return f"from {_figure(low)} to {_figure(high)}"
    limits = {"above": above, "at least": low, "below": below, "at most": high}
    return ", ".join(f"{word} {_figure(limit)}" for word, limit in limits.items() if limit is not None)


def _figure(value: float) -> str:
    """Write a limit as people do: no decimals where there are none, commas in thousands."""
    return f"{int(value):,}" if value == int(value) else f"{value:g}"


def _list_form(node: Node) -> str:
    """Say the form of a list."""
    if "prefixItems" in node:
        forms = list(dict.fromkeys(_form(next(_branches(item))) for item in node["prefixItems"]))
        return f"a pair, each {forms[0]}" if len(forms) == 1 else f"a pair of {' and '.join(forms)}"
    low, high = node.get("minItems", 0), node.get("maxItems")
    size = f" of {low}" if low == high else f" of at least {low}" if low > 1 else ""
    item = next(_branches(node["items"]))
    if item.get("type") == "object":
        return "tables in double brackets"
    if item.get("type") in ("number", "integer"):
        return f"a list{size or ' of'} numbers, each {_range(item)}"
    return f"a list{size}, each {_form(item)}"


@lru_cache(maxsize=1)
def _known_places() -> dict[str, tuple[str, ...]]:
    """Every key with the tables that have it, as they are written in a file."""
    scenario = _schema()["properties"]
    tables = [("the first lines of the file, before any [table]", keys_at(()))]
    for name in scenario:
        tables.append((f"[{name}]", keys_at((name,))))
        tables.append((f"[[{name}]]", keys_at((name, 0))))
    tables.append(("[lighting.settings.NAME]", keys_at(("lighting", "settings", "NAME"))))
    found: dict[str, list[str]] = {}
    for title, keys in tables:
        for key in keys:
            found.setdefault(key, []).append(title)
    return {key: tuple(titles) for key, titles in found.items()}


def places_of_key(key: str) -> tuple[str, ...]:
    """Return the tables that have a key of this name, overrides last.

    Examples
    --------
    >>> places_of_key("timeout_s"), places_of_key("miss")
    (('[lighting.settings.NAME]',), ('[[area]]', '[sensors]', '[[override]]'))
    """
    return _known_places().get(key, ())
