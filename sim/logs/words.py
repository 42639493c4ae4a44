"""Texts of a log as numbers: each distinct name is looked at once, every row is an integer.

Comes in: columns of cells.  Goes out: numbers in a list of names that is given, or that grows in the order in
which names appear.  The ground: used by `logs/reader` and the readers of logs.  Cells are compared as words
of eight bytes, mixed into one; where a mix could mislead, texts are compared.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sim.logs.cells import WORD, Cells, Words
from sim.records import IntColumn

__all__ = ["Names"]

_LONGEST = 64
"""Bytes of the longest cell that is compared in words."""
_MOST_WORDS = _LONGEST // WORD
_MOST_BITS = 20
_ODD = 0x9E37_79B9_7F4A_7C15  # 2^64 over the golden ratio, made odd: spreads what is multiplied by it
_MIX = np.array([pow(_ODD, place, 1 << 64) for place in range(_MOST_WORDS)], dtype=np.uint64)


class Names:
    """Names and their numbers, from 0.

    Parameters
    ----------
    known : names there from the beginning, in their order
    grows : whether a name that is not known is added; otherwise its number is -1
    """

    def __init__(self, known: Sequence[str] = (), *, grows: bool = False) -> None:
        self._numbers: dict[str, int] = {}
        self._grows = grows
        self._keys = np.zeros(0, dtype=np.uint64)
        self._number = np.zeros(0, dtype=np.int64)
        self._words = np.zeros((_MOST_WORDS, 0), dtype=np.uint64)
        self._slots, self._shift = np.zeros(1, dtype=np.int64), np.uint64(63)  # where a key likely stands
        for number, name in enumerate(known):
            self._numbers.setdefault(name, number)
        self._take_up(self._numbers)

    def __len__(self) -> int:
        return len(self._numbers)

    @property
    def known(self) -> tuple[str, ...]:
        """Names, in the order of their numbers."""
        return tuple(self._numbers)

    def of(self, texts: Sequence[str]) -> IntColumn:
        """Return the numbers of some texts (n,).

        Examples
        --------
        >>> Names(["A01", "A02"]).of(["A02", "B", "A01"]).tolist()
        [1, -1, 0]
        >>> Names(grows=True).of(["b", "a", "b"]).tolist()
        [0, 1, 0]
        """
        found = self._of_cells(texts) if isinstance(texts, Cells) and len(texts) else None
        return self._one_by_one(texts) if found is None else found

    def _one_by_one(self, texts: Sequence[str]) -> IntColumn:
        """Look at each text."""
        numbers = self._numbers
        if not self._grows:
            return np.array([numbers.get(text, -1) for text in texts], dtype=np.int64)
        before = len(numbers)
        found = [numbers.setdefault(text, len(numbers)) for text in texts]
        self._take_up({name: number for name, number in numbers.items() if number >= before})
        return np.array(found, dtype=np.int64)

    def _of_cells(self, cells: Cells) -> IntColumn | None:
        """Look at words of eight bytes; None where they do not tell texts apart."""
        longest = int((cells.stop - cells.start).max())
        if longest > _LONGEST:
            return None
        words = [cells.words(place) for place in range(0, max(longest, 1), WORD)]
        keys = words[0].copy()
        for word, mix in zip(words[1:], _MIX[1:], strict=False):
            keys += word * mix
        found = self._find(words, keys)
        if self._grows and found is not None and (found < 0).any():
            unknown = np.flatnonzero(found < 0)
            first = np.sort(np.unique(keys[unknown], return_index=True)[1])
            before = len(self._numbers)
            added = {cells[row]: before + place for place, row in enumerate(unknown[first].tolist())}
            self._numbers |= added
            self._take_up(added)
            found = self._find(words, keys)
        return found

    def _find(self, words: Sequence[Words], keys: Words) -> IntColumn | None:
        """Numbers of cells, -1 for unknown ones; None where a cell has the mix of another text."""
        if not len(self._keys):
            return np.full(len(keys), -1, dtype=np.int64)
        place = self._slots[keys * _MIX[1] >> self._shift]
        apart = np.flatnonzero(self._keys[place] != keys)
        if len(apart):
            place[apart] = np.minimum(np.searchsorted(self._keys, keys[apart]), len(self._keys) - 1)
        is_known = self._keys[place] == keys
        if len(words) > 1 or self._words[1:].any():
            for number, theirs in enumerate(self._words):
                own: Words | np.uint64 = words[number] if number < len(words) else np.uint64(0)
                if (is_known & (theirs[place] != own)).any():
                    return None
        found: IntColumn = np.where(is_known, self._number[place], -1)
        return found

    def _take_up(self, added: dict[str, int]) -> None:
        """Put names among the keys; longer ones than any cell in words are left out."""
        raw = {name.encode("utf-8", "surrogatepass"): number for name, number in added.items()}
        kept = {text.ljust(_LONGEST, b"\0"): number for text, number in raw.items() if len(text) <= _LONGEST}
        if not kept:
            return
        words = np.frombuffer(b"".join(kept), dtype="<u8").reshape(-1, _MOST_WORDS).T
        every = np.concatenate([self._words, words], axis=1)
        keys = np.zeros(every.shape[1], dtype=np.uint64)
        for word, mix in zip(every, _MIX, strict=True):
            keys += word * mix
        numbers = np.concatenate([self._number, np.array(list(kept.values()), dtype=np.int64)])
        order = np.argsort(keys, kind="stable")
        self._keys, self._number, self._words = keys[order], numbers[order], every[:, order]
        bits = min(_MOST_BITS, (8 * len(keys)).bit_length())
        self._shift = np.uint64(64 - bits)
        self._slots = np.zeros(1 << bits, dtype=np.int64)
        self._slots[self._keys * _MIX[1] >> self._shift] = np.arange(len(keys))
