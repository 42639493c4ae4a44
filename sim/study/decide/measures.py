"""What limits are set on: an additive outcome of the run, per visit, per day, per hour or per zone-hour.

Comes in: names such as `dim_truck_s_per_visit`.  Goes out: `Measure`, which turns sums of outcomes into the
figure and back.  Before: `outcome/names`; after: `study/decide/wish`, `study/decide/recommend`.

A measure is a ratio of means over replications (all seconds over all visits, not a mean of ratios), so that
a limit on it is linear in the outcomes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from sim.outcome.names import OUTCOMES
from sim.records import FloatColumn
from sim.wording import nearest_text

__all__ = ["Base", "Limit", "Measure", "MeasureError", "Scope", "measure_names", "parse_measure"]

Per = Literal["", "visit", "day", "hour", "zone_hour"]
Scope = Literal["site", "zone", "hour"]

_SUFFIXES: tuple[tuple[str, Per], ...] = (
    ("_per_zone_hour", "zone_hour"),
    ("_per_visit", "visit"),
    ("_per_day", "day"),
    ("_per_hour", "hour"),
)
_ADDITIVE = tuple(name for name, outcome in OUTCOMES.items() if outcome.is_additive)
_PER_WORDS = {
    "": "",
    "visit": "per visit",
    "day": "per day",
    "hour": "per hour",
    "zone_hour": "per zone and hour",
}


class MeasureError(ValueError):
    """The name is no measure; the message says what would be."""


@dataclass(frozen=True)
class Base:
    """What sums are divided by; of the site or of one part of it.

    Attributes
    ----------
    visits : in the mean of the replications (...)
    days, hours : of the run that the part covers (...)
    zones : control zones of the part
    """

    visits: FloatColumn
    days: FloatColumn
    hours: FloatColumn
    zones: FloatColumn


@dataclass(frozen=True)
class Measure:
    """An outcome and what it is divided by.

    Attributes
    ----------
    name : as given
    outcome : one that adds up
    per : what it is divided by, "" for the run's total
    """

    name: str
    outcome: str
    per: Per

    def divisor(self, base: Base) -> FloatColumn:
        """Return what the outcome's sum is divided by, in the shape of the base."""
        if self.per == "visit":
            return base.visits
        if self.per == "day":
            return base.days
        if self.per == "hour":
            return base.hours
        if self.per == "zone_hour":
            return base.hours * base.zones
        return np.ones_like(base.visits)

    @property
    def unit(self) -> str:
        """Unit for people, "" for a plain count."""
        own = OUTCOMES[self.outcome].unit.replace("-", "")
        return " ".join(word for word in (own, _PER_WORDS[self.per]) if word)


@dataclass(frozen=True)
class Limit:
    """The most a measure may be.

    Attributes
    ----------
    measure : what is limited
    most : largest value allowed
    scope : the whole site, every control zone, or every hour of the day
    margin : share of it that a plan must have to spare on the replications it is fitted to
    """

    measure: Measure
    most: float
    scope: Scope
    margin: float = 0.0

    @property
    def fitted(self) -> float:
        """Largest value that a plan may have where it is fitted."""
        return self.most * (1.0 - self.margin)


def measure_names() -> tuple[str, ...]:
    """Return the name of every measure."""
    return (*_ADDITIVE, *(stem + suffix for stem in _ADDITIVE for suffix, _ in _SUFFIXES))


def parse_measure(name: str) -> Measure:
    """Read the name of a measure.

    Raises
    ------
    MeasureError : unknown, or the outcome does not add up over zones

    Examples
    --------
    >>> parse_measure("switch_ups_per_zone_hour")
    Measure(name='switch_ups_per_zone_hour', outcome='switch_ups', per='zone_hour')
    """
    if name in _ADDITIVE:
        return Measure(name, name, "")
    for suffix, per in _SUFFIXES:
        stem = name.removesuffix(suffix)
        if stem != name:
            if stem in _ADDITIVE:
                return Measure(name, stem, per)
            break
    else:
        stem = name
    if stem in OUTCOMES:
        raise MeasureError(
            "does not add up over zones, so that it cannot be limited here; it is computed for the result"
        )
    raise MeasureError(
        f"is not a measure{nearest_text(name, measure_names())}; a measure is an additive outcome (such as "
        "dim_truck_s, "
        "shortfall_truck_s, false_offs, switch_ups), alone or with _per_visit, _per_day, _per_hour or "
        "_per_zone_hour"
    )
