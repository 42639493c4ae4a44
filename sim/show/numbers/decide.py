"""The numbers behind the pictures of decisions: small arrays that can be tested without a picture.

Comes in: a `SweepResult` or a `Recommendation`.  Goes out: frozen arrays.  Before: `study/sweeping/sweep`,
`study/decide/recommend`; after: `show/figures/sweep`, `show/figures/recommend`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, IntColumn
from sim.results import Estimate
from sim.show.words.amounts import duration
from sim.study.decide.fit import place_sums
from sim.study.decide.recommend import KINDS, Recommendation
from sim.study.replications.precision import estimate_mean
from sim.study.sweeping.front import find_front
from sim.study.sweeping.sweep import SweepResult
from sim.study.sweeping.values import Value, value_text

__all__ = [
    "AisleChoices",
    "Mark",
    "SavingCurves",
    "TradeOff",
    "ValueRow",
    "aisle_choices",
    "saving_curves",
    "sweep_trade_off",
    "trade_off",
    "value_rows",
]

_MOST_CURVES = 6
_MOST_NOTES = 5


@dataclass(frozen=True)
class Mark:
    """A setting shown by name."""

    label: str
    energy_kwh: float
    dim_truck_s: float


@dataclass(frozen=True)
class TradeOff:
    """Energy against service, a point per setting.

    Attributes
    ----------
    energy_kwh, dim_truck_s, switch_ups : means per run (N,)
    is_front : not beaten in energy and dim truck-seconds together (N,)
    lines : points joined in order, such as one level over all timeouts; each (n,)
    line_labels : of the lines, "" without one
    marks : settings shown by name
    notes : points of one line with what they stand for, such as their timeout
    """

    energy_kwh: FloatColumn
    dim_truck_s: FloatColumn
    switch_ups: FloatColumn
    is_front: NDArray[np.bool_]
    lines: tuple[IntColumn, ...]
    line_labels: tuple[str, ...]
    marks: tuple[Mark, ...]
    notes: tuple[tuple[int, str], ...] = ()


def _numeric_key(result: SweepResult, wanted: Callable[[str], bool]) -> int | None:
    """The first varied key of a kind whose values are all numbers."""
    for place, key in enumerate(result.plan.keys):
        values = [point[place] for point in result.plan.points]
        if (
            wanted(key)
            and all(isinstance(one, int | float) for one in values)
            and len(set(map(str, values))) > 2
        ):
            return place
    return None


def _lines(result: SweepResult, along: int | None) -> list[tuple[IntColumn, str]]:
    """Points that differ in one key alone, by that key; with what they have in common."""
    if along is None:
        return []
    groups: dict[tuple[str, ...], list[int]] = {}
    for point, values in enumerate(result.plan.points):
        rest = tuple(
            f"{key} = {value_text(value)}"
            for place, (key, value) in enumerate(zip(result.plan.keys, values, strict=True))
            if place != along
        )
        groups.setdefault(rest, []).append(point)

    def size(point: int) -> float:
        value: Value = result.plan.points[point][along]
        return float(value) if isinstance(value, int | float) else 0.0

    return [
        (np.array(sorted(points, key=size)), ", ".join(rest))
        for rest, points in groups.items()
        if len(points) > 2
    ]


def _spread_out(lines: list[tuple[IntColumn, str]]) -> list[tuple[IntColumn, str]]:
    """As many lines as a picture can hold, evenly from all."""
    places = np.linspace(0, len(lines) - 1, min(_MOST_CURVES, len(lines))).round().astype(np.int64)
    return [lines[place] for place in places.tolist()]


def sweep_trade_off(result: SweepResult) -> TradeOff:
    """Return every point of a sweep, joined along its timeout."""
    means = result.means
    costs = np.stack([means["energy_kwh"], means["dim_truck_s"]], axis=1)
    along = _numeric_key(result, lambda key: key.endswith("timeout_s"))
    lines = _spread_out(_lines(result, along))
    current = Mark(
        "as the scenario stands",
        float(result.current["energy_kwh"].mean()),
        float(result.current["dim_truck_s"].mean()),
    )
    return TradeOff(
        costs[:, 0],
        costs[:, 1],
        means["switch_ups"],
        find_front(costs),
        tuple(line for line, _ in lines),
        tuple(label for _, label in lines),
        (current,),
        _notes(result, along, lines[0][0], costs) if along is not None and lines else (),
    )


def _notes(
    result: SweepResult, along: int, line: IntColumn, costs: NDArray[np.float64]
) -> tuple[tuple[int, str], ...]:
    """Timeouts along a line: its ends and some between, evenly as the picture shows it."""
    steps = np.diff(costs[line], axis=0) / np.maximum(np.ptp(costs, axis=0), 1e-12)
    way = np.concatenate([[0.0], np.cumsum(np.hypot(*steps.T))])
    wanted = np.linspace(0.0, way[-1], _MOST_NOTES)
    chosen = line[np.unique(np.abs(way[:, None] - wanted).argmin(axis=0))]
    values = [(point, result.plan.points[point][along]) for point in chosen.tolist()]
    return tuple(
        (point, duration(float(value))) for point, value in values if isinstance(value, int | float)
    )


def trade_off(found: Recommendation) -> TradeOff:
    """Return every single setting on the replications fitted to, and the plans with their marks."""
    fit = found.fit
    everywhere = fit.allowed.all(axis=0)
    sums = {
        name: place_sums(fit, name).sum(axis=0)[everywhere]
        for name in ("energy_kwh", "dim_truck_s", "switch_ups")
    }
    costs = np.stack([sums["energy_kwh"], sums["dim_truck_s"]], axis=1)
    stated = found.trials[0]
    marks = tuple(
        Mark(
            label,
            float(stated.totals[name]["energy_kwh"].mean()),
            float(stated.totals[name]["dim_truck_s"].mean()),
        )
        for name, label in _plan_labels(found)
    )
    return TradeOff(costs[:, 0], costs[:, 1], sums["switch_ups"], find_front(costs), (), (), marks)


def _plan_labels(found: Recommendation) -> list[tuple[str, str]]:
    """Plans with their names for people, today's settings first."""
    words = {"single": "one setting", "groups": "by group", "aisles": "by aisle"}
    return [
        ("current", "as the scenario stands"),
        *((name, words[name]) for name in KINDS if name in found.plans),
    ]


