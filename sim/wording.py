"""Words for messages: a value made harmless to print, the nearest known word.

The ground: every room that finds faults uses it.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable

__all__ = ["find_nearest", "nearest_in", "nearest_text", "printable"]

_LONGEST_VALUE = 60
_LONGEST_LISTING = 15
_ASKS = re.compile(r'did you mean "([^"]*)"\?')


def printable(text: str) -> str:
    """Return text on one line, cut where it is long, without characters that a terminal would obey.

    Examples
    --------
    >>> printable("a" + chr(27) + "b")
    'a\\\\x1bb'
    """
    cut = text if len(text) <= _LONGEST_VALUE else text[: _LONGEST_VALUE - 3] + "..."
    return "".join(
        letter if letter.isprintable() else letter.encode("unicode_escape").decode() for letter in cut
    )


def find_nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that looks most like this one, None if none does; case does not count.

    Examples
    --------
    >>> find_nearest("Nihgt", ["day", "night"])
    'night'
    """
    folded = {other.casefold(): other for other in known}
    near = difflib.get_close_matches(word[:200].casefold(), folded, n=1)
    return folded[near[0]] if near else None


def nearest_text(word: str, known: Iterable[str]) -> str:
    """Return the end of a sentence about an unknown word: the nearest known one, and all if they are few.

    Examples
    --------
    >>> nearest_text("nihgt", ["day", "night"])
    '; did you mean "night"? There are: day, night'
    """
    words = list(known)
    near = find_nearest(word, words)
    parts = [] if near is None else [f'did you mean "{printable(near)}"?']
    if 0 < len(words) <= _LONGEST_LISTING:
        parts.append(f"There are: {', '.join(map(printable, words))}")
    return f"; {' '.join(parts)}" if parts else ""


def nearest_in(message: str) -> str | None:
    """Return the nearest word that a message names, in the words of `nearest_text`; None without one.

    Examples
    --------
    >>> nearest_in("unknown key" + nearest_text("nihgt", ["day", "night"]))
    'night'
    """
    found = _ASKS.search(message)
    return None if found is None else found[1]
