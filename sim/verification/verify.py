"""A meter set beside the simulation: agreement, metered saving, what does not fit.

Comes in: a scenario, a meter's hours, perhaps those of a baseline.  Goes out: `Verification`.  Before:
`verification/predict`, `verification/agree`, `verification/option_b`, `verification/misfits`; after:
`show/words/verify`, `show/figures/verify`.  Only measured columns are judged for faults, and only they prove.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from sim.errors import InputError
from sim.floor.layout import lay_out
from sim.notebook import html_table, plus_minus
from sim.records import FloatColumn, IntColumn
from sim.results import Estimate
from sim.rounding import digits
from sim.scenario.schema import Scenario
from sim.study.replications.precision import estimate_mean
from sim.verification.agree import Agreement, agree
from sim.verification.circuits import Circuit, map_circuits, whole_of
from sim.verification.meter import Column, Kind, Meter
from sim.verification.misfits import DayMisfit, Pattern, Watched, find_day_misfits, find_patterns
from sim.verification.option_b import Days, Saving, metered_saving
from sim.verification.predict import Forecast, Like, forecast, hour_of_week, like_of
from sim.wording import nearest_text

__all__ = ["WHOLE", "Series", "Steps", "Verification", "verify_meter"]

WHOLE = "all measured"
"""Name of the sum."""
_EPOCH = dt.date(1970, 1, 1)
_LEAST_MONTH_H = 480
"""Hours known from which a month counts as one: 20 days."""
Progress = Callable[[int, int | None], None]


@dataclass(frozen=True)
class Steps:
    """Days or months.

    Attributes
    ----------
    first : date of the day, or of the month's first (k,)
    hours : hours known in it (k,)
    is_whole : whether every hour of a day is known; of a month, whether it counts as one (k,)
    metered, predicted : energy of the hours known [kWh] (k,)
    spread : standard deviation of that energy over simulated weeks, nan for months [kWh] (k,)
    """

    first: tuple[dt.date, ...]
    hours: IntColumn
    is_whole: tuple[bool, ...]
    metered: FloatColumn
    predicted: FloatColumn
    spread: FloatColumn


@dataclass(frozen=True)
class Series:
    """One circuit, or several added up, in the reporting period.

    Attributes
    ----------
    circuit : name, zones, connected load
    kind : measured or calculated; a sum is measured
    wall_s : what the clock shows at the start of each hour [s since 1970] (n,)
    metered : [kWh], nan where not known (n,)
    simulated : the same hour in every simulated week [kWh] (samples, n)
    predicted_kwh : of the hours known, with the interval over replications
    days, months : the same hours added up
    agreements : by hour, day and month
    saving : against the baseline period, None without one
    """

    circuit: Circuit
    kind: Kind
    wall_s: IntColumn
    metered: FloatColumn
    simulated: FloatColumn
    predicted_kwh: Estimate
    days: Steps
    months: Steps
    agreements: tuple[Agreement, ...]
    saving: Saving | None

    @property
    def predicted(self) -> FloatColumn:
        """Mean over simulated weeks (n,)."""
        return np.asarray(self.simulated.mean(axis=0), dtype=np.float64)


@dataclass(frozen=True)
class Verification:
    """Everything that a meter shows.

    Attributes
    ----------
    scenario : that predicts
    where : the meter's file
    interval_s : of the file
    period, baseline_period : first and last local date; None without a baseline
    replications, weeks : simulated
    series : the meter's columns
    whole : what is measured in all, None where only one column is or where columns overlap
    days, patterns : what does not fit
    warnings : about the files
    accuracy : limit of error of the meters, share of the reading
    """

    scenario: Scenario
    where: str
    interval_s: int
    period: tuple[dt.date, dt.date]
    baseline_period: tuple[dt.date, dt.date] | None
    replications: int
    weeks: int
    series: tuple[Series, ...]
    whole: Series | None
    days: tuple[DayMisfit, ...]
    patterns: tuple[Pattern, ...]
    warnings: tuple[str, ...]
    accuracy: float

    @property
    def main(self) -> Series:
        """The series that speaks for the site: the sum, or the widest measured column, or the first."""
        if self.whole is not None:
            return self.whole
        measured = [one for one in self.series if one.kind == "measured"] or list(self.series)
        return max(measured, key=lambda one: len(one.circuit.zones))

    def _repr_html_(self) -> str:
        """Show what each circuit's meter read beside the prediction as a table in a notebook."""
        rows = []
        for one in (*([] if self.whole is None else [self.whole]), *self.series):
            metered = digits(float(np.nansum(one.metered)))
            predicted = plus_minus(one.predicted_kwh.mean, one.predicted_kwh.half_width)
            saved = "" if one.saving is None else plus_minus(one.saving.kwh, one.saving.half_width_kwh(0.9))
            rows.append((one.circuit.name, one.kind, metered, predicted, saved))
        header = ("circuit", "kind", "metered [kWh]", "predicted [kWh]", "metered saving [kWh]")
        remark = (
            f"{self.period[0]} to {self.period[1]}; {self.replications} replications; ±: half-width, 95 % of "
            "the prediction, 90 % of the saving; what is calculated proves nothing"
        )
        return html_table(f"{self.scenario.title}: {self.where}", header, rows, (remark, *self.warnings))


