"""Where each key of a TOML text stands: the parser of the standard library does not say.

Comes in: the text of a document that `tomllib` has already accepted, so nothing is checked here.
Goes out: key path to line and wording.  Before this: nothing; after it: `scenario/toml`.
"""

from __future__ import annotations

import bisect
import re
import tomllib
from dataclasses import dataclass

__all__ = ["Key", "Place", "find_places"]

Key = tuple[str | int, ...]
"""Path of a value: names of tables and keys, positions in lists from 0."""

_GAP = re.compile(r"(?:[ \t\n]|#[^\n]*)*")
_BLANK = re.compile(r"[ \t]*")
_KEY_PART = re.compile(r'"(?:[^"\\]|\\.)*"|\'[^\']*\'|[A-Za-z0-9_-]+')
_STRING = re.compile(
    r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})|\'\'\'.*?\'\'\'(?:\'{0,2})|"(?:[^"\\]|\\.)*"|\'[^\']*\'', re.DOTALL
)
_PLAIN = re.compile(r"[^,\]}#\n]+")
_LONGEST_WORDING = 60


@dataclass(frozen=True)
class Place:
    """Where a value stands.

    Attributes
    ----------
    line : number from 1
    wording : the value as written, on one line and cut where it is long; "" for a table
    """

    line: int
    wording: str


def find_places(text: str) -> dict[Key, Place]:
    """Return the place of every table, key and list item of a valid TOML document.

    Parameters
    ----------
    text : line ends are single line feeds, no byte order mark

    Raises
    ------
    RecursionError : values are nested too deeply

    Examples
    --------
    >>> places = find_places('a.b = [1,\\n 2]\\n[[t]]\\nx = 3')
    >>> places["a", "b", 1].line, places["t", 0, "x"].line, places["t", 0, "x"].wording
    (2, 4, '3')
    """
    scanner = _Scanner(text)
    scanner.read_document()
    return scanner.places


class _Scanner:
    """One pass over the text; `at` is the place reached."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.places: dict[Key, Place] = {}
        self._line_ends = [match.start() for match in re.finditer("\n", text)]
        self._last_item: dict[Key, int] = {}
        """Arrays of tables by path: position of the latest item."""

    def read_document(self) -> None:
        """Read headers and assignments to the end."""
        table: Key = ()
        while True:
            self._skip(_GAP)
            if self.at >= len(self.text):
                return
            if self.text[self.at] == "[":
                table = self._read_header()
            else:
                self._read_assignment(table)

    def _skip(self, pattern: re.Pattern[str]) -> str:
        """Go past what the pattern matches here and return it."""
        match = pattern.match(self.text, self.at)
        assert match is not None, "find_places was given a text that is not valid TOML"
        self.at = match.end()
        return match.group()

    def _line(self, at: int) -> int:
        return bisect.bisect_left(self._line_ends, at) + 1

    def _note(self, path: Key, at: int) -> None:
        """Keep the first place of a table."""
        self.places.setdefault(path, Place(self._line(at), ""))

    def _read_key(self) -> list[str]:
        """Read a bare, quoted or dotted key."""
        parts = []
        while True:
            self._skip(_BLANK)
            part = self._skip(_KEY_PART)
            if part[0] == '"':
                part = tomllib.loads(f"key = {part}")["key"]
            elif part[0] == "'":
                part = part[1:-1]
            parts.append(part)
            self._skip(_BLANK)
            if not self.text.startswith(".", self.at):
                return parts
            self.at += 1

    def _read_header(self) -> Key:
        """Read [a.b] or [[a.b]] and return the path of the table it opens."""
        begin = self.at
        is_list = self.text.startswith("[[", begin)
        self.at += 2 if is_list else 1
        names = self._read_key()
        self.at += 2 if is_list else 1
        path: Key = ()
        for number, name in enumerate(names, start=1):
            path = (*path, name)
            self._note(path, begin)
            if is_list and number == len(names):
                self._last_item[path] = self._last_item.get(path, -1) + 1
            if path in self._last_item:
                path = (*path, self._last_item[path])
                self._note(path, begin)
        self.places[path] = Place(self._line(begin), "")
        return path

    def _read_assignment(self, table: Key) -> None:
        """Read key = value inside a table."""
        begin = self.at
        path = table
        for name in self._read_key():
            path = (*path, name)
            self._note(path, begin)
        self.at += 1
        self._skip(_BLANK)
        self._read_value(path)

    def _read_value(self, path: Key) -> None:
        """Read a string, a list, an inline table or a plain value."""
        begin, opening = self.at, self.text[self.at]
        if opening in "[{":
            closing = "]" if opening == "[" else "}"
            self.at += 1
            self._skip(_GAP)
            number = 0
            while self.text[self.at] != closing:
                if opening == "[":
                    self._read_value((*path, number))
                else:
                    self._read_assignment(path)
                number += 1
                self._skip(_GAP)
                if self.text[self.at] == ",":
                    self.at += 1
                    self._skip(_GAP)
            self.at += 1
        else:
            self._skip(_STRING if opening in "\"'" else _PLAIN)
        wording = " ".join(self.text[begin : min(self.at, begin + 4 * _LONGEST_WORDING)].split())
        if len(wording) > _LONGEST_WORDING or self.at > begin + 4 * _LONGEST_WORDING:
            wording = wording[: _LONGEST_WORDING - 3] + "..."
        self.places[path] = Place(self._line(begin), wording)
