"""The words of the reports, each in a sentence.

Comes in: a page.  Goes out: rows for those words that stand in it.  After: `show/reports/run`,
`show/reports/paper`. Terms are the trade's own; what is this program's own count says so.
"""

from __future__ import annotations

import re

__all__ = ["GLOSSARY", "used_words"]

_MARKUP = re.compile(r"<style>.*?</style>|<[^>]*>", re.DOTALL)
GLOSSARY: tuple[tuple[str, str], ...] = (
    (
        "always on",
        "The baseline with every luminaire at full power in every hour.",
    ),
    (
        "as left",
        "The value found in the controller when the work is done.",
    ),
    (
        "baseline",
        "What a saving is measured against.",
    ),
    (
        "bay",
        "A place along an aisle, told by its distance from the front mouth.",
    ),
    (
        "circuit",
        "The luminaires behind one meter or breaker.",
    ),
    (
        "code minimum",
        "The baseline of an energy code's least control: half the power 20 minutes after an aisle's "
        "last motion.",
    ),
    (
        "coincidence",
        "Share of a saving in load that falls in the utility's peak.",
    ),
    (
        "command",
        "What the controller asks of a zone: high (the occupied level) or low.",
    ),
    (
        "confidence",
        "How often an interval made in this way holds the true value.",
    ),
    (
        "control savings factor",
        "Share of the energy that controls save: 1 less hours after over hours before.",
    ),
    (
        "control zone",
        "Luminaires that change level together: an aisle, a part of one, aisles that share, or an "
        "area.",
    ),
    (
        "CV(RMSE)",
        "Scatter: typical difference of a single hour or month, as a share of the mean.",
    ),
    (
        "deemed",
        "Agreed for an average site instead of measured or simulated.",
    ),
    (
        "detection",
        "A stretch of time in which at least one sensor of a zone sees motion.",
    ),
    (
        "dim entry",
        "A truck goes into a zone whose command is low just before.",
    ),
    (
        "dim truck-time",
        "Time that trucks spend in a zone below its occupied level.",
    ),
    (
        "equivalent full-load hours",
        "Energy of a year over connected power: hours at full that would use as much.",
    ),
    (
        "fade",
        "The way from one level to another, in a straight line over a stated time.",
    ),
    (
        "false-off",
        "The lights go down on a timeout while a truck is still in the zone.",
    ),
    (
        "fresh traffic",
        "Replications that the settings were not fitted to.",
    ),
    (
        "functional test",
        "The check on site that each zone does what the sheets say.",
    ),
    (
        "gap, proved gap",
        "In plans: how much less the best possible plan could use at most.",
    ),
    (
        "handling",
        "The time that a truck stands at a bay for one pallet.",
    ),
    (
        "hold",
        "How long a sensor goes on reporting after the last motion; it comes before the timeout.",
    ),
    (
        "hypervolume",
        "How much of the trade-off's ground a set of settings covers; for comparing sets, not for "
        "reading.",
    ),
    (
        "interval",
        "Range that holds the true mean in 95 of 100 such studies; it covers chance in the simulation"
        " and nothing else.",
    ),
    (
        "Kolmogorov",
        "A test of whether two sets of times have the same spread: the largest distance between the "
        "two curves.",
    ),
    (
        "latency",
        "From motion to the command: sensor and network together.",
    ),
    (
        "LENI",
        "Lighting energy of a year per area, as EN 15193 defines it.",
    ),
    (
        "level",
        "Share of full light output, not of power.",
    ),
    (
        "lit empty",
        "Time at high with no truck in the zone: what there still is to win.",
    ),
    (
        "measure life",
        "Years that a programme counts a measure for.",
    ),
    (
        "median gap",
        "Half of the silences between two visits are longer.",
    ),
    (
        "net over gross",
        "Share of the saving that a programme credits to itself.",
    ),
    (
        "NMBE",
        "Net bias: metered less predicted energy, as a share of what was metered; positive where the "
        "meter shows more.",
    ),
    (
        "occupied, unoccupied level",
        "The level while the zone is held, and the one afterwards.",
    ),
    (
        "Option B",
        "IPMVP's way to prove a saving: the lit circuits themselves are metered before and after.",
    ),
    (
        "outcome",
        "One figure of a run, such as energy or dim truck-time.",
    ),
    (
        "plan",
        "Settings for every aisle: one for all, one for each group of like aisles, or one for each "
        "aisle.",
    ),
    (
        "replication",
        "One run of the whole span with random numbers of its own.",
    ),
    (
        "schedule only, timetable alone",
        "The baseline that keeps the occupied levels of the timetable and never goes low.",
    ),
    (
        "second delay",
        "So long after the first change to low the level falls once more.",
    ),
    (
        "sequence of operations",
        "What the lights do, in words, for whoever sets the controller up.",
    ),
    (
        "settings in force",
        "What the scenario states today.",
    ),
    (
        "shortfall",
        "Dim truck-time weighted by the share of light that is missing.",
    ),
    (
        "skew",
        "How unequally the moves are spread over the aisles.",
    ),
    (
        "step-in schedule",
        "The weeks in which timeouts are shortened step by step.",
    ),
    (
        "struck out",
        "Shown and not counted, because a code forces it anyway.",
    ),
    (
        "switch-up, switch-down",
        "A command to high by a detection; a command to low by a timeout.",
    ),
    (
        "timeout",
        "The controller's time delay: how long the light stays high after the hold has ended.",
    ),
    (
        "timetable",
        "The week: which settings hold in which hours, with exception dates.",
    ),
    (
        "visit",
        "One truck or person in one aisle, from crossing the mouth to leaving it.",
    ),
)
"""Words in order; those behind a comma are other ways to say the first."""


def used_words(page: str) -> tuple[tuple[str, str], ...]:
    """Return the words that a page uses, with their meaning; a plural counts.

    Examples
    --------
    >>> [word for word, _ in used_words("<p>Two bays of a zone; the fades.</p>")]
    ['bay', 'fade']
    """
    text = " ".join(_MARKUP.sub(" ", page).split())
    return tuple((word, meaning) for word, meaning in GLOSSARY if _stands_in(word, text))


def _stands_in(word: str, text: str) -> bool:
    """Whether a word, or another way to say it, stands in a text."""
    return any(
        re.search(rf"(?<![\w-]){re.escape(one)}(?:e?s)?(?![\w-])", text, re.IGNORECASE)
        for one in word.split(", ")
    )
