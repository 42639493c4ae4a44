"""Names of people and trucks replaced at the door: T01, T02, ... in the order in which they appear.

Comes in: a log's columns truck and operator.  Goes out: a number per row, pseudonyms by number.  The ground:
used by the readers of logs.  The same text is the same pseudonym within one file; the texts themselves are
kept nowhere else, so that no table, page or picture can show them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from sim.logs.cells import Cells, empty_cells
from sim.logs.words import Names
from sim.records import IntColumn

__all__ = ["Crew", "Pseudonyms"]


class Pseudonyms:
    """Pseudonyms of one kind in one log.

    Parameters
    ----------
    letter : that they begin with
    """

    def __init__(self, letter: str) -> None:
        self._letter = letter
        self._names = Names(grows=True)

    def numbers(self, texts: Sequence[str]) -> IntColumn:
        """Return whose name each text is: numbers from 0, -1 for nothing (n,).

        Examples
        --------
        >>> Pseudonyms("T").numbers(["anna", "ben", "", "anna"]).tolist()
        [0, 1, -1, 0]
        """
        is_empty = empty_cells(texts)
        if not is_empty.any():
            return self._names.of(texts)
        filled = np.flatnonzero(~is_empty)
        numbers = np.full(len(texts), -1, dtype=np.int64)
        some = texts.take(filled) if isinstance(texts, Cells) else [text for text in texts if text]
        numbers[filled] = self._names.of(some)
        return numbers

    def text(self, number: int) -> str:
        """Return one pseudonym.

        >>> Pseudonyms("T").text(0)
        'T01'
        """
        return f"{self._letter}{number + 1:02d}"

    def odd(self, is_allowed: Callable[[str], bool]) -> NDArray[np.bool_]:
        """Say which names, by number, are not allowed; the last place stands for nothing (names + 1,)."""
        return np.array([*(not is_allowed(name) for name in self._names.known), False], dtype=bool)

    def __len__(self) -> int:
        return len(self._names)


class Crew:
    """Who did the rows of a log: trucks, and operators where no truck is named."""

    def __init__(self) -> None:
        self.columns = {"truck": Pseudonyms("T"), "operator": Pseudonyms("P")}
        self._number = np.zeros(0, dtype=np.int64)
        self._pseudonyms: list[str] = []

    @property
    def pseudonyms(self) -> tuple[str, ...]:
        """Pseudonyms by number."""
        return tuple(self._pseudonyms)

    def numbers(
        self, columns: Mapping[str, Sequence[str]], count: int
    ) -> tuple[IntColumn, dict[str, IntColumn]]:
        """Return who did each row, from 0 in the order in which they appear, -1 for nobody known (n,).

        Parameters
        ----------
        columns : texts by column; truck, operator or none of the two
        count : of the rows

        Returns
        -------
        numbers, and for each of the two columns that is there the number of its own names
        """
        own = {name: names.numbers(columns[name]) for name, names in self.columns.items() if name in columns}
        both = np.full(count, -1, dtype=np.int64)
        for place, name in ((1, "operator"), (0, "truck")):
            if name in own:
                both = np.where(own[name] >= 0, 2 * own[name] + place, both)
        missing = 2 * max(map(len, self.columns.values())) - len(self._number)
        self._number = np.append(self._number, np.full(max(missing, 0), -1, dtype=np.int64))
        named = np.flatnonzero(both >= 0)
        fresh = named[self._number[both[named]] < 0]
        for row in fresh[np.sort(np.unique(both[fresh], return_index=True)[1])].tolist():
            number, place = divmod(int(both[row]), 2)
            self._number[both[row]] = len(self._pseudonyms)
            self._pseudonyms.append(self.columns[("truck", "operator")[place]].text(number))
        return np.where(both >= 0, self._number[np.maximum(both, 0)] if len(self._number) else -1, -1), own
