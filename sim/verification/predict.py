"""What the scenario predicts for each hour of the week of each circuit, and how that spreads.

Comes in: a scenario, circuits, dates.  Goes out: `Forecast`.  Before: `replication`,
`study/year/special_weeks`, `study/engine`; after: `verification/verify`.  The run's whole weeks are laid over
the week, so that dates outside the run can be predicted; dates unlike the week (holidays, exceptions, special
weeks, months under skylights) are simulated as what they are.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sim.errors import InputError
from sim.floor.layout import Layout
from sim.lighting.power import PowerCurve, power_curve
from sim.records import FloatColumn, IntColumn
from sim.replication import prepare_site, simulate_and_light
from sim.results import Levels
from sim.scenario.holiday_dates import public_holidays
from sim.scenario.schema import Scenario
from sim.scenario.tables.week import DayException
from sim.study.engine import map_in_order
from sim.study.year.special_weeks import special_scenario
from sim.units import JOULES_PER_KWH, SECONDS_PER_HOUR
from sim.verification.circuits import Circuit

__all__ = [
    "HOURS_A_WEEK", "Forecast", "Like", "forecast", "hour_of_week", "hourly_kwh", "like_of", "like_scenario",
]

HOURS_A_WEEK = 168
Progress = Callable[[int, int | None], None]


@dataclass(frozen=True)
class Like:
    """What kind of day a date is.

    Attributes
    ----------
    weeks : position among the scenario's special weeks, None for the run's own
    exception : position among its exceptions, None where the timetable holds
    is_holiday : without shifts and work
    month : (year, month) under a skylight, None where the month makes no difference
    """

    weeks: int | None = None
    exception: int | None = None
    is_holiday: bool = False
    month: tuple[int, int] | None = None


@dataclass(frozen=True)
class Forecast:
    """Simulated weeks by kind of day.

    Attributes
    ----------
    replications, weeks : how many
    kwh : by kind: energy of each hour of the week from Monday 00:00
        (replications, weeks, 168, circuits) [kWh]
    """

    replications: int
    weeks: int
    kwh: Mapping[Like, FloatColumn]

    def samples(self, like: Like) -> FloatColumn:
        """Return every simulated week of one kind (replications x weeks, 168, circuits)."""
        return self.kwh[like].reshape(-1, *self.kwh[like].shape[2:])

    def by_replication(self, like: Like) -> FloatColumn:
        """Return each replication's mean week of one kind (replications, 168, circuits)."""
        return np.asarray(self.kwh[like].mean(axis=1), dtype=np.float64)


def hourly_kwh(levels: Levels, curve: PowerCurve, dimmed: int, fixed: int, edges: FloatColumn) -> FloatColumn:
    """Return the energy of one zone between edges, exact through fades [kWh] (h,).

    Parameters
    ----------
    levels : the zone's light
    curve, dimmed, fixed : power of a luminaire; luminaires that dim and that never do
    edges : ascending, within the run [s] (h + 1,)
    """
    start = np.unique(np.concatenate([levels.start, edges]))
    start = start[(start >= edges[0]) & (start < edges[-1])]
    end = np.append(start[1:], edges[-1])
    row = np.searchsorted(levels.start, start, side="right") - 1
    span = levels.end[row] - levels.start[row]
    rise = (levels.end_level[row] - levels.start_level[row]) / np.where(span > 0.0, span, 1.0)
    first = levels.start_level[row] + rise * (start - levels.start[row])
    last = levels.start_level[row] + rise * (end - levels.start[row])
    joules = (dimmed * curve.mean_power(first, last) + fixed * curve.full_w) * (end - start)
    hour = np.searchsorted(edges, start, side="right") - 1
    return np.bincount(hour, weights=joules, minlength=len(edges) - 1) / JOULES_PER_KWH


def like_of(scenario: Scenario, date: dt.date) -> Like:
    """Return what kind of day a date is."""
    weeks = [
        place
        for place, one in enumerate(scenario.year_weeks or ())
        if any(first <= date <= last for first, last in one.spans)
    ]
    exceptions = [place for place, one in enumerate(scenario.exceptions or ()) if date in one.dates]
    is_holiday = date in scenario.holidays
    if scenario.holidays_country is not None:
        is_holiday |= date in public_holidays(scenario.holidays_country, [date.year])
    return Like(
        weeks=weeks[0] if weeks else None,
        exception=exceptions[0] if exceptions else None,
        is_holiday=is_holiday,
        month=None if scenario.skylight is None else (date.year, date.month),
    )


