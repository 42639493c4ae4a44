"""Columns that grow block by block: plain numbers of a stated type, joined once at the end.

Comes in: pieces of columns.  Goes out: whole columns.  The ground: used by the readers of logs, so that a row
in memory is its numbers and nothing else.  A column that the log lacks takes no memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray

__all__ = ["AnyInt", "GrowingColumn", "GrowingTable"]

AnyInt = NDArray[np.integer[Any]]
"""Whole numbers of any width."""


_FIRST_BYTES, _MOST_BYTES = 1 << 19, (1 << 25) + 4096
"""Sizes of the stretches that a column grows by, from one to the other; the largest go back to the system."""


class GrowingColumn:
    """One column, in stretches that grow with it.

    Parameters
    ----------
    kind : type of its numbers
    """

    def __init__(self, kind: DTypeLike) -> None:
        self._kind = np.dtype(kind)
        self._stretches: list[NDArray[Any]] = []
        self._free = 0
        self._count = 0

    def __len__(self) -> int:
        return self._count

    def add(self, values: NDArray[Any]) -> None:
        """Add values at the end (n,)."""
        self._count += len(values)
        while len(values):
            if not self._free:
                size = min(_FIRST_BYTES << len(self._stretches), _MOST_BYTES) // self._kind.itemsize
                self._stretches.append(np.empty(size, dtype=self._kind))
                self._free = size
            some, values = values[: self._free], values[self._free :]
            at = len(self._stretches[-1]) - self._free
            self._stretches[-1][at : at + len(some)] = some
            self._free -= len(some)

    def take(self) -> NDArray[Any]:
        """Return the whole column and forget its stretches (n,)."""
        whole, done = np.empty(self._count, dtype=self._kind), 0
        self._stretches.reverse()
        while self._stretches:
            stretch = self._stretches.pop()
            some = min(len(stretch), self._count - done)
            whole[done : done + some] = stretch[:some]
            done += some
        self._free = self._count = 0
        return whole


class GrowingTable:
    """Columns of one length.

    Parameters
    ----------
    kinds : type of each column by its name
    """

    def __init__(self, **kinds: DTypeLike) -> None:
        self._kinds = kinds
        self._columns = {name: GrowingColumn(kind) for name, kind in kinds.items()}
        self._filled: dict[str, Any] = {}
        self._count = 0

    def __len__(self) -> int:
        return self._count

    def add(self, count: int, columns: Mapping[str, Any]) -> None:
        """Add rows.

        Parameters
        ----------
        count : of the rows
        columns : an array (count,) by name, or one value for a column that has it in every row of the log
        """
        self._count += count
        for name, column in columns.items():
            if isinstance(column, np.ndarray):
                self._columns[name].add(column)
            else:
                self._filled[name] = column

    def take(self, name: str) -> NDArray[Any]:
        """Return a whole column and forget its stretches (n,).

        Examples
        --------
        >>> table = GrowingTable(time="f8", aisle="i4")
        >>> table.add(2, {"time": np.array([1.0, 2.0]), "aisle": 7})
        >>> table.take("time").tolist(), table.take("aisle").tolist()
        ([1.0, 2.0], [7, 7])
        """
        if name in self._filled:
            filled = np.array(self._filled[name], dtype=self._kinds[name])
            return np.broadcast_to(filled, (self._count,))
        return self._columns.pop(name).take()
