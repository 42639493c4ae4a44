"""Days and hours that the meter shows otherwise than predicted, and the questions that they raise.

Comes in: metered hours and simulated weeks of one circuit.  Goes out: `DayMisfit`s, `Pattern`s.  Before:
`verification/predict`; after: `verification/verify`.  Two looks: at single days, which must be far from the
simulated days and far from the other days; and at the whole period, in its quiet and in its busy hours,
where a fault that was always there hides from the first look.

References
----------
Iglewicz and Hoaglin, "How to Detect and Handle Outliers" (1993): (x - median) / (1.4826 MAD) above 3.5 (from
memory).  Bounds against the simulation are Student's t for one more value of n simulated ones, shared out
over all looks (Bonferroni), so that a meter that does what was simulated raises anything in at most
`FALSE_ALARM` of reports, as far as days are normally distributed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, IntColumn

__all__ = [
    "FALSE_ALARM", "LEAST_SAMPLES", "DayMisfit", "Pattern", "Question", "Watched", "When",
    "find_day_misfits", "find_patterns",
]

FALSE_ALARM = 0.01
"""Most reports on a sound site that raise a day; as many again may raise a pattern."""
LEAST_SAMPLES = 5
"""Simulated weeks below which a spread is not known well enough to judge a day by."""
_OUTLIER, _MAD = 3.5, 1.4826
_METER_CLASS = 0.01
"""Error of a meter that nobody should be asked about: 1 % of the reading (common practice, no source)."""
_LEAST_SHARE = 0.01
"""Share of the connected load below which a pattern is not worth a question."""
_QUIET, _BUSY = 0.1, 0.6
"""Where quiet hours end and busy ones begin, from the lowest predicted hour of the week to the highest."""
_AT_FULL, _EXPLAINS, _GONE = 0.97, 0.5, 0.5
_LEAST_HOURS, _LEAST_ALIKE = 20, 3

Question = Literal["stuck", "always_high", "part_gone", "more", "gone", "less"]
"""What to ask; in words in `show/words/verify`."""
When = Literal["all days", "Mon-Fri", "Sat", "Sun"]
BoolColumn = NDArray[np.bool_]


@dataclass(frozen=True)
class Watched:
    """One circuit's hours.

    Attributes
    ----------
    name, connected_kw : of the circuit
    wall_s : what the clock shows at the start of each hour [s since 1970] (n,)
    metered : [kWh], nan where not known (n,)
    simulated : the same hour in every simulated week [kWh] (samples, n)
    """

    name: str
    connected_kw: float
    wall_s: IntColumn
    metered: FloatColumn
    simulated: FloatColumn

    @property
    def predicted(self) -> FloatColumn:
        """Mean of the simulated weeks (n,)."""
        return np.asarray(self.simulated.mean(axis=0), dtype=np.float64)

    @property
    def is_quiet(self) -> BoolColumn:
        """Hours predicted within a tenth of the way from the lowest to the highest (n,)."""
        return self._height <= _QUIET

    @property
    def is_busy(self) -> BoolColumn:
        """Hours predicted in the upper part of that way (n,)."""
        return self._height >= _BUSY

    @property
    def _height(self) -> FloatColumn:
        """Place of each predicted hour between the lowest and the highest."""
        low, high = float(self.predicted.min()), float(self.predicted.max())
        return (self.predicted - low) / (high - low) if high > low else np.zeros(len(self.predicted))


@dataclass(frozen=True)
class DayMisfit:
    """A day that does not fit.

    Attributes
    ----------
    circuit : its name
    day : days since 1970
    metered_kwh, predicted_kwh : of the hours known
    score : residual over the spread of simulated days, the meter's class included
    bound : of the score
    hours : clock hours that explain it: with at least half of the day's largest difference (h,)
    question : what to ask
    """

    circuit: str
    day: int
    metered_kwh: float
    predicted_kwh: float
    score: float
    bound: float
    hours: tuple[int, ...]
    question: Question


@dataclass(frozen=True)
class Pattern:
    """Something that holds for the whole period.

    Attributes
    ----------
    circuit : its name
    where : in quiet or in busy hours
    when : on which days
    metered_kw, predicted_kw : mean load in them
    bound_kw : difference that chance and meter explain
    connected_kw : of the circuit
    hours : clock hours in which these hours lie most often (h,)
    question : what to ask
    """

    circuit: str
    where: Literal["quiet", "busy"]
    when: When
    metered_kw: float
    predicted_kw: float
    bound_kw: float
    connected_kw: float
    hours: tuple[int, ...]
    question: Question


def _bound(samples: int, looks: int) -> float:
    """Student's t of one look among many."""
    from scipy.special import stdtrit

    return max(_OUTLIER, float(stdtrit(samples - 1, 1.0 - FALSE_ALARM / (2.0 * looks))))