def like_scenario(scenario: Scenario, like: Like) -> Scenario:
    """Return the scenario whose every day is of one kind; weekdays stay, dates do not matter.

    Under a skylight the run is moved into the month, to the first date of its own weekday.
    """
    made = scenario.model_copy(update={"exceptions": None, "holidays": (), "holidays_country": None})
    if like.month is not None:
        start = made.start_datetime
        first = dt.date(*like.month, 1)
        first += dt.timedelta(days=(start.weekday() - first.weekday()) % 7)
        made = made.model_copy(update={"start": dt.datetime.combine(first, start.time())})
    if like.weeks is not None and scenario.year_weeks:
        made = special_scenario(made, scenario.year_weeks[like.weeks])
    made = made.model_copy(update={"year_weeks": None})
    first = made.start_datetime.date()
    dates = tuple(first + dt.timedelta(days=day) for day in range(-1, int(made.days) + 3))
    if like.exception is not None and scenario.exceptions:
        exception = scenario.exceptions[like.exception]
        every_day = DayException(dates=dates, settings=exception.settings, as_day=exception.as_day)
        made = made.model_copy(update={"exceptions": (every_day,)})
    return made.model_copy(update={"holidays": dates}) if like.is_holiday else made


def _one(argument: tuple[Scenario, int, tuple[Circuit, ...]]) -> FloatColumn:
    """Simulate one replication (weeks, 168, circuits)."""
    scenario, number, circuits = argument
    site = prepare_site(scenario)
    look = simulate_and_light(site, number)[2]
    weeks = int(scenario.days // 7)
    edges = np.arange(weeks * HOURS_A_WEEK + 1, dtype=np.float64) * SECONDS_PER_HOUR
    dimmed = _zones_kwh(site.layout, look.levels, edges, "dimmed")
    fixed = _zones_kwh(site.layout, look.levels, edges, "fixed")
    zones = {"all": dimmed + fixed, "dimmed": dimmed, "fixed": fixed}
    kwh = np.stack([zones[one.feeds][list(one.zones)].sum(axis=0) for one in circuits], axis=1)
    first = scenario.start_datetime.weekday() * 24 + scenario.start_datetime.hour
    return np.roll(kwh.reshape(weeks, HOURS_A_WEEK, len(circuits)), first, axis=1)


def _zones_kwh(layout: Layout, levels: Sequence[Levels], edges: FloatColumn, kind: str) -> FloatColumn:
    """Energy of one kind of every zone's luminaires between edges (Z, h)."""
    return np.stack(
        [
            hourly_kwh(
                levels[zone],
                power_curve(layout.place_luminaires[place]),
                int(layout.dimmed[zone]) if kind == "dimmed" else 0,
                int(layout.fixed[zone]) if kind == "fixed" else 0,
                edges,
            )
            for zone, place in enumerate(layout.zone_place.tolist())
        ]
    )


def forecast(
    scenario: Scenario,
    circuits: Sequence[Circuit],
    dates: Sequence[dt.date],
    *,
    replications: int | None = None,
    workers: int = 1,
    progress: Progress | None = None,
) -> tuple[Forecast, Mapping[dt.date, Like]]:
    """Simulate every kind of day that some dates hold.

    Parameters
    ----------
    scenario : of at least a week, beginning on a whole hour
    circuits : what is added up
    dates : to be predicted
    replications : instead of the scenario's
    workers : processes; the figures do not depend on their number
    progress : called with replications done and expected

    Raises
    ------
    InputError : the run holds no whole week, or does not begin on a whole hour
    """
    start = scenario.start_datetime
    if scenario.days < 7.0:
        raise InputError(
            f"days: {scenario.days:g}: a prediction by the hour of the week needs at least 7 [d]"
        )
    if start.minute or start.second or start.microsecond:
        raise InputError(f"start: {start:%H:%M:%S} is not a whole hour, which a prediction by the hour needs")
    likes = {date: like_of(scenario, date) for date in dates}
    kinds = list(dict.fromkeys(likes.values()))
    count = scenario.replications if replications is None else replications
    tell = progress or (lambda done, expected: None)
    arguments = (
        (made, number, tuple(circuits))
        for made in (like_scenario(scenario, kind) for kind in kinds)
        for number in range(count)
    )
    found: list[FloatColumn] = []
    tell(0, count * len(kinds))
    for answer in map_in_order(_one, arguments, workers):
        found.append(answer)
        tell(len(found), count * len(kinds))
    weeks = int(scenario.days // 7)
    table = {
        kind: np.stack(found[place * count : (place + 1) * count]) for place, kind in enumerate(kinds)
    }
    return Forecast(count, weeks, table), likes


def hour_of_week(wall_s: IntColumn) -> IntColumn:
    """Return the hour of the week from Monday 00:00 of local clock times (n,)."""
    return ((wall_s // 86_400 + 3) % 7) * 24 + wall_s % 86_400 // 3600