def verify_meter(
    scenario: Scenario,
    meter: Meter,
    *,
    baseline: Meter | None = None,
    stated: Mapping[str, Sequence[str]] | None = None,
    accuracy: float = 0.0,
    replications: int | None = None,
    workers: int = 1,
    progress: Progress | None = None,
) -> Verification:
    """Set a meter beside the simulation.

    Parameters
    ----------
    scenario : as built, in the reporting period
    meter : of the reporting period
    baseline : of a time before the measure, with columns of the same names
    stated : zones or aisles by the name of their circuit
    accuracy : limit of error of the meters, share of the reading
    replications, workers, progress : of the simulation

    Raises
    ------
    InputError : no hour is known, a column has no zones, the periods overlap
    """
    layout = lay_out(scenario)
    names = [column.name for column in meter.columns]
    circuits = map_circuits(layout, names, stated or {}, scenario.circuits or ())
    if not len(meter) or all(np.isnan(column.kwh).all() for column in meter.columns):
        raise InputError(f"{meter.where}: no whole hour of the reporting period is known")
    if baseline is not None:
        _check_baseline(meter, baseline)
    dates = [_EPOCH + dt.timedelta(days=number) for number in np.unique(meter.day).tolist()]
    simulated, likes = forecast(
        scenario, circuits, dates, replications=replications, workers=workers, progress=progress
    )
    rows = _Rows(scenario, meter, simulated, likes, baseline, accuracy)
    series = tuple(
        _series(rows, circuit, column, (place,))
        for place, (circuit, column) in enumerate(zip(circuits, meter.columns, strict=True))
    )
    measured = [place for place, one in enumerate(series) if one.kind == "measured"]
    together = [measured[place] for place in whole_of([circuits[one] for one in measured], len(layout.zones))]
    whole = None
    if len(together) > 1:
        circuit = Circuit(
            WHOLE,
            tuple(sorted({zone for place in together for zone in circuits[place].zones})),
            "all",
            sum(circuits[place].connected_kw for place in together),
        )
        energy = np.sum([meter.columns[place].kwh for place in together], axis=0)
        whole = _series(rows, circuit, Column(WHOLE, "measured", energy), tuple(together))
    watched = [
        Watched(one.circuit.name, one.circuit.connected_kw, one.wall_s, one.metered, one.simulated)
        for one in series
        if one.kind == "measured"
    ]
    warnings = [f"{meter.where}: {text}" for text in meter.warnings]
    if baseline is not None and baseline.where != meter.where:
        warnings += [f"{baseline.where}: {text}" for text in baseline.warnings]
    return Verification(
        scenario=scenario,
        where=meter.where,
        interval_s=meter.interval_s,
        period=meter.dates(),
        baseline_period=None if baseline is None else baseline.dates(),
        replications=simulated.replications,
        weeks=simulated.weeks,
        series=series,
        whole=whole,
        days=find_day_misfits(watched),
        patterns=find_patterns(watched),
        warnings=tuple(warnings),
        accuracy=accuracy,
    )


def _check_baseline(meter: Meter, baseline: Meter) -> None:
    """Refuse a baseline that overlaps the reporting period or lacks every column."""
    if not len(baseline):
        raise InputError(f"{baseline.where}: holds no hour of the baseline period")
    if baseline.dates()[0] <= meter.dates()[1] and meter.dates()[0] <= baseline.dates()[1]:
        raise InputError(
            f"the baseline ({_span(baseline)}) overlaps the reporting period ({_span(meter)}); say "
            "--baseline FROM..TO and --period FROM..TO with other dates"
        )
    names = [column.name for column in baseline.columns]
    for column in meter.columns:
        if column.name not in names:
            raise InputError(
                f"{baseline.where}: has no column {column.name}, which {meter.where} has"
                f"{nearest_text(column.name, names)}"
            )


def _span(meter: Meter) -> str:
    """First and last date."""
    first, last = meter.dates()
    return f"{first} to {last}"


@dataclass(frozen=True)
class _Rows:
    """What all series share."""

    scenario: Scenario
    meter: Meter
    simulated: Forecast
    likes: Mapping[dt.date, Like]
    baseline: Meter | None
    accuracy: float