def find_day_misfits(circuits: Sequence[Watched]) -> tuple[DayMisfit, ...]:
    """Return the days that fit neither the simulation nor the other days.

    Parameters
    ----------
    circuits : measured ones; of one meter

    Notes
    -----
    With residual r, simulated standard deviation s of n days of this kind and c the meter's class, the score
    is u = r / sqrt(s^2 (1 + 1/n) + (c m)^2).  A day is told where |u| passes Student's bound and also
    |u - median| passes 3.5 times 1.4826 the median of all |u - median| (at least 1); the median is that of
    the days of its weekday, of all days where there are less than three.
    """
    looks = sum(len(np.unique(one.wall_s // 86_400)) for one in circuits)
    return tuple(misfit for one in circuits for misfit in _circuit_days(one, looks))


def _circuit_days(one: Watched, looks: int) -> list[DayMisfit]:
    """The days of one circuit."""
    samples = len(one.simulated)
    known = ~np.isnan(one.metered)
    day = one.wall_s // 86_400
    days, counts = np.unique(day[known], return_counts=True)
    days = days[counts >= _LEAST_HOURS]
    if samples < LEAST_SAMPLES or not len(days):
        return []
    rows = [np.flatnonzero(known & (day == number)) for number in days]
    metered = np.array([one.metered[row].sum() for row in rows])
    simulated = np.stack([one.simulated[:, row].sum(axis=1) for row in rows], axis=1)
    predicted = simulated.mean(axis=0)
    spread = np.sqrt(
        simulated.var(axis=0, ddof=1) * (1.0 + 1.0 / samples) + (_METER_CLASS * predicted) ** 2
    )
    score = (metered - predicted) / np.where(spread > 0.0, spread, 1.0)
    weekday = (days + 3) % 7
    alike = [weekday == number for number in weekday]
    middle = np.array([np.median(score[one] if one.sum() >= _LEAST_ALIKE else score) for one in alike])
    usual = max(1.0, _MAD * float(np.median(np.abs(score - middle))))
    bound = _bound(samples, looks)
    is_out = (np.abs(score) > bound) & (np.abs(score - middle) > _OUTLIER * usual)
    return [
        _explain(one, rows[place], float(score[place]), bound) for place in np.flatnonzero(is_out).tolist()
    ]


def _explain(one: Watched, row: IntColumn, score: float, bound: float) -> DayMisfit:
    """Find the hours that make most of a day's difference."""
    residual = np.sign(score) * (one.metered[row] - one.predicted[row])
    chosen = row[residual >= _EXPLAINS * residual.max()]
    hours = tuple(sorted({int(hour) for hour in one.wall_s[chosen] % 86_400 // 3600}))
    return DayMisfit(
        circuit=one.name,
        day=int(one.wall_s[row[0]] // 86_400),
        metered_kwh=float(one.metered[row].sum()),
        predicted_kwh=float(one.predicted[row].sum()),
        score=score,
        bound=bound,
        hours=hours,
        question=_ask(one, chosen, score > 0.0),
    )


def _ask(one: Watched, rows: IntColumn, is_more: bool) -> Question:
    """Choose what to ask about some hours."""
    metered, predicted = one.metered[rows], one.predicted[rows]
    lowest = float(one.predicted.min())
    if is_more:
        if np.mean(metered >= _AT_FULL * one.connected_kw) > 0.5:
            return "always_high"
        return "stuck" if np.mean(one.is_quiet[rows]) > 0.5 else "more"
    if np.mean(metered < _GONE * lowest) > 0.5:
        return "gone"
    return "part_gone" if float(metered.mean()) < min(lowest, float(predicted.mean())) else "less"


def find_patterns(circuits: Sequence[Watched]) -> tuple[Pattern, ...]:
    """Return what the whole period shows in its quiet and its busy hours.

    Parameters
    ----------
    circuits : measured ones; of one meter

    Notes
    -----
    The median over days of the mean residual in the hours of one sort, so that one odd day is no pattern, is
    compared with Student's bound times the spread of that mean over simulated weeks (pi/2 the variance of a
    mean, as for the median of normal values), for the weeks that were metered and for those simulated, and
    with 1 % of the connected load besides.  Where all days together show nothing, workdays, Saturdays and
    Sundays are looked at by themselves.
    """
    found: list[Pattern] = []
    sorts: tuple[Literal["quiet", "busy"], ...] = ("quiet", "busy")
    kinds: tuple[When, ...] = ("Mon-Fri", "Sat", "Sun")
    looks = len(sorts) * (len(kinds) + 1) * len(circuits)
    for one in circuits:
        for where in sorts:
            pattern = _pattern(one, where, "all days", looks)
            if pattern is not None:
                found.append(pattern)
                continue
            patterns = [_pattern(one, where, when, looks) for when in kinds]
            found += [pattern for pattern in patterns if pattern is not None]
    return tuple(found)


def _pattern(one: Watched, where: Literal["quiet", "busy"], when: When, looks: int) -> Pattern | None:
    """One sort of hours of one circuit, on some days."""
    samples = len(one.simulated)
    inside = (one.is_quiet if where == "quiet" else one.is_busy) & ~np.isnan(one.metered)
    weekday = (one.wall_s // 86_400 + 3) % 7
    if when != "all days":
        inside &= {"Mon-Fri": weekday < 5, "Sat": weekday == 5, "Sun": weekday == 6}[when]
    rows = np.flatnonzero(inside)
    if samples < LEAST_SAMPLES or len(rows) < _LEAST_HOURS:
        return None
    weeks = max(1.0, len(np.unique(one.wall_s // 86_400)) / 7.0)
    residual = one.metered[rows] - one.predicted[rows]
    place = np.unique(one.wall_s[rows] // 86_400, return_inverse=True)[1]
    by_day = np.bincount(place, weights=residual) / np.bincount(place)
    predicted = float(one.predicted[rows].mean())
    metered = predicted + float(np.median(by_day))
    spread = float(one.simulated[:, rows].mean(axis=1).std(ddof=1))
    chance = spread * np.sqrt(np.pi / 2.0 / weeks + 1.0 / samples)
    bound = float(np.hypot(_bound(samples, looks) * chance, _METER_CLASS * predicted))
    bound = bound + _LEAST_SHARE * one.connected_kw
    if abs(metered - predicted) <= bound:
        return None
    clock = one.wall_s[rows] % 86_400 // 3600
    counts = np.bincount(clock, minlength=24)
    hours = tuple(np.flatnonzero(counts >= 0.5 * counts.max()).tolist())
    return Pattern(
        circuit=one.name,
        where=where,
        when=when,
        metered_kw=metered,
        predicted_kw=predicted,
        bound_kw=bound,
        connected_kw=one.connected_kw,
        hours=hours,
        question=_ask(one, rows, metered > predicted),
    )
