"""What the headings in reports of fits and verifications stand for, and in worksheets.

Comes in: nothing.  Goes out: `Meaning`s, the first that fits is taken.  Before: `show/notes/headline`,
`show/notes/book`; after: the folders of fits and proofs.
"""

from __future__ import annotations

from sim.show.notes.book import Meaning
from sim.show.notes.headline import OWN

__all__ = ["FIT_NOTES", "VERIFY_NOTES", "WORKSHEET_NOTES"]

_GUIDELINE = "ASHRAE Guideline 14-2014, 5.2.11 (seen in a public copy)"
_OPTION_B = "IPMVP Core Concepts, Option B; FEMP M&V Guidelines 4.0"
_UMP = "UMP chapter 3 (from memory)"

FIT_NOTES: tuple[Meaning, ...] = (
    Meaning(
        r"Moves a day",
        "Arrivals over hours observed, by hour of the week and kind of work, summed over the day.",
        "maximum likelihood for Poisson counts",
    ),
    Meaning(r"Fitted|95 % interval|Seen", "Each figure with the number of events behind it.", OWN),
    Meaning(
        r"Statistic|Test|Gaps apart|gaps",
        "Gaps: largest distance between the two cumulative curves, two independent samples. Counts: sum of "
        "(counted - expected)^2 / expected.",
        "tests of Kolmogorov and Smirnov, and Pearson's chi-square, as scipy.stats computes them",
    ),
    Meaning(r"p$", "Chance of so great a statistic if both had the same source.", "textbook tests"),
    Meaning(
        r"Visits|Occupied|Median gap|visits|occupied|median",
        "Left of the stroke the log, right of it means over replications of the fitted scenario.",
        OWN,
    ),
    Meaning(
        r"(Rows|Problem|Found|What|Count|Aisle|Column|Hours)",
        "Counted in the log as it was read.",
        "the log",
    ),
)

VERIFY_NOTES: tuple[Meaning, ...] = (
    Meaning(r"NMBE", "NMBE = sum(m - s) / ((n - p) mean m), p = 1.", _GUIDELINE),
    Meaning(r"CV\(RMSE\)", "CV(RMSE) = sqrt(sum (m - s)^2 / (n - p)) / mean m, p = 1.", _GUIDELINE),
    Meaning(
        r"Metered|metered",
        "Sum of the meter's intervals over the hours in which all of them are known.",
        "the meter's file",
    ),
    Meaning(
        r"Predicted|predicted",
        "Mean over replications of the simulated energy of the same hours, by date and hour of the week.",
        OWN,
    ),
    Meaning(
        r"Before kWh",
        "Mean load of the baseline's workdays, Saturdays, Sundays and holidays, times the whole days of each "
        "type "
        "in the reporting period.",
        _OPTION_B,
    ),
    Meaning(r"After kWh", "Metered energy of the reporting period's whole days.", _OPTION_B),
    Meaning(
        r"Saved kWh",
        "Before less after; variance s^2 (1/n + 1/m) by type of day, widened by n' = n (1 - r) / (1 + r), "
        "degrees "
        "of freedom by Welch and Satterthwaite.",
        "Welch 1947, Satterthwaite 1946; ASHRAE Guideline 14-2014 for n' (from memory)",
    ),
    Meaning(r"t$", "Saving over its standard uncertainty.", "textbook"),
    Meaning(
        r"At 68 %",
        "Half-width at 68 % confidence over the saving; reported where it is below one half.",
        "FEMP M&V Guidelines 4.0",
    ),
    Meaning(
        r"Hours|Question|What does not fit",
        "Day or period outside what the simulated weeks do, by Student's t shared out over all looks.",
        "Bonferroni; " + OWN,
    ),
)

WORKSHEET_NOTES: tuple[Meaning, ...] = (
    Meaning(
        r"saved in a year|saved by",
        "Energy of the baseline less energy as proposed, on the same traffic, laid over a calendar year.",
        OWN,
    ),
    Meaning(
        r"control savings factor",
        "CSF = 1 - hours after / hours before; hours = energy of a year over connected power.",
        _UMP,
    ),
    Meaning(r"connected load|of it dimmed", "Luminaires times their power at full level.", "the scenario"),
    Meaning(
        r"energy of a year|equivalent",
        "Quarter-hour loads of the simulated weeks, repeated over the calendar and summed.",
        OWN,
    ),
    Meaning(
        r"calculated energy",
        "W_L = sum P_n F_c (t_D F_O F_D + t_N F_O) / 1000.",
        "EN 15193:2007, 6.2 (seen in a public copy); F_O by its Annex D (from memory)",
    ),
)
