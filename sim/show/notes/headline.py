"""What stands behind each headline figure: its equation in words, and where that comes from.

Comes in: the headline's rows.  Goes out: numbered notes for the report.  Before: `show/words/headline`;
after: `show/reports/run`, `show/notes/book`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sim.show.words.headline import Group

__all__ = ["INTERVAL", "OWN", "Note", "headline_note", "note_rows"]

OWN = "own definition"
_CLOCK = "quarter-hours of the local clock, as demand meters take them (common practice, no source)"


@dataclass(frozen=True)
class Note:
    """One note.

    Attributes
    ----------
    number : from 1, in order of first use
    text : the equation in words
    source : where it comes from
    """

    number: int
    text: str
    source: str


_MEANINGS: tuple[tuple[str, str, str], ...] = (
    (
        "energy used",
        "E = sum over zones of the integral over time of n_dim P(level) + n_fixed P(1). P runs in straight"
        " lines between the points of the luminaires' power curve, levels in straight lines during fades, "
        "so that the integral is exact.",
        OWN,
    ),
    (
        "of it in open areas",
        "The same sum over the zones of open areas alone.",
        OWN,
    ),
    (
        "saved against always on",
        "(E0 - E) / E0 with E0 = all luminaires at full power in every hour.",
        "IPMVP, savings as baseline less reporting-period energy, on the same traffic (from memory)",
    ),
    (
        "saved against schedule only",
        "(E1 - E) / E1 with E1 = the occupied levels of the timetable in every hour, never low.",
        OWN,
    ),
    (
        "saved against code minimum",
        "(E2 - E) / E2 with E2 = full level, and half the power from 20 minutes after an aisle's last "
        "motion on.",
        "ANSI/ASHRAE/IES 90.1-2019 9.4.1.1(g), at least 50 % of power within 20 min (from memory)",
    ),
    (
        "highest quarter-hour load",
        "Largest mean of the summed load over a quarter of an hour, beginning at :00, :15, :30 or :45.",
        _CLOCK,
    ),
    (
        "trucks that entered at low",
        "Entries with the zone's command low just before. A truck that enters at the start counts.",
        OWN,
    ),
    (
        "truck time below occupied level",
        "Sum over trucks of the time in a zone whose actual level is below the occupied level in force.",
        OWN,
    ),
    (
        "same, weighted by missing light",
        "Sum over trucks of the integral of max(0, occupied level - level) / occupied level.",
        OWN,
    ),
    (
        "lights down on a truck inside",
        "Changes to low by a timeout at an instant with a truck in the zone.",
        OWN,
    ),
    (
        "longest dim spell",
        "Longest unbroken time that one visit spends below the occupied level.",
        OWN,
    ),
    (
        "95 % of dim spells",
        "95th percentile of all dim spells, linear between ranks.",
        "numpy's default percentile",
    ),
    (
        "wait at the mouth",
        "Mean over visits of entry less arrival at the mouth: full aisles, not light.",
        OWN,
    ),
    (
        "up, by a detection",
        "Commands from low to high that a detection caused; at borders none is counted.",
        OWN,
    ),
    (
        "down, by a timeout",
        "Commands from high to low that a timeout caused; at borders none is counted.",
        OWN,
    ),
    (
        "changes by the timetable",
        "Zones whose level changes at a border between two settings.",
        OWN,
    ),
    (
        "zone-hours at low",
        "Sum over zones of the time with the command not high; of the rest, hours without a truck are lit "
        "empty.",
        OWN,
    ),
    (
        "lost per driver",
        "Time lost by driving slower and by waiting for light, over hours on duty, times 8 h.",
        OWN,
    ),
    (
        "lost by all drivers",
        "Sum over visits of the time lost by driving slower and by waiting for light.",
        OWN,
    ),
    (
        "stops at a mouth for light",
        "Trucks that stopped at a mouth until the level they wait for was reached.",
        OWN,
    ),
)
INTERVAL = Note(
    0,
    "Half-widths: t(0.975, n - 1) s / sqrt(n) over n replications; that is simulation noise alone, not what "
    "is not known about the site.",
    "Law, Simulation Modeling and Analysis, confidence interval for a mean (from memory)",
)


def headline_note(label: str) -> tuple[str, str] | None:
    """Return equation and source of a headline figure by its label, None where it has no note."""
    return next(((text, source) for start, text, source in _MEANINGS if label.startswith(start)), None)


def note_rows(
    groups: Sequence[Group], *, has_intervals: bool
) -> tuple[dict[str, int], tuple[Note, ...]]:
    """Number the notes that the headline needs.

    Parameters
    ----------
    groups : the headline
    has_intervals : whether its figures have intervals

    Returns
    -------
    the note's number by label of the row, and the notes in order
    """
    numbers: dict[str, int] = {}
    notes: list[Note] = []
    for group in groups:
        for row in group.rows:
            known = headline_note(row.label)
            if known is not None:
                notes.append(Note(len(notes) + 1, *known))
                numbers[row.label] = len(notes)
    if has_intervals:
        notes.append(Note(len(notes) + 1, INTERVAL.text, INTERVAL.source))
    return numbers, tuple(notes)
