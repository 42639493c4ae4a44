"""What a zone inside a simulation writes down: its commands and the fade that follows each.

Comes in: rows in order of time.  Goes out: `Commands` and `Levels` for the books.  Part of `lighting/live`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from sim.lighting.replay import Commands
from sim.results import Levels

__all__ = ["HIGH", "LOW", "LOWEST", "Fade", "Row", "as_commands", "cut_levels"]

HIGH, LOW, LOWEST = "high", "low", "second"
"""States of a zone's command: held, after the timeout, after the second delay."""


@dataclass(frozen=True)
class Fade:
    """A straight change of the light from `origin` at `begin` to `target`, `length` seconds long."""

    begin: float
    origin: float
    target: float
    length: float

    def at(self, time: float) -> float:
        """Return the light; exactly the target once the fade is over."""
        if time >= self.begin + self.length:
            return self.target
        return self.origin + (self.target - self.origin) * ((time - self.begin) / self.length)

    def time_of(self, level: float) -> float:
        """Return when the light first is at least as high as a level that it passes."""
        if level >= self.target:
            return self.begin + self.length
        return self.begin + self.length * ((level - self.origin) / (self.target - self.origin))


@dataclass(frozen=True)
class Row:
    """A command with the fade that is under way after it."""

    time: float
    state: str
    level: float
    period: int
    cause: int
    fade: Fade


def as_commands(rows: Sequence[Row]) -> Commands:
    """Return the rows as columns."""
    return Commands(
        time=np.array([row.time for row in rows]),
        is_high=np.array([row.state == HIGH for row in rows]),
        level=np.array([row.level for row in rows]),
        period=np.array([row.period for row in rows], dtype=np.int64),
        cause=np.array([row.cause for row in rows], dtype=np.int64),
    )


def cut_levels(rows: Sequence[Row], occupied: Sequence[float], end_s: float) -> Levels:
    """Cut the light at commands and ends of fades into straight pieces.

    Parameters
    ----------
    rows : commands in order of time; of several at one instant the last one counts
    occupied : occupied level of each period (P,)
    end_s : end of the run [s]
    """
    pieces: list[tuple[float, float, float, float, float, float, bool]] = []
    for row, end in zip(rows, [*(row.time for row in rows[1:]), end_s], strict=True):
        over = row.fade.begin + row.fade.length
        marks = [row.time, over, end] if row.time < over < end else [row.time, end]
        for start, stop in pairwise(marks):
            if start < stop:
                light = (row.fade.at(start), row.fade.at(stop))
                pieces.append((start, stop, *light, row.level, occupied[row.period], row.state == HIGH))
    columns = [np.array(column) for column in zip(*pieces, strict=True)]
    return Levels(*columns)
