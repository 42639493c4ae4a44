"""Which inputs move the answer, so that one knows what to measure on site first.

Comes in: a scenario and ranges of its inputs.  Goes out: `Tornado` or `Indices`, and how many aisles to log.
Before: `study/inputs`; after: `show/folders/sensitivity`.

Tornado: one input at a time to either end of its range, paired with the scenario as stated.  Morris:
elementary effects, cheap, for many inputs.  Sobol: shares of the variance, first order and total.  The last
two by SALib (Herman and Usher, "SALib: an open-source Python library for sensitivity analysis", Journal of
Open Source Software 2(9), 2017).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.errors import InputError
from sim.notebook import html_table, plus_minus, with_unit
from sim.outcome.names import OUTCOMES
from sim.records import FloatColumn
from sim.replication import prepare_site, run_replication
from sim.results import Estimate
from sim.scenario.schema import Scenario
from sim.study.differences import Difference, subtract_paired
from sim.study.engine import map_in_order
from sim.study.inputs import UncertainInput, at_point
from sim.study.replications.precision import estimate_mean
from sim.study.replications.stopping import sample_size

__all__ = [
    "Bar",
    "Indices",
    "LogSize",
    "Tornado",
    "find_indices",
    "log_size",
    "morris_indices",
    "need_salib",
    "sobol_indices",
    "tornado",
]

Table = NDArray[np.float64]
Model = Callable[[Table], FloatColumn]
Progress = Callable[[int, int | None], None]


@dataclass(frozen=True)
class Bar:
    """What one input does to the answer.

    Attributes
    ----------
    name : of the input
    low, high : the ends of its range
    at_low, at_high : the answer there less the answer as stated
    """

    name: str
    low: float
    high: float
    at_low: Difference
    at_high: Difference

    @property
    def swing(self) -> float:
        """Largest less smallest answer over the ends and the stated value."""
        ends = (0.0, self.at_low.estimate.mean or 0.0, self.at_high.estimate.mean or 0.0)
        return max(ends) - min(ends)


@dataclass(frozen=True)
class Tornado:
    """One input at a time.

    Attributes
    ----------
    outcome : the answer
    stated : as the scenario stands
    bars : the widest first
    """

    outcome: str
    stated: Estimate
    bars: tuple[Bar, ...]

    def _repr_html_(self) -> str:
        """Show what each input does as a table in a notebook, the widest first."""
        rows = []
        for bar in self.bars:
            low, high = bar.at_low.estimate, bar.at_high.estimate
            ends = plus_minus(low.mean, low.half_width), plus_minus(high.mean, high.half_width)
            rows.append((bar.name, f"{bar.low:g} to {bar.high:g}", *ends))
        header = ("input", "range", "change at the low end", "change at the high end")
        stated = plus_minus(self.stated.mean, self.stated.half_width)
        title = f"What moves {with_unit(self.outcome, OUTCOMES[self.outcome].unit)}: {stated} as stated"
        return html_table(title, header, rows, ("±: half-width, 95 %",))


@dataclass(frozen=True)
class Indices:
    """All inputs at once.

    Attributes
    ----------
    outcome : the answer
    method : "morris" or "sobol"
    names : of the inputs (I,)
    first, first_half : Morris: mean of the absolute elementary effects, in the answer's unit over the whole
        range; Sobol: first-order share of the variance; with the half-width of its interval (I,)
    second, second_half : Morris: standard deviation of the effects (how uneven or entangled), without
        interval (nan); Sobol: total share of the variance (I,)
    runs : points evaluated
    """

    outcome: str
    method: str
    names: tuple[str, ...]
    first: FloatColumn
    first_half: FloatColumn
    second: FloatColumn
    second_half: FloatColumn
    runs: int

    def _repr_html_(self) -> str:
        """Show the indices as a table in a notebook."""
        words = ("first order", "total") if self.method == "sobol" else ("mean effect", "spread of effects")
        columns = (self.first, self.first_half, self.second, self.second_half)
        rows = [
            (name, plus_minus(*figures[:2]), plus_minus(*figures[2:]))
            for name, *figures in zip(self.names, *(column.tolist() for column in columns), strict=True)
        ]
        title = f"What moves {self.outcome}: {self.method} indices from {self.runs} points"
        return html_table(title, ("input", *words), rows, ("±: half-width, 95 %",))


@dataclass(frozen=True)
class LogSize:
    """How many aisles to log.

    Attributes
    ----------
    figure : what the logs are for
    error : half-width over mean that is wanted
    aisles, of : how many of how many, taken by lot
    """

    figure: str
    error: float
    aisles: int
    of: int


def need_salib() -> None:
    """Stop before any work if SALib is asked for and not there.

    Raises
    ------
    InputError : the extra is not installed
    """
    try:
        import SALib  # noqa: F401
    except ImportError:
        raise InputError(
            "Morris and Sobol indices need SALib: pip install 'aislewake[sensitivity]'"
        ) from None


def _totals(task: tuple[Scenario, int]) -> dict[str, float]:
    """One replication of one scenario."""
    scenario, number = task
    return dict(run_replication(prepare_site(scenario), number)[0].total)


def _answers(
    scenarios: Sequence[Scenario], outcome: str, replications: int, workers: int, progress: Progress
) -> Table:
    """The answer of every scenario and replication (S, R), on the same draws."""
    tasks = ((scenario, number) for scenario in scenarios for number in range(replications))
    found = []
    for answer in map_in_order(_totals, tasks, workers):
        found.append(answer[outcome])
        progress(len(found), len(scenarios) * replications)
    return np.array(found).reshape(len(scenarios), replications)


def _check_outcome(outcome: str) -> None:
    """Refuse an unknown answer."""
    if outcome not in OUTCOMES:
        raise InputError(f"{outcome}: there is no such outcome; there are {', '.join(OUTCOMES)}")


def tornado(
    scenario: Scenario,
    inputs: Sequence[UncertainInput],
    outcome: str,
    *,
    replications: int,
    workers: int = 1,
    progress: Progress = lambda done, expected: None,
) -> Tornado:
    """Move one input at a time to the ends of its range.

    Parameters
    ----------
    scenario : as stated
    inputs : with their ranges
    outcome : the answer
    replications : of each end, the same for all
    workers : processes
    progress : called with runs done and expected

    Raises
    ------
    InputError : there is no such outcome
    """
    _check_outcome(outcome)
    ends = [one.apply(scenario, one.span.at(share)) for one in inputs for share in (0.0, 1.0)]
    found = _answers([scenario, *ends], outcome, replications, workers, progress)
    stated = found[0].tolist()
    bars = [
        Bar(
            one.name,
            one.span.low,
            one.span.high,
            subtract_paired(found[1 + 2 * place].tolist(), stated),
            subtract_paired(found[2 + 2 * place].tolist(), stated),
        )
        for place, one in enumerate(inputs)
    ]
    bars.sort(key=lambda bar: -bar.swing)
    return Tornado(outcome, estimate_mean(stated), tuple(bars))


def morris_indices(
    model: Model, names: Sequence[str], trajectories: int, seed: int
) -> dict[str, FloatColumn]:
    """Return Morris's mean absolute effect, its half-width, and the spread of the effects.

    Parameters
    ----------
    model : answers (n,) of points in the unit cube (n, I)
    names : of the inputs
    trajectories : paths through the cube, each I + 1 points
    seed : of the paths, at least 1: SALib takes 0 for none

    References
    ----------
    Morris, "Factorial sampling plans for preliminary computational experiments", Technometrics 33(2), 1991;
    Campolongo, Cariboni and Saltelli, Environmental Modelling and Software 22(10), 2007 (from memory).
    """
    from SALib.analyze import morris as analyze
    from SALib.sample import morris as sample

    problem = _problem(names)
    points = sample.sample(problem, trajectories, num_levels=4, seed=seed)
    answers = model(points)
    found = analyze.analyze(problem, points, answers, num_levels=4, conf_level=0.95, seed=seed)
    nothing = np.full(len(names), np.nan)
    return {
        "first": np.asarray(found["mu_star"], dtype=np.float64),
        "first_half": np.asarray(found["mu_star_conf"], dtype=np.float64),
        "second": np.asarray(found["sigma"], dtype=np.float64),
        "second_half": nothing,
        "runs": np.array([len(points)]),
    }


def sobol_indices(model: Model, names: Sequence[str], base: int, seed: int) -> dict[str, FloatColumn]:
    """Return Sobol's first-order and total indices with their half-widths.

    Parameters
    ----------
    model : answers (n,) of points in the unit cube (n, I)
    names : of the inputs
    base : points of the base sample, a power of two; base (I + 2) points in all
    seed : of the points, at least 1: SALib takes 0 for none

    References
    ----------
    Saltelli et al., "Variance based sensitivity analysis of model output", Computer Physics Communications
    181(2), 2010 (from memory).
    """
    from SALib.analyze import sobol as analyze
    from SALib.sample import sobol as sample

    problem = _problem(names)
    points = sample.sample(problem, base, calc_second_order=False, seed=seed)
    answers = model(points)
    if float(np.ptp(answers)) == 0.0:
        still = np.zeros(len(names))
        return {
            "first": still,
            "first_half": still,
            "second": still,
            "second_half": still,
            "runs": np.array([len(points)]),
        }
    found = analyze.analyze(problem, answers, calc_second_order=False, conf_level=0.95, seed=seed)
    return {
        "first": np.asarray(found["S1"], dtype=np.float64),
        "first_half": np.asarray(found["S1_conf"], dtype=np.float64),
        "second": np.asarray(found["ST"], dtype=np.float64),
        "second_half": np.asarray(found["ST_conf"], dtype=np.float64),
        "runs": np.array([len(points)]),
    }


def _problem(names: Sequence[str]) -> dict[str, Any]:
    """SALib's words for the unit cube."""
    return {"num_vars": len(names), "names": list(names), "bounds": [[0.0, 1.0]] * len(names)}