def _series(rows: _Rows, circuit: Circuit, column: Column, places: tuple[int, ...]) -> Series:
    """Lay the simulated weeks over the hours of a column."""
    meter = rows.meter
    simulated = _lay(rows, meter, places, rows.simulated.samples)
    by_replication = _lay(rows, meter, places, rows.simulated.by_replication)
    predicted = simulated.mean(axis=0)
    known = ~np.isnan(column.kwh)
    days = _days(meter, column.kwh, simulated)
    months = _months(meter, column.kwh, predicted)
    whole = np.array(days.is_whole, dtype=bool)
    counted = np.array(months.is_whole, dtype=bool)
    return Series(
        circuit=circuit,
        kind=column.kind,
        wall_s=meter.wall_s,
        metered=column.kwh,
        simulated=simulated,
        predicted_kwh=estimate_mean(by_replication[:, known].sum(axis=1).tolist()),
        days=days,
        months=months,
        agreements=(
            agree("hour", column.kwh[known], predicted[known]),
            agree("day", days.metered[whole], days.predicted[whole]),
            agree("month", months.metered[counted], months.predicted[counted]),
        ),
        saving=_saving(rows, column, places),
    )


def _lay(
    rows: _Rows, meter: Meter, places: tuple[int, ...], weeks: Callable[[Like], FloatColumn]
) -> FloatColumn:
    """Take each hour from the simulated weeks of its kind of day (samples, n)."""
    how, day = hour_of_week(meter.wall_s), meter.day
    laid: FloatColumn | None = None
    for number in np.unique(day).tolist():
        table = weeks(rows.likes[_EPOCH + dt.timedelta(days=number)])[:, :, list(places)].sum(axis=2)
        if laid is None:
            laid = np.zeros((len(table), len(meter)))
        inside = day == number
        laid[:, inside] = table[:, how[inside]]
    assert laid is not None
    return laid


def _days(meter: Meter, kwh: FloatColumn, simulated: FloatColumn) -> Steps:
    """Add the hours known up to days."""
    known = ~np.isnan(kwh)
    days = np.unique(meter.day)
    first, hours, whole, metered, predicted, spread = [], [], [], [], [], []
    for number in days.tolist():
        inside = known & (meter.day == number)
        energy = simulated[:, inside].sum(axis=1)
        count = int(inside.sum())
        first.append(_EPOCH + dt.timedelta(days=number))
        hours.append(count)
        whole.append(count == meter.hours_of_day(number))
        metered.append(float(kwh[inside].sum()))
        predicted.append(float(energy.mean()))
        spread.append(float(energy.std(ddof=1)) if len(energy) > 1 else np.nan)
    return Steps(
        tuple(first), np.array(hours), tuple(whole), np.array(metered), np.array(predicted), np.array(spread)
    )


def _months(meter: Meter, kwh: FloatColumn, predicted: FloatColumn) -> Steps:
    """Add the hours known up to months."""
    known = ~np.isnan(kwh)
    dates = [_EPOCH + dt.timedelta(days=number) for number in meter.day.tolist()]
    month = np.array([date.year * 12 + date.month - 1 for date in dates])
    numbers = np.unique(month)
    inside = [known & (month == number) for number in numbers]
    hours = np.array([int(one.sum()) for one in inside])
    return Steps(
        first=tuple(dt.date(int(number) // 12, int(number) % 12 + 1, 1) for number in numbers),
        hours=hours,
        is_whole=tuple(bool(count >= _LEAST_MONTH_H) for count in hours),
        metered=np.array([float(kwh[one].sum()) for one in inside]),
        predicted=np.array([float(predicted[one].sum()) for one in inside]),
        spread=np.full(len(numbers), np.nan),
    )


def _saving(rows: _Rows, column: Column, places: tuple[int, ...]) -> Saving | None:
    """Metered saving of a column against the same column of the baseline."""
    if rows.baseline is None:
        return None
    names = [rows.meter.columns[place].name for place in places]
    before = [one for one in rows.baseline.columns if one.name in names]
    energy = np.asarray(np.sum([one.kwh for one in before], axis=0), dtype=np.float64)
    return metered_saving(
        _whole_days(rows, rows.baseline, energy), _whole_days(rows, rows.meter, column.kwh), rows.accuracy
    )


def _whole_days(rows: _Rows, meter: Meter, kwh: FloatColumn) -> dict[str, Days]:
    """Days of which every hour is known, by type."""
    found: dict[str, list[tuple[float, float]]] = {}
    for number in np.unique(meter.day).tolist():
        inside = meter.day == number
        hours = meter.hours_of_day(number)
        if np.isnan(kwh[inside]).any() or int(inside.sum()) != hours:
            continue
        date = _EPOCH + dt.timedelta(days=number)
        is_rest = like_of(rows.scenario, date).is_holiday or date.weekday() == 6
        kind = "Sundays and holidays" if is_rest else "Saturdays" if date.weekday() == 5 else "workdays"
        found.setdefault(kind, []).append((float(kwh[inside].sum()) / hours, float(hours)))
    return {
        kind: Days(np.array([kw for kw, _ in days]), np.array([hours for _, hours in days]))
        for kind, days in found.items()
    }
