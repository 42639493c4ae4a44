"""`--vary KEY=VALUES`: which places of a scenario take which values.

Comes in: the words of a user and a scenario.  Goes out: `Varied` keys, every fault told at once.
Before: `study/sweeping/values`; after: `study/sweeping/plan`, which puts the values in.

Keys: `NAME.timeout_s` (any key of the settings NAME; `all.` stands for every settings), or the dotted path
of a key in the scenario file, with items of lists by their name or, where they have none, by their number
from 1: `sensors.at`, `work.retrieval.per_hour`, `trucks.reach.count`, `shifts.1.crew`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sim.errors import Fault, InputError
from sim.scenario.jsonschema import allowed_text, keys_at
from sim.scenario.positions import Key
from sim.scenario.schema import Scenario, Settings
from sim.study.relight import PRICED_AFTERWARDS
from sim.study.sweeping.values import Span, Value, ValuesError, parse_values
from sim.wording import nearest_text, printable

__all__ = ["Varied", "keys_to_vary", "parse_varied", "place_of"]

_FIXED = {
    "format": "the format of the file does not vary",
    "title": "a title changes no figure",
    "seed": "chance is varied by --replications",
    "replications": "give --replications",
    "precision": "give --replications",
    "recommend": "limits are given to recommend, not varied",
    **dict.fromkeys(PRICED_AFTERWARDS, "it changes no figure of a sweep"),
}
_SETTINGS_KEYS = tuple(Settings.model_fields)


@dataclass(frozen=True)
class Varied:
    """One varied key.

    Attributes
    ----------
    key : as the user wrote it; the name of its column
    paths : the places of the scenario's content that take the value
    values : the values in order, None for a continuous range
    span : the continuous range, None for values
    """

    key: str
    paths: tuple[Key, ...]
    values: tuple[Value, ...] | None
    span: Span | None

    @property
    def is_setting(self) -> bool:
        """Whether it changes only controller settings, which need no new traffic."""
        return all(path[:2] == ("lighting", "settings") for path in self.paths)


def parse_varied(texts: Sequence[str], scenario: Scenario, *, option: str = "--vary") -> tuple[Varied, ...]:
    """Read every `KEY=VALUES`.

    Parameters
    ----------
    texts : as given
    scenario : the site whose keys they are
    option : the option's name, for messages

    Raises
    ------
    InputError : unknown keys (with the nearest), empty ranges, a key varied twice; all of them together
    """
    content = scenario.content()
    found: list[Varied] = []
    faults: list[Fault] = []
    taken: dict[Key, str] = {}
    for text in texts:
        try:
            varied = _parse_one(text, content)
        except ValuesError as error:
            faults.append(
                Fault("", None, f"{option} {printable(text.partition('=')[0].strip())}", str(error))
            )
            continue
        for path in varied.paths:
            if path in taken:
                message = f"sets the same value as {taken[path]}; vary it once"
                faults.append(Fault("", None, f"{option} {printable(varied.key)}", message))
                break
            taken[path] = varied.key
        found.append(varied)
    if faults:
        raise InputError(faults)
    return tuple(found)


def _parse_one(text: str, content: dict[str, Any]) -> Varied:
    """Read one `KEY=VALUES`."""
    key, equals, values = text.partition("=")
    key = key.strip()
    if not equals or not key:
        raise ValuesError("write KEY=a:b:step or KEY=value,value,...")
    paths = place_of(key, content)
    parsed = parse_values(values, is_text="wall-clock" in allowed_text(paths[0]))
    if isinstance(parsed, Span):
        return Varied(key, paths, None, parsed)
    return Varied(key, paths, parsed, None)


def place_of(key: str, content: dict[str, Any]) -> tuple[Key, ...]:
    """Return the places of a scenario's content that a key names.

    Parameters
    ----------
    key : as a user writes it
    content : plain values of the resolved scenario

    Raises
    ------
    ValuesError : there is no such key, or it cannot be varied

    Examples
    --------
    >>> place_of("floor.aisles", {"floor": {}, "lighting": {"settings": {}}})
    (('floor', 'aisles'),)
    """
    names = tuple(content["lighting"]["settings"])
    first, _, rest = key.partition(".")
    if first == "all" and rest in _SETTINGS_KEYS:
        return tuple(("lighting", "settings", name, rest) for name in names)
    for name in sorted(names, key=len, reverse=True):
        word = key.removeprefix(f"{name}.")
        if word != key and word in _SETTINGS_KEYS:
            return (("lighting", "settings", name, word),)
    if first in _FIXED:
        raise ValuesError(f"cannot be varied: {_FIXED[first]}")
    if first not in keys_at(()):
        raise ValuesError(_unknown_first(key, names))
    path = _walk(first, rest, content)
    if _is_table(path):
        words = ", ".join(_words_below(path, _value_at(content, path)))
        raise ValuesError(f"names a whole table; name a key in it: {words}")
    return (path,)


def keys_to_vary(content: dict[str, Any]) -> list[str]:
    """Return every key of a scenario that names one value, as a user would write it: for a shell to complete.

    Parameters
    ----------
    content : plain values of the resolved scenario
    """
    names = ("all", *content["lighting"]["settings"])
    found = [f"{name}.{word}" for name in names for word in _SETTINGS_KEYS]
    open_paths: list[tuple[str, Key]] = [
        (word, (word,)) for word in keys_at(()) if word not in _FIXED and word != "lighting"
    ]
    while open_paths:
        words, path = open_paths.pop(0)
        if _is_table(path):
            below = _words_below(path, _value_at(content, path))
            open_paths += [(f"{words}.{word}", (*path, step)) for word, step in below.items()]
        else:
            found.append(words)
    return found


def _unknown_first(key: str, names: Sequence[str]) -> str:
    """Say what a key that begins with nothing known may have been."""
    for name in sorted(("all", *names), key=len, reverse=True):
        if key.startswith(f"{name}."):
            rest = key[len(name) + 1 :]
            return f'settings have no key "{printable(rest)}"{nearest_text(rest, _SETTINGS_KEYS)}'
    candidates = [f"{name}.{word}" for name in ("all", *names) for word in _SETTINGS_KEYS]
    candidates += [word for word in keys_at(()) if word not in _FIXED]
    return f"there is no such key{nearest_text(key, candidates)}"


def _walk(first: str, rest: str, content: dict[str, Any]) -> Key:
    """Follow a dotted key through the content; names may hold points, so the longest one that fits wins."""
    path: Key = (first,)
    value: Any = content.get(first)
    while rest:
        words = _words_below(path, value)
        fits = [word for word in words if rest == word or rest.startswith(f"{word}.")]
        if not fits:
            wrong = rest.partition(".")[0]
            raise ValuesError(
                f'there is no "{printable(wrong)}" in {".".join(str(step) for step in path)}'
                f"{nearest_text(wrong, words) or ', which has no keys of its own'}"
            )
        word = max(fits, key=len)
        rest = rest[len(word) + 1 :]
        step = words[word]
        path = (*path, step)
        value = _step(value, step)
    return path


def _words_below(path: Key, value: Any) -> dict[str, str | int]:
    """Return what may stand behind a path, word to key or position."""
    if isinstance(value, list) and keys_at((*path, 0)):
        words: dict[str, str | int] = {}
        for position, item in enumerate(value):
            name = item.get("name")
            words[name if isinstance(name, str) else str(position + 1)] = position
        return words
    if path == ("lighting", "settings"):
        return {name: name for name in value}
    return {word: word for word in keys_at(path)}


def _is_table(path: Key) -> bool:
    """Whether a path names a table or a list of tables rather than a value."""
    return bool(keys_at(path)) or bool(keys_at((*path, 0))) or path == ("lighting", "settings")


def _step(value: Any, step: str | int) -> Any:
    """Go one step down; a key that is absent because it has no default leads to None."""
    if isinstance(step, int):
        return value[step]
    return value.get(step) if isinstance(value, dict) else None


def _value_at(content: dict[str, Any], path: Key) -> Any:
    """Return what stands at a path, None where it is absent."""
    value: Any = content
    for step in path:
        value = _step(value, step)
    return value
