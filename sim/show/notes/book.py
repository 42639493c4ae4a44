"""Notes as they are needed: numbers them in order of first use, by the words that they belong to.

Comes in: headings and labels of a report.  Goes out: numbers to set beside them, `Note`s.  Before:
`show/notes/headline`, `outcome/names`; after: `show/reports/paper`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from sim.outcome.names import ALL_OUTCOMES
from sim.show.notes.headline import INTERVAL, OWN, Note, headline_note

__all__ = ["Meaning", "NoteBook", "outcome_name"]

_HEADLINE_LABELS = {
    "energy_kwh": "energy used",
    "peak_kw": "highest quarter-hour load",
    "saved_share": "saved against always on",
    "time_at_low_h": "zone-hours at low",
    "dim_truck_s": "truck time below occupied level",
    "shortfall_truck_s": "same, weighted by missing light",
    "dim_entries": "trucks that entered at low",
    "false_offs": "lights down on a truck inside",
    "switch_ups": "up, by a detection",
    "switch_downs": "down, by a timeout",
    "timetable_changes": "changes by the timetable",
    "dim_spell_max_s": "longest dim spell",
    "dim_spell_p95_s": "95 % of dim spells",
    "mouth_wait_mean_s": "wait at the mouth",
    "light_lost_min": "lost by all drivers",
    "light_lost_min_per_shift": "lost per driver",
    "light_waits": "stops at a mouth for light",
}
"""Outcomes whose note stands among those of the headline figures."""
_OUTCOME = re.compile(r"(?<![\w.])(" + "|".join(sorted(ALL_OUTCOMES, key=len, reverse=True)) + r")(?![a-z.])")


@dataclass(frozen=True)
class Meaning:
    """What a heading or a label stands for.

    Attributes
    ----------
    pattern : regular expression at the beginning of the heading or label
    text : the equation in words
    source : where it comes from
    """

    pattern: str
    text: str
    source: str


def outcome_name(label: str) -> str | None:
    """Return the outcome that a label begins with or speaks of, None without one.

    Examples
    --------
    >>> outcome_name("dim_truck_s_per_visit <= 2"), outcome_name("energy_kwh of a run"), outcome_name("plan")
    ('dim_truck_s', 'energy_kwh', None)
    """
    found = _OUTCOME.search(label)
    return None if found is None else found[1]


class NoteBook:
    """The notes of one report."""

    def __init__(self, meanings: Sequence[Meaning], first: Sequence[Note] = ()) -> None:
        """Begin with the notes that are numbered already."""
        self._meanings = tuple(meanings)
        self._numbers = {(note.text, note.source): note.number for note in first}

    def mark(self, label: str) -> tuple[int, ...]:
        """Return the numbers of a label's notes, () where it has none."""
        for meaning in self._meanings:
            if re.match(meaning.pattern, label):
                return (self._number(meaning.text, meaning.source),)
        name = outcome_name(label)
        return () if name is None else (self._number(*_outcome_note(name)),)

    def mark_interval(self) -> tuple[int, ...]:
        """Return the number of the note on intervals over replications."""
        return (self._number(INTERVAL.text, INTERVAL.source),)

    def _number(self, text: str, source: str) -> int:
        return self._numbers.setdefault((text, source), len(self._numbers) + 1)

    @property
    def notes(self) -> tuple[Note, ...]:
        """All notes so far, in order."""
        return tuple(Note(number, *said) for said, number in self._numbers.items())


def _outcome_note(name: str) -> tuple[str, str]:
    """Equation and source of an outcome."""
    known = headline_note(_HEADLINE_LABELS.get(name, name))
    if known is not None:
        return f"{known[0]} In the files: {name}.", known[1]
    meaning = ALL_OUTCOMES[name].meaning
    return f"{meaning[0].upper()}{meaning[1:]}. In the files: {name}.", OWN