def find_indices(
    scenario: Scenario,
    inputs: Sequence[UncertainInput],
    outcome: str,
    method: str,
    *,
    samples: int,
    replications: int,
    workers: int = 1,
    progress: Progress = lambda done, expected: None,
) -> Indices:
    """Move all inputs at once.

    Parameters
    ----------
    scenario : as stated
    inputs : with their ranges
    outcome : the answer, its mean over replications
    method : "morris" (samples: trajectories) or "sobol" (samples: base points, raised to a power of two)
    samples : see `method`
    replications : of each point, the same for all
    workers : processes
    progress : called with runs done and expected

    Raises
    ------
    InputError : there is no such outcome, or SALib is not installed
    """
    _check_outcome(outcome)
    need_salib()
    names = tuple(one.name for one in inputs)

    def model(points: Table) -> FloatColumn:
        scenarios = [at_point(scenario, inputs, row) for row in points.tolist()]
        return np.asarray(_answers(scenarios, outcome, replications, workers, progress).mean(axis=1))

    found: Mapping[str, FloatColumn]
    seed = 1 + scenario.seed % (2**32 - 2)
    if method == "morris":
        found = morris_indices(model, names, samples, seed)
    else:
        found = sobol_indices(model, names, 2 ** math.ceil(math.log2(max(samples, 2))), seed)
    return Indices(
        outcome,
        method,
        names,
        found["first"],
        found["first_half"],
        found["second"],
        found["second_half"],
        int(found["runs"][0]),
    )


def log_size(scenario: Scenario, error: float, *, replications: int) -> LogSize:
    """Return how many aisles must be logged to know the mean visits of an aisle.

    Parameters
    ----------
    scenario : whose simulated aisles differ as those on site are taken to differ
    error : half-width of the 95 % interval over the mean
    replications : averaged before the aisles are compared, so that chance does not count as difference
    """
    site = prepare_site(scenario)
    aisles = len(site.layout.aisles)
    total = np.zeros(aisles)
    for number in range(replications):
        visits = run_replication(site, number)[1].visits
        assert visits is not None
        total += np.bincount(visits.aisle, minlength=aisles)
    return LogSize(
        "visits an hour", error, sample_size((total / replications).tolist(), error, aisles), aisles
    )
