"""Names of people and trucks replaced at the door: T01, T02, ... in the order in which they appear.

Comes in: texts of a log's columns.  Goes out: pseudonyms.  The ground: used by the readers of logs.  The
same text is the same pseudonym within one file; the texts themselves are kept nowhere else, so that no
table, page or picture can show them.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

__all__ = ["Pseudonyms"]


class Pseudonyms:
    """Pseudonyms of one kind in one log.

    Parameters
    ----------
    letter : that they begin with
    """

    def __init__(self, letter: str) -> None:
        self._letter = letter
        self._known: dict[str, str] = {}

    def of(self, texts: Sequence[str]) -> tuple[str, ...]:
        """Return the pseudonyms of some texts; nothing for nothing (n,).

        Examples
        --------
        >>> Pseudonyms("T").of(["anna", "ben", "", "anna"])
        ('T01', 'T02', '', 'T01')
        """
        return tuple(self._one(text) for text in texts)

    def _one(self, text: str) -> str:
        """Return the pseudonym of one text, a new one where it was not seen yet."""
        if not text:
            return ""
        known = self._known.get(text)
        if known is None:
            known = self._known[text] = sys.intern(f"{self._letter}{len(self._known) + 1:02d}")
        return known

    def __len__(self) -> int:
        return len(self._known)
