"""What the headings in reports of sweeps, recommendations and sensitivity studies stand for.

Comes in: nothing.  Goes out: `Meaning`s, the first that fits is taken.  Before: `show/notes/headline`,
`show/notes/book`; after: the folders of decisions.
"""

from __future__ import annotations

from sim.show.notes.book import Meaning
from sim.show.notes.headline import OWN

__all__ = ["RECOMMEND_NOTES", "SENSITIVITY_NOTES", "SWEEP_NOTES"]

_PAIRED = "paired comparison, Law, Simulation Modeling and Analysis (from memory)"
_STATED = "the scenario, whose resolved copy is scenario.toml"

SWEEP_NOTES: tuple[Meaning, ...] = (
    Meaning(
        r"Not beaten",
        "A setting is not beaten where no other setting of the sweep is at least as good in every aim and "
        "better "
        "in one; compared by means over replications.",
        "Pareto front, the usual definition",
    ),
    Meaning(
        r"which has|Beaten by",
        "Mean of the one less mean of the other, on the same trucks.",
        OWN,
    ),
    Meaning(
        r"Where it bends",
        "The bend is the point of the front farthest from the straight line between its ends, both axes "
        "scaled to "
        "the range stated; the hypervolume is the ground between the front and its worst corner.",
        "Satopaa et al. 2011 (bend); Zitzler and Thiele 1999 (hypervolume, from memory)",
    ),
    Meaning(
        r"saved against always on",
        "Difference of the two energies over that of always on, formed in each replication, then averaged.",
        OWN,
    ),
)

RECOMMEND_NOTES: tuple[Meaning, ...] = (
    Meaning(
        r"In force and recommended|Settings in force|hold|timeout|sum|occupied level|unoccupied level|"
        r"second level|fade|different settings",
        "Settings in force are those of the scenario as it stands; recommended ones are chosen among the "
        "candidates that were stated, so that the aim is least within the limits.",
        _STATED + "; for each plan a file such as single.toml",
    ),
    Meaning(r"settings$", "Number of different sets of settings in the plan.", OWN),
    Meaning(
        r"fitted",
        "Mean of the aim over the replications that the plan was chosen on, summed exactly over all zones.",
        OWN,
    ),
    Meaning(
        r"on fresh traffic",
        "Mean over replications that the plan was not chosen on.",
        "common practice against over-fitting, no source",
    ),
    Meaning(
        r"gap",
        "(fitted - bound) / fitted: no plan of that kind within the limits has less than the bound, on the "
        "replications fitted to.",
        "Lagrangian bound, then branch and cut (HiGHS through scipy.optimize.milp)",
    ),
    Meaning(
        r"saved against|saved|± simulation noise|Change|less than",
        "Figure in force less figure of the plan, formed in each fresh replication on the same trucks, then "
        "averaged.",
        _PAIRED,
    ),
    Meaning(
        r"if the site differs|If the site differs",
        "Least and greatest mean when volume, skew and handling time are each 30 % less or more than stated, "
        "one "
        "at a time.",
        "the range of 30 % is a choice of this program, no source",
    ),
    Meaning(
        r"Limits on fresh",
        "Sum of the outcome over what it is divided by (visits, days, zone-hours), both means over fresh "
        "replications; the interval is that of a ratio of means.",
        "ratio estimator, Law, Simulation Modeling and Analysis (from memory)",
    ),
    Meaning(
        r"visits/h",
        "Visits to the aisle over the hours of the run; in open areas there are none.",
        OWN,
    ),
    Meaning(r"Numeric limits", "Each row's source stands below the table by its number in brackets.", OWN),
    Meaning(r"Settings, ", "Chosen as said above.", "settings.csv, which has every zone"),
)

SENSITIVITY_NOTES: tuple[Meaning, ...] = (
    Meaning(
        r"input|range",
        "Factor on what the scenario states, or the key's own value; the range is the one asked for, by "
        "default "
        "30 % either way.",
        "a choice of this program or of whoever asked, no source",
    ),
    Meaning(
        r"at the low end|at the high end",
        "Outcome with that input at the end of its range, all others as stated, less the outcome as stated; "
        "the "
        "same random numbers, paired.",
        _PAIRED,
    ),
    Meaning(
        r"first order|total",
        "Share of the variance of the outcome that an input explains by itself, and with all its interplay.",
        "Sobol' indices, Saltelli 2010, as SALib computes them",
    ),
    Meaning(
        r"mean effect|spread of effects",
        "Mean of the absolute elementary effects over the whole range, and their standard deviation.",
        "Morris 1991, Campolongo 2007, as SALib computes them",
    ),
    Meaning(
        r"Logging on site",
        "n = n0 / (1 + n0 / N) of N aisles, n0 = (t s / (g mean))^2 with g the precision asked for and s the "
        "spread of the aisles' simulated visits.",
        "Cochran, Sampling Techniques, 3rd ed., chapter 4 (from memory)",
    ),
)
