"""From what pydantic says of a scenario to one readable sentence for each mistake.

Comes in: the plain content of a file and pydantic's errors.  Goes out: problems, each at the path of a
key.  Before: `scenario/schema`, `scenario/jsonschema`; after: `scenario/toml`, which adds file and line.
A mistake is told once: a value that fits no form of a key is one problem, not one for each form, and a
misspelt key is not also a missing one.
"""

from __future__ import annotations

import datetime as dt
import json
import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from sim.scenario.jsonschema import allowed_text, keys_at, meaning_at, places_of_key
from sim.scenario.positions import Key, Place
from sim.wording import find_nearest, nearest_text, printable

__all__ = ["Problem", "find_form_problems", "key_text", "value_at"]

_PROBLEMS_PER_LIST = 3
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_NUMBER = re.compile(r"\s*[+-]?[0-9]+([.,][0-9]+)?\s*")


@dataclass(frozen=True)
class Problem:
    """One thing wrong, at a key path of the content.

    Attributes
    ----------
    path : names of tables and keys, positions in lists from 0; () for the whole file
    message : a sentence that goes after the key's name
    """

    path: Key
    message: str


@dataclass(frozen=True)
class _Error:
    """One of pydantic's errors, its location split into the content's path and the form tried.

    Attributes
    ----------
    path : in the content
    form_at : length of the path where one of several forms was tried; None where there is one form
    kind : pydantic's name of the error
    details : all that pydantic says
    """

    path: Key
    form_at: int | None
    kind: str
    details: ErrorDetails

    @property
    def is_other_form(self) -> bool:
        """Whether the value is of another kind altogether than the form tried."""
        is_kind = self.kind.endswith("_type") or self.kind == "literal_error"
        return is_kind and self.form_at == len(self.path)


def find_form_problems(
    content: Mapping[str, Any], error: ValidationError, places: Mapping[Key, Place]
) -> list[Problem]:
    """Return a problem for every key that does not have the form the schema asks for.

    Parameters
    ----------
    content : what was validated
    error : what pydantic found
    places : the wording of values, where they come from a file
    """
    found = [_locate(details, content) for details in error.errors(include_url=False, include_input=False)]
    errors = [one for one in found if not _is_repeat(one, found, content)]
    misspelt = {
        (*one.path[:-1], find_nearest(str(one.path[-1]), keys_at(one.path[:-1])))
        for one in errors
        if one.kind == "extra_forbidden"
    }
    problems: dict[Key, Problem] = {}
    for one in errors:
        if not (one.kind == "missing" and one.path in misspelt):
            problems.setdefault(one.path, Problem(one.path, _sentence(one, content, places)))
    return _shorten_lists(problems.values())


def _locate(details: ErrorDetails, content: Any) -> _Error:
    """Follow pydantic's location through the content; what is not there names a form or a missing key."""
    path: Key = ()
    value, kind = content, details["type"]
    form_at = None
    for number, step in enumerate(details["loc"], start=1):
        if _has(value, step):
            value, path = value[step], (*path, step)
        elif kind == "missing" and number == len(details["loc"]):
            path = (*path, step)
        elif step == "[key]":
            kind = "key_name"
        else:
            form_at = len(path)
    return _Error(path, form_at, kind, details)


def _is_repeat(one: _Error, errors: Sequence[_Error], content: Any) -> bool:
    """Say whether an error only follows from another one."""
    if one.kind == "too_short":  # pydantic counts the valid items only
        return len(value_at(content, one.path)) >= int(one.details["ctx"]["min_length"])
    return one.is_other_form and any(
        other.form_at == one.form_at
        and other.path[: one.form_at] == one.path[: one.form_at]
        and not other.is_other_form
        for other in errors
    )


def value_at(content: Any, path: Key) -> Any:
    """Return the value at a path of the content, None where nothing stands there.

    Examples
    --------
    >>> value_at({"work": [{"name": "out"}]}, ("work", 0, "name"))
    'out'
    """
    for step in path:
        if not _has(content, step):
            return None
        content = content[step]
    return content


def _sentence(one: _Error, content: Any, places: Mapping[Key, Place]) -> str:
    """Say what is wrong and what is allowed."""
    path = one.path
    allowed = allowed_text(path)
    if one.kind == "extra_forbidden":
        return _unknown_key(path)
    if one.kind == "key_name":
        return f"this name is not allowed; allowed: {allowed_text(('timetable', 0, 'settings'))}"
    if one.kind == "missing":
        meaning = meaning_at(path)
        return f"is missing; allowed: {allowed}" + (f" ({meaning})" if meaning else "")
    value = value_at(content, path)
    written = _written(value, places.get(path))
    if one.kind == "value_error":
        return f"{written}: {one.details['msg'].removeprefix('Value error, ')}"
    return f"{written} {_verdict(one.kind, value)}; allowed: {allowed}{_hint(path, value, allowed)}"


