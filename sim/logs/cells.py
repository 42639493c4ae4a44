"""The cells of one column as they lie in a block of bytes: cut, counted and compared without making texts.

Comes in: a block of UTF-8 and where its cells begin and end.  Goes out: `Cells`, a sequence of texts; its
numbers, words of eight bytes and letters.  The ground: made by `logs/text`, used by `logs/values`,
`logs/stamps` and `words/log`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, IntColumn

__all__ = ["PAD", "WORD", "Cells", "Words", "empty_cells"]

PAD = 16
"""Bytes that a block has before its first and after its last letter, so that words may begin outside."""
WORD = 8
_LITTLE = np.dtype("<u8")
_ONES = np.uint64(0x0101_0101_0101_0101)
_HIGH = np.uint64(0x8080_8080_8080_8080)
_ZEROS = np.uint64(0x3030_3030_3030_3030)
_OVER_9 = np.uint64(0x7676_7676_7676_7676)
_ALL = 0xFFFF_FFFF_FFFF_FFFF
_LAST = np.array([_ALL - (1 << 8 * (WORD - kept)) + 1 for kept in range(WORD + 1)], dtype=np.uint64)
"""Masks of the last k bytes of a word: of its k highest ones."""
_FIRST = np.array([(1 << 8 * kept) - 1 for kept in range(WORD + 1)], dtype=np.uint64)
"""Masks of the first k bytes of a word."""
_AFTER_POINT = np.array([7, 6, 5, 4, 3, 2, 1, 0, 0], dtype=np.int64)
"""Figures after a point at byte k of the last word; k = 8 stands for no point."""
_MOST_FIGURES = 15
"""So many figures make a whole number that a double holds exactly."""
_POWERS = 10.0 ** np.arange(WORD)

Words = NDArray[np.uint64]


class Cells(Sequence[str]):
    """One column of a block.

    Parameters
    ----------
    letters : bytes of the block, `PAD` bytes of anything before and after the text (b,)
    start, stop : where each cell begins and ends in them (n,)
    """

    def __init__(self, letters: NDArray[np.uint8], start: IntColumn, stop: IntColumn) -> None:
        self._letters = letters
        self.start = start
        self.stop = stop

    def __len__(self) -> int:
        return len(self.start)

    @overload
    def __getitem__(self, row: int) -> str: ...
    @overload
    def __getitem__(self, row: slice) -> Cells: ...
    def __getitem__(self, row: int | slice) -> str | Cells:
        if isinstance(row, slice):
            return Cells(self._letters, self.start[row], self.stop[row])
        return self._letters[self.start[row] : self.stop[row]].tobytes().decode("utf-8")

    def __iter__(self) -> Iterator[str]:
        letters = self._letters.tobytes()
        for start, stop in zip(self.start.tolist(), self.stop.tolist(), strict=True):
            yield letters[start:stop].decode("utf-8")

    def __contains__(self, text: object) -> bool:
        return bool((self.start == self.stop).any()) if text == "" else any(cell == text for cell in self)

    def take(self, rows: NDArray[Any]) -> Cells:
        """Return some of the cells, by their numbers or as a mask."""
        return Cells(self._letters, self.start[rows], self.stop[rows])

    def words(self, place: int) -> Words:
        """Return eight bytes of each cell from a place on, nothing where the cell has ended (n,)."""
        kept = np.clip(self.stop - self.start - place, 0, WORD)
        at = np.minimum(self.start + place, len(self._letters) - WORD)
        words: Words = self._words_at(at) & _FIRST[kept]
        return words

    def table(self) -> NDArray[np.uint8] | None:
        """Return the letters of cells that are all of one length, None where they are not (n, length)."""
        length = int(self.stop[0] - self.start[0]) if len(self) else 0
        if not length or (self.stop - self.start != length).any():
            return None
        kind = np.dtype((np.void, length))
        every = np.ndarray((len(self._letters) - length + 1,), kind, self._letters.data, 0, (1,))
        return every[self.start].view(np.uint8).reshape(-1, length)

    def numbers(self, point: str) -> tuple[FloatColumn, NDArray[np.bool_]]:
        """Return plain numbers, and which cells are something else (n,) each.

        Parameters
        ----------
        point : the decimal sign

        Returns
        -------
        values, nan for empty cells and for those that are not plain; whether a cell is not plain: empty, or
        figures with at most one decimal sign after the first, at most fifteen of them and seven after the
        sign

        Notes
        -----
        Eight figures at a time, in words of eight bytes.  A whole number below 10^15 over a power of ten up
        to 10^7 is divided once, both being exact: the quotient is the double nearest to the text (W. D.
        Clinger, "How to read floating point numbers accurately", PLDI 1990).
        """
        length = self.stop - self.start
        tail = self._words_at(self.stop - WORD)
        inside = _LAST[np.minimum(length, WORD)]
        apart = (tail ^ (_ONES * np.uint64(ord(point)))) | ~inside  # a byte is 0 where the sign stands
        found = (apart - _ONES) & ~apart & _HIGH
        place = np.bitwise_count((found & (~found + np.uint64(1))) - np.uint64(1)) >> 3
        decimals = _AFTER_POINT[place]
        end = self.stop - WORD + place
        whole_length = end - self.start
        fraction = (tail ^ _ZEROS) & _LAST[decimals]
        whole = (self._words_at(end - WORD) ^ _ZEROS) & _LAST[np.clip(whole_length, 0, WORD)]
        odd = ((fraction + _OVER_9) | fraction) | ((whole + _OVER_9) | whole)
        value = _figures(whole).astype(np.float64)
        if len(length) and int(whole_length.max()) > WORD:
            front = self._words_at(np.maximum(end - 2 * WORD, 0)) ^ _ZEROS
            front &= _LAST[np.clip(whole_length - WORD, 0, WORD)]
            odd |= (front + _OVER_9) | front
            value += _figures(front) * 1e8
        power = _POWERS[decimals]
        value = (value * power + _figures(fraction)) / power
        is_odd = ((odd & _HIGH) != 0) | (whole_length < 1) | (whole_length + decimals > _MOST_FIGURES)
        is_empty = length == 0
        value[is_odd | is_empty] = np.nan
        return value, is_odd & ~is_empty

    def _words_at(self, at: IntColumn) -> Words:
        """Eight bytes from some places on; the first one is the lowest (n,)."""
        every = np.ndarray((len(self._letters) - WORD + 1,), _LITTLE, self._letters.data, 0, (1,))
        return every[at]


def _figures(words: Words) -> Words:
    """Whole numbers whose eight figures are the bytes of words, the first one the highest (n,)."""
    pairs = (words * np.uint64(2561)) >> np.uint64(8) & np.uint64(0x00FF_00FF_00FF_00FF)
    fours = (pairs * np.uint64(6_553_601)) >> np.uint64(16) & np.uint64(0x0000_FFFF_0000_FFFF)
    numbers: Words = (fours * np.uint64(42_949_672_960_001)) >> np.uint64(32)
    return numbers


def empty_cells(texts: Sequence[str]) -> NDArray[np.bool_]:
    """Say which cells of a column are empty (n,).

    >>> empty_cells(["a", ""]).tolist()
    [False, True]
    """
    if isinstance(texts, Cells):
        is_empty: NDArray[np.bool_] = texts.start == texts.stop
        return is_empty
    return np.array([not text for text in texts], dtype=bool)