@dataclass(frozen=True)
class SavingCurves:
    """Share saved against the timeout, a curve per value of the other keys.

    Attributes
    ----------
    key : of the horizontal axis
    across : its values (n,) of each curve
    mean, half_width : saved share of always on (n,) of each curve
    labels : of the curves
    left_out : curves not shown
    """

    key: str
    across: tuple[FloatColumn, ...]
    mean: tuple[FloatColumn, ...]
    half_width: tuple[FloatColumn, ...]
    labels: tuple[str, ...]
    left_out: int


def saving_curves(result: SweepResult) -> SavingCurves | None:
    """Return the saving over the first varied timeout, else over any other number; None without one."""
    along = _numeric_key(result, lambda key: key.endswith("timeout_s"))
    if along is None:
        along = _numeric_key(result, lambda key: True)
    if along is None:
        return None
    lines = _lines(result, along)
    if not lines:
        return None
    across, mean, half, labels = [], [], [], []
    for points, label in _spread_out(lines):
        estimates = [estimate_mean(result.outcomes["saved_share"][:, point].tolist()) for point in points]
        across.append(np.array([_number(result.plan.points[point][along]) for point in points]))
        mean.append(np.array([one.mean for one in estimates], dtype=np.float64))
        half.append(np.array([one.half_width or 0.0 for one in estimates], dtype=np.float64))
        labels.append(label)
    return SavingCurves(
        result.plan.keys[along],
        tuple(across),
        tuple(mean),
        tuple(half),
        tuple(labels),
        len(lines) - len(labels),
    )


def _number(value: Value) -> float:
    """A varied value that is known to be a number."""
    assert isinstance(value, int | float)
    return float(value)


@dataclass(frozen=True)
class AisleChoices:
    """What each aisle is given under one name of the timetable.

    Attributes
    ----------
    name : of the timetable
    visits_per_h : mean over the run (A,)
    timeout_s, unoccupied_level : chosen (A,)
    single_timeout_s : of the single setting, None without one
    """

    name: str
    visits_per_h: FloatColumn
    timeout_s: FloatColumn
    unoccupied_level: FloatColumn
    single_timeout_s: float | None


def aisle_choices(found: Recommendation) -> tuple[AisleChoices, ...]:
    """Return the plan by aisle beside each aisle's visits; () where there is none.

    Open areas are left out: visits are those of aisles.
    """
    plan = found.plans.get("aisles")
    if plan is None:
        return ()
    fit = found.fit
    starts = np.flatnonzero(np.diff(fit.zone_place, prepend=-1))
    flat = found.wish.flat
    rate = (fit.zone.visits / fit.zone.hours)[starts][: len(flat.places) - len(flat.area_names)]
    single = found.plans.get("single")
    choices = []
    for name in fit.names:
        own = [plan.settings_of(aisle)[name] for aisle in range(len(rate))]
        choices.append(
            AisleChoices(
                name,
                rate,
                np.array([one.timeout_s for one in own]),
                np.array([one.unoccupied_level for one in own]),
                None if single is None else single.settings[0][name].timeout_s,
            )
        )
    return tuple(choices)


@dataclass(frozen=True)
class ValueRow:
    """The aim's outcome of one plan.

    Attributes
    ----------
    label : of the plan
    estimate : on fresh replications as stated: simulation noise
    least, most : means over all stressed sites: what is not known about the site
    """

    label: str
    estimate: Estimate
    least: float
    most: float


def value_rows(found: Recommendation) -> tuple[ValueRow, ...]:
    """Return what each plan uses, from today's settings to one setting per aisle."""
    outcome = found.wish.aim.outcome
    rows = []
    for name, label in _plan_labels(found):
        means = [float(trial.totals[name][outcome].mean()) for trial in found.trials]
        estimate = estimate_mean(found.trials[0].totals[name][outcome].tolist())
        rows.append(ValueRow(label, estimate, min(means), max(means)))
    return tuple(rows)