def _verdict(kind: str, value: Any) -> str:
    """Say why a value is refused."""
    if kind == "finite_number":
        return "is not a finite number"
    if kind in ("too_short", "too_long"):
        return f"has {len(value)} item{'s' * (len(value) != 1)}"
    if kind == "literal_error" or kind.startswith("string_p"):
        return "is not allowed"
    if kind == "string_too_long":
        return f"has {len(value)} characters"
    is_huge = kind in ("int_type", "float_type") and isinstance(value, int) and not isinstance(value, bool)
    return f"is {_kind_of(value)}" if kind.endswith("_type") and not is_huge else "is out of range"


def _kind_of(value: Any) -> str:
    """Name the kind of a TOML value."""
    kinds: tuple[tuple[type | tuple[type, ...], str], ...] = (
        (bool, "a truth value"),
        (str, "text"),
        (int, "a whole number"),
        (float, "a number with decimals"),
        (list, "a list"),
        (dict, "a table"),
        ((dt.date, dt.time), "a date or time"),
    )
    return next((name for kind, name in kinds if isinstance(value, kind)), "of another kind")


def _hint(path: Key, value: Any, allowed: str) -> str:
    """Say what would mend a frequent slip."""
    if isinstance(value, dict) and allowed.startswith("tables in double"):
        return f"; write [[{path[-1]}]]"
    if isinstance(value, list) and allowed == "a table":
        return f"; write [{path[-1]}] in single brackets, once"
    if isinstance(value, str):
        if "number" in allowed and _NUMBER.fullmatch(value):
            return f"; write it without quotes: {value.strip().replace(',', '.')}"
        near = find_nearest(value, re.findall(r'"(\w+)"', allowed))
        if near == value:
            return f'; write it in brackets: ["{near}"]'
        return "" if near is None else f'; did you mean "{near}"?'
    if isinstance(value, int | float) and "in quotes" in allowed and "number" not in allowed:
        return "; write it in quotes"
    return ""


def _unknown_key(path: Key) -> str:
    """Say which key was meant, where it belongs, or which keys there are."""
    name, known = str(path[-1]), keys_at(path[:-1])
    every = [home for home in places_of_key(name) if home != "[[override]]"]
    homes = [home for home in every if home != "[[area]]"] or every
    if homes and name not in known:
        return f"unknown key here; it belongs in {' or '.join(homes)}"
    return f"unknown key{nearest_text(name, known)}"


def _written(value: Any, place: Place | None) -> str:
    """Return a value as it stands in the file, or as TOML would write it."""
    if isinstance(value, dict) or (isinstance(value, list) and any(isinstance(item, dict) for item in value)):
        return "this"
    if place is not None and place.wording:
        return printable(place.wording)
    if isinstance(value, str | bool):
        return printable(json.dumps(value, ensure_ascii=False))
    return printable(str(value))


def key_text(path: Key, content: Any) -> str:
    """Return a path as a user would write it: items of lists by their name, or numbered from 1.

    Examples
    --------
    >>> key_text(("work", 0, "per_hour", 4), {"work": [{"name": "retrieval"}]})
    'work[retrieval].per_hour[5]'
    """
    text = ""
    for step in path:
        content = content[step] if _has(content, step) else None
        if isinstance(step, int):
            name = content.get("name") if isinstance(content, dict) else None
            text += f"[{printable(name) if isinstance(name, str) and name else step + 1}]"
        else:
            word = step if _BARE_KEY.fullmatch(step) else json.dumps(step, ensure_ascii=False)
            text += f"{'.' * bool(text)}{printable(word)}"
    return text


def _has(content: Any, step: str | int) -> bool:
    """Say whether a table has a key or a list an item."""
    if isinstance(step, int):
        return isinstance(content, list) and step < len(content)
    return isinstance(content, dict) and step in content


def _shorten_lists(problems: Iterable[Problem]) -> list[Problem]:
    """Keep the first problems of each list of values and count the others."""
    kept: list[Problem] = []
    seen: Counter[Key] = Counter()
    for problem in problems:
        is_value = len(problem.path) > 2 and isinstance(problem.path[-1], int)
        seen[problem.path[:-1]] += is_value
        if not is_value or seen[problem.path[:-1]] <= _PROBLEMS_PER_LIST:
            kept.append(problem)
    for path, count in seen.items():
        if count > _PROBLEMS_PER_LIST:
            untold = count - _PROBLEMS_PER_LIST
            more = "1 more item is" if untold == 1 else f"{untold} more items are"
            kept.append(Problem(path, f"{more} wrong in the same list"))
    return kept
