"""The right-hand side of `--vary KEY=...` and of `--range KEY=...`: ranges and lists of values.

Comes in: text.  Goes out: plain TOML values, or the two ends of a continuous range.  Pure; after it:
`study/sweeping/vary`.  Decimal arithmetic, so that 0:1:0.1 ends exactly at 1 and holds 0.3, not
0.30000000000000004.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from sim.wording import printable

__all__ = ["MOST_VALUES", "Span", "Value", "ValuesError", "parse_values", "value_text"]

Value = float | int | str | bool | list[Any]
"""What a scenario key may hold."""

MOST_VALUES = 10_000_000
"""A single range longer than the largest sweep is refused before it is unrolled."""

_NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_RANGE = re.compile(rf"({_NUMBER}):({_NUMBER})(?::({_NUMBER}))?")
_LONGEST_TEXT = 100_000


class ValuesError(ValueError):
    """The text is no range and no list; the message says what would be."""


@dataclass(frozen=True)
class Span:
    """A continuous range `a:b`.

    Attributes
    ----------
    low, high : its ends, low < high
    is_whole : both ends are whole numbers, so that only whole numbers are drawn from it
    """

    low: float
    high: float
    is_whole: bool

    def at(self, share: float) -> float | int:
        """Return the value at a share of the way, 0..1; whole numbers have equal shares."""
        if self.is_whole:
            count = int(self.high - self.low) + 1
            return int(self.low) + min(int(share * count), count - 1)
        return self.low + share * (self.high - self.low)


def parse_values(text: str, *, is_text: bool = False) -> tuple[Value, ...] | Span:
    """Read ranges and lists.

    Parameters
    ----------
    text : `a:b:step` (b included when a whole number of steps reaches it), `a:b` (continuous), or items
        set apart by commas, each a number, a word, a quoted text, a list in brackets or a range with step
    is_text : the key holds text such as a wall-clock time, so that 06:00 is no range

    Returns
    -------
    the values in the order given, none twice; or a `Span`

    Raises
    ------
    ValuesError : nothing there, an empty range, a value twice, more than `MOST_VALUES`

    Examples
    --------
    >>> parse_values("0:0.5:0.1")
    (0, 0.1, 0.2, 0.3, 0.4, 0.5)
    >>> parse_values("ends,every,[5, 30.5]")
    ('ends', 'every', [5, 30.5])
    >>> parse_values("0.7:1.3")
    Span(low=0.7, high=1.3, is_whole=False)
    """
    if len(text) > _LONGEST_TEXT:
        raise ValuesError(f"is longer than {_LONGEST_TEXT:,} characters; write a range a:b:step")
    items = list(_items(text))
    if not items or not all(items):
        raise ValuesError("has an empty value; write a:b:step or values set apart by commas")
    if len(items) == 1 and not is_text:
        span = _RANGE.fullmatch(items[0])
        if span is not None and span[3] is None:
            return _span(span[1], span[2])
    values: list[Value] = []
    for item in items:
        found = None if is_text else _RANGE.fullmatch(item)
        if found is None:
            values.append(_single(item))
        elif found[3] is None:
            raise ValuesError(f"{printable(item)}: a continuous range stands alone; in a list give a:b:step")
        else:
            values.extend(_steps(found[1], found[2], found[3]))
        if len(values) > MOST_VALUES:
            raise ValuesError(f"has more than {MOST_VALUES:,} values; take a larger step")
    seen: set[str] = set()
    for value in values:
        key = value_text(value)
        if key in seen:
            raise ValuesError(f"{printable(key)} stands more than once")
        seen.add(key)
    return tuple(values)


def value_text(value: Value) -> str:
    """Return a value as a table's cell: the shortest text that reads back the same.

    Examples
    --------
    >>> value_text(30.0), value_text(0.1), value_text("ends"), value_text([5, 30.5])
    ('30', '0.1', 'ends', '[5, 30.5]')
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    if isinstance(value, list):
        return f"[{', '.join(value_text(item) for item in value)}]"
    return str(value)


def _items(text: str) -> Iterator[str]:
    """Split at commas outside brackets and quotes."""
    depth, quote, item = 0, "", ""
    for letter in text:
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "\"'":
            quote = letter
        else:
            depth += (letter == "[") - (letter == "]")
        if letter == "," and depth == 0 and not quote:
            yield item.strip()
            item = ""
        else:
            item += letter
    yield item.strip()


def _single(item: str) -> Value:
    """Read one value as TOML would, a bare word as text."""
    if "\n" not in item and "#" not in item:
        try:
            value = tomllib.loads(f"value = {_toml_number(item)}")["value"]
        except (ValueError, RecursionError):
            value = item
        if isinstance(value, float | int | str | bool | list):
            return value
    return item


def _toml_number(item: str) -> str:
    """Return a number without what TOML refuses: a leading zero or a bare point."""
    return str(_number(item)) if re.fullmatch(_NUMBER, item) else item


def _number(text: str) -> float | int:
    """Read a number, whole ones as int."""
    value = Decimal(text)
    return int(value) if value == value.to_integral_value() and "." not in text else float(value)


def _span(low_text: str, high_text: str) -> Span:
    """Read a continuous range."""
    low, high = _number(low_text), _number(high_text)
    if not low < high:
        raise ValuesError(f"{low_text}:{high_text} is empty; the first end must be below the second")
    return Span(float(low), float(high), isinstance(low, int) and isinstance(high, int))


def _steps(first_text: str, last_text: str, step_text: str) -> Iterator[float | int]:
    """Unroll a range."""
    first, last, step = Decimal(first_text), Decimal(last_text), Decimal(step_text)
    shown = f"{first_text}:{last_text}:{step_text}"
    if step == 0:
        raise ValuesError(f"{shown}: the step must not be 0")
    if (last - first) * step < 0:
        raise ValuesError(
            f"{shown} is empty; a step of {step_text} never leads from {first_text} to {last_text}"
        )
    span = (last - first) / step
    if span >= MOST_VALUES:
        size = f"{int(span) + 1:,}" if span < 10**15 else "too many"
        raise ValuesError(f"{shown} has {size} values; at most {MOST_VALUES:,}; take a larger step")
    is_whole = all(value == value.to_integral_value() for value in (first, step))
    for number in range(int((last - first) // step) + 1):
        value = first + number * step
        yield int(value) if is_whole else _plain_number(value)


def _plain_number(value: Decimal) -> float | int:
    """Return a float, 0 and 1 among decimals as whole numbers too: they print alike."""
    return int(value) if value == value.to_integral_value() else float(value)
