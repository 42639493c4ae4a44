"""What a reader wants to know, as numbers: savings against each baseline, rates, visits that went dim.

Comes in: a `Result`.  Goes out: estimates and counts.  Before: `sim.results`; after: `show/words/answers`,
`show/words/headline`, `show/reports/run`.  Differences and shares are formed within each replication, then
averaged.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from sim.outcome.names import OUTCOMES
from sim.records import FloatColumn
from sim.results import Estimate, Result
from sim.study.replications.precision import estimate_mean

__all__ = [
    "BASELINES",
    "BlindStretch",
    "Saving",
    "blind_stretch",
    "estimate_of",
    "estimate_ratio",
    "in_open_areas",
    "knows_visits",
    "savings",
    "zone_day_rates",
]

BASELINES: tuple[tuple[str, str], ...] = (
    ("always_on_kwh", "always on"),
    ("schedule_only_kwh", "schedule only"),
    ("code_minimum_kwh", "code minimum"),
)
"""Outcome and plain name of each baseline, the greatest first."""

WARN_SHARE = 0.5
SLACK_S = 1.0
"""A visit counts as gone dim when it was dim this much longer than the lights need to come up."""


@dataclass(frozen=True)
class Saving:
    """Energy saved against one baseline on the same traffic; negative where more is used.

    Attributes
    ----------
    name : of the baseline
    meaning : what it stands for
    baseline_kwh, saved_kwh : [kWh]
    saved_share : of the baseline [-]
    """

    name: str
    meaning: str
    baseline_kwh: Estimate
    saved_kwh: Estimate
    saved_share: Estimate


@dataclass(frozen=True)
class BlindStretch:
    """Visits of the first replication by whether a sensor covers the bay they worked at.

    Attributes
    ----------
    covered_share : mean share of an aisle's length that some sensor of the right zone covers
    blind, seen : visits whose bay no sensor covers, and the others
    blind_dim, seen_dim : of these, visits in dim light for longer than the lights need to come up
    """

    covered_share: float
    blind: int
    seen: int
    blind_dim: int
    seen_dim: int

    @property
    def is_warning(self) -> bool:
        """Whether most visits in the blind stretch went dim."""
        return self.blind > 0 and self.blind_dim > WARN_SHARE * self.blind


def knows_visits(result: Result) -> bool:
    """Tell whether truck outcomes are known."""
    return result.close_look.visits is not None


def estimate_of(result: Result, name: str) -> Estimate:
    """Return mean and interval of one outcome's site total; of an unknown one, Nones."""
    return result.headline.get(name, Estimate(None, None))


def estimate_ratio(result: Result, top: str, bottom: str, scale: float = 1.0) -> Estimate:
    """Return mean and interval of a ratio of two outcomes, formed in each replication; 0 over 0 is 0."""

    def ratio(total: dict[str, float]) -> float:
        return scale * total[top] / total[bottom] if total[bottom] != 0.0 else 0.0 * total[top]

    return _estimate(result, ratio)


def savings(result: Result) -> tuple[Saving, ...]:
    """Return what is saved against always on, schedule only and the code minimum."""
    return tuple(_saving(result, key, name) for key, name in BASELINES)


def in_open_areas(result: Result, name: str) -> Estimate:
    """Return an additive outcome of the open areas alone."""
    first = result.layout.zones_in_aisles
    return estimate_mean([float(outcome.zones[name][first:].sum()) for outcome in result.outcomes])


def _saving(result: Result, key: str, name: str) -> Saving:
    """Saving against one baseline."""
    return Saving(
        name=name,
        meaning=OUTCOMES[key].meaning,
        baseline_kwh=estimate_of(result, key),
        saved_kwh=_estimate(result, lambda total: total[key] - total["energy_kwh"]),
        saved_share=_estimate(
            result, lambda total: 1.0 - total["energy_kwh"] / total[key] if total[key] > 0.0 else 0.0
        ),
    )


def zone_day_rates(result: Result, name: str) -> tuple[Estimate, str, float]:
    """Return how often something happens per zone and day, the zone where most often, and its rate."""
    days = result.scenario.days
    rate = _estimate(result, lambda total: total[name] / (len(result.layout.zones) * days))
    by_zone: FloatColumn = np.mean([outcome.zones[name] for outcome in result.outcomes], axis=0) / days
    most = int(np.nanargmax(by_zone)) if not np.isnan(by_zone).all() else 0
    return rate, result.layout.zones[most], float(by_zone[most])


def blind_stretch(result: Result) -> BlindStretch | None:
    """Return how visits fared at bays that no sensor covers; None where places are not known.

    A sensor covers position +- range within its own zone.
    """
    look, layout = result.close_look, result.layout
    if look.visits is None or look.dim_visit_s is None:
        return None
    visits = look.visits
    known = np.isfinite(visits.bay_m)
    if not known.any():
        return None
    aisle, bay = visits.aisle[known], visits.bay_m[known]
    part = np.floor(bay * layout.zones_per_aisle / layout.length_m[aisle]).astype(np.int64)
    zone = layout.zone_at(aisle, np.clip(part, 0, layout.zones_per_aisle - 1))
    is_seen = np.zeros(len(bay), dtype=bool)
    reach = layout.sensor_values("range_m")[layout.sensor_aisle]
    for sensor, (home, place) in enumerate(zip(layout.sensor_zone, layout.sensor_m, strict=True)):
        is_mine = (zone == home) & (aisle == layout.sensor_aisle[sensor])
        is_seen |= is_mine & (np.abs(bay - place) <= reach[sensor])
    is_dim = look.dim_visit_s[known] > _coming_up_s(result)[known] + SLACK_S
    return BlindStretch(
        covered_share=float(np.mean(_covered_shares(result))),
        blind=int((~is_seen).sum()),
        seen=int(is_seen.sum()),
        blind_dim=int((~is_seen & is_dim).sum()),
        seen_dim=int((is_seen & is_dim).sum()),
    )


def _coming_up_s(result: Result) -> FloatColumn:
    """Latency and fade-up in force when each visit entered [s] (n visits,)."""
    visits = result.close_look.visits
    assert visits is not None
    needed = np.zeros(len(visits))
    where = result.layout.aisle_place[visits.aisle]
    for place, program in enumerate(result.programs):
        here = where == place
        period = np.searchsorted(program.border[1:-1], visits.enter[here], side="right")
        needed[here] = program.latency_s + program.fade_up_s[period]
    return needed


def _covered_shares(result: Result) -> FloatColumn:
    """Share of each stretch of aisle in one zone that its own sensors cover (stretches,)."""
    layout = result.layout
    reach = layout.sensor_values("range_m")[layout.sensor_aisle]
    shares = []
    pairs = [(aisle, zone) for aisle in range(len(layout.aisles)) for zone in layout.zones_of(aisle)]
    for aisle, zone in pairs:
        near, far = layout.stretch(aisle, zone)
        own = np.flatnonzero((layout.sensor_zone == zone) & (layout.sensor_aisle == aisle))
        until, covered = near, 0.0
        for sensor in own[np.argsort(layout.sensor_m[own])]:
            first = max(until, layout.sensor_m[sensor] - reach[sensor])
            last = min(far, layout.sensor_m[sensor] + reach[sensor])
            if last > first:
                covered, until = covered + last - first, last
        shares.append(covered / (far - near))
    return np.array(shares)


def _estimate(result: Result, figure: Callable[[dict[str, float]], float]) -> Estimate:
    """Mean and interval over replications of a figure formed from each one's totals."""
    return estimate_mean([float(figure(dict(outcome.total))) for outcome in result.outcomes])

