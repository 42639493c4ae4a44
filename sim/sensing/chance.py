"""Chance in sensing: every aisle draws from streams of its own, one for each kind of draw.

Comes in: a maker of streams.  Goes out: uniform numbers and counts, those of an aisle in the order of its
rows.  Before: `randomness`; after: `sensing/coverage`.  So nothing that is changed in one aisle, not even the
number of its sensors, moves a draw of another aisle, and it does not matter how many rows are asked for at
once.  Streams are made when they are first needed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from enum import IntEnum

import numpy as np

from sim.records import FloatColumn, IntColumn

__all__ = ["Chance", "Draw", "StreamOf", "by_aisle"]

StreamOf = Callable[[int, int], np.random.Generator]
"""Makes the generator of a kind of draw in an aisle, from the beginning of its stream."""


class Draw(IntEnum):
    """Kinds of draws; their numbers are never reused or renumbered."""

    PASS = 0
    MISS = 1
    STAND_PULSES = 2
    STAND_TIME = 3
    QUEUE_PULSES = 4
    QUEUE_TIME = 5
    COMING_MISS = 6
    COMING_PULSES = 7
    COMING_TIME = 8
    COMING_PASS = 9


def by_aisle(aisle: IntColumn) -> Iterator[tuple[int, IntColumn]]:
    """Yield each aisle that is there, and its rows in order (n,)."""
    if not len(aisle):
        return
    # a sort of small numbers is much quicker; there are never so many aisles
    order = np.argsort(aisle.astype(np.uint16), kind="stable")
    edges = np.concatenate([[0], np.cumsum(np.bincount(aisle))])
    for number in np.flatnonzero(np.diff(edges)).tolist():
        yield number, order[edges[number] : edges[number + 1]]


class Chance:
    """Draws by kind and aisle.

    Parameters
    ----------
    stream_of : makes the streams; each is used for nothing else
    """

    def __init__(self, stream_of: StreamOf) -> None:
        self._stream_of = stream_of
        self._made: dict[tuple[Draw, int], np.random.Generator] = {}

    def stream(self, kind: Draw, aisle: int) -> np.random.Generator:
        """Return the generator of a kind of draw in one aisle, where it stands now."""
        made = self._made.get((kind, aisle))
        if made is None:
            made = self._made[kind, aisle] = self._stream_of(kind, aisle)
        return made

    def uniform(self, kind: Draw, aisle: IntColumn) -> FloatColumn:
        """Draw a uniform number for each row, from the stream of its aisle (n,)."""
        drawn = np.empty(len(aisle))
        for number, rows in by_aisle(aisle):
            drawn[rows] = self.stream(kind, number).random(len(rows))
        return drawn

    def counts(self, kind: Draw, aisle: IntColumn, mean: FloatColumn) -> IntColumn:
        """Draw a Poisson number for each row, from the stream of its aisle; none where the mean is 0 (n,)."""
        drawn = np.zeros(len(aisle), dtype=np.int64)
        some = np.flatnonzero(mean > 0.0)
        for number, rows in by_aisle(aisle[some]):
            drawn[some[rows]] = self.stream(kind, number).poisson(mean[some[rows]])
        return drawn
