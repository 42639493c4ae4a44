"""From the name of a storage location to its aisle and its place along it.

Comes in: the words of a columns file, texts of a log.  Goes out: aisle, metres, or why not.  Before:
`logs/form`, `floor`; after: `traffic/move_logs`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.floor.layout import Layout
from sim.logs.form import LocationWords
from sim.logs.words import Names
from sim.records import IntColumn
from sim.wording import nearest_text, printable

__all__ = ["OUTSIDE", "LocationRule", "Spot"]

OUTSIDE = -1
"""Aisle of a location that lies in none: a dock, the staging area."""
_LONGEST = 200


@dataclass(frozen=True)
class Spot:
    """Where a location lies.

    Attributes
    ----------
    aisle : index, or `OUTSIDE`
    bay_m : from the front mouth [m], None where it is not known
    fault : why the location cannot be placed, "" where it can
    """

    aisle: int
    bay_m: float | None = None
    fault: str = ""


class LocationRule:
    """The rule of one log; each location is looked at once and has a number, in the order of appearance.

    Parameters
    ----------
    words : the rule as the columns file has it
    layout : the floor
    """

    def __init__(self, words: LocationWords, layout: Layout) -> None:
        self._words = words
        self._layout = layout
        self._places = {name: place for place, name in enumerate(layout.aisles)}
        self._pattern = re.compile(words.pattern) if words.pattern else _own_pattern(layout.aisles)
        self._outside = re.compile(words.outside) if words.outside else None
        self._names = Names(grows=True)
        self._spots: list[Spot] = []
        self.aisle = np.zeros(0, dtype=np.int64)
        self.bay_m = np.zeros(0)
        self.is_fault = np.zeros(0, dtype=bool)

    def numbers(self, texts: Sequence[str]) -> IntColumn:
        """Return the numbers of some locations (n,).

        The rows `aisle` (`OUTSIDE` for none), `bay_m` (nan where not known) and `is_fault` of the rule are
        those of the numbers told so far.
        """
        numbers = self._names.of(texts)
        if len(self._names) > len(self._spots):
            added = [self._find(text) for text in self._names.known[len(self._spots) :]]
            self._spots += added
            bays = [np.nan if spot.bay_m is None else spot.bay_m for spot in added]
            self.aisle = np.append(self.aisle, [spot.aisle for spot in added])
            self.bay_m = np.append(self.bay_m, bays)
            self.is_fault = np.append(self.is_fault, [bool(spot.fault) for spot in added])
        return numbers

    def fault(self, number: int) -> str:
        """Return why a location cannot be placed."""
        return self._spots[number].fault

    def _find(self, text: str) -> Spot:
        """Place one location."""
        shown = printable(text)
        if not text:
            return Spot(OUTSIDE, None, "is empty; a location is needed in every row")
        if text in self._words.table:
            name, metres = self._words.table[text]
            return self._place(shown, name, metres)
        if self._outside is not None and self._outside.fullmatch(text[:_LONGEST]):
            return Spot(OUTSIDE)
        match = self._pattern.fullmatch(text) if len(text) <= _LONGEST else None
        if match is None:
            longest = max(map(len, self._layout.aisles))
            near = nearest_text(text[:longest], self._layout.aisles)
            return Spot(
                OUTSIDE,
                None,
                f'"{shown}" is no location of an aisle; say how locations are named under [locations] in a '
                f"columns file{near}",
            )
        groups = match.groupdict()
        bay = groups.get("bay")
        if bay is None or self._words.bay_m is None:
            return self._place(shown, groups["aisle"] or "", None)
        if not bay.isdecimal() or len(bay) > 6:
            return Spot(OUTSIDE, None, f'"{shown}": the bay "{printable(bay)}" is no number')
        number = int(bay) - self._words.first_bay
        return self._place(shown, groups["aisle"] or "", (number + 0.5) * self._words.bay_m)

    def _place(self, shown: str, name: str, metres: float | None) -> Spot:
        """Check aisle and metres."""
        aisle = self._places.get(self._words.aisles.get(name, name))
        if aisle is None:
            near = nearest_text(name, (*self._layout.aisles, *self._words.aisles))
            return Spot(OUTSIDE, None, f'"{shown}": there is no aisle "{printable(name)}"{near}')
        length = float(self._layout.length_m[aisle])
        if metres is not None and not 0.0 <= metres <= length:
            return Spot(
                OUTSIDE,
                None,
                f'"{shown}" would lie {metres:g} m into aisle {self._layout.aisles[aisle]}; allowed: 0 to '
                f"{length:g} [m]; see bay_m and first_bay in the columns file",
            )
        return Spot(aisle, metres)


def _own_pattern(aisles: Sequence[str]) -> re.Pattern[str]:
    """A location begins with an aisle's name; then, after a sign, the bay's number and anything."""
    names = "|".join(re.escape(name) for name in sorted(aisles, key=len, reverse=True))
    return re.compile(rf"(?P<aisle>{names})(?:[^0-9A-Za-z]+(?P<bay>[0-9]+)?(?:[^0-9].*)?)?", re.DOTALL)
