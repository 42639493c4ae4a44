"""A meter set beside the simulation, as tables and JSON.

Comes in: a `Verification`.  Goes out: rows, JSON values.  Before: `show/words/verify`; after:
`show/folders/verify`.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from sim.show.folders.whole import number_text
from sim.show.words.verify import QUESTIONS, all_series
from sim.units import WEEKDAYS
from sim.verification.agree import LIMITS
from sim.verification.predict import HOURS_A_WEEK, hour_of_week
from sim.verification.verify import Series, Verification

__all__ = [
    "DAYS_HEADER", "HOURS_HEADER", "MONTHS_HEADER", "WEEK_HEADER", "day_rows", "hour_rows", "month_rows",
    "verify_summary", "week_rows",
]

HOURS_HEADER = ("circuit", "kind", "local_time", "metered_kwh", "predicted_kwh")
DAYS_HEADER = (
    "circuit", "kind", "day", "hours_known", "is_whole", "metered_kwh", "predicted_kwh", "spread_kwh", "fits",
)
WEEK_HEADER = (
    "circuit", "kind", "hour_of_week", "hours_known", "metered_kwh", "predicted_kwh", "spread_kwh",
)
MONTHS_HEADER = ("circuit", "kind", "month", "hours_known", "metered_kwh", "predicted_kwh")
_EPOCH = dt.datetime(1970, 1, 1)


def hour_rows(found: Verification) -> Iterator[tuple[str, ...]]:
    """Yield the rows of hours.csv; a doubled hour of a clock change stands twice."""
    for one in found.series:
        predicted = one.predicted
        for row, second in enumerate(one.wall_s.tolist()):
            stamp = (_EPOCH + dt.timedelta(seconds=second)).isoformat(timespec="minutes")
            metered = number_text(float(one.metered[row]))
            yield one.circuit.name, one.kind, stamp, metered, number_text(float(predicted[row]))


def day_rows(found: Verification) -> Iterator[tuple[str, ...]]:
    """Yield the rows of days.csv."""
    epoch = dt.date(1970, 1, 1)
    odd = {(one.circuit, one.day) for one in found.days}
    for one in found.series:
        steps = one.days
        for row, day in enumerate(steps.first):
            fits = "no" if (one.circuit.name, (day - epoch).days) in odd else "yes"
            yield (
                one.circuit.name, one.kind, day.isoformat(), str(int(steps.hours[row])),
                "yes" if steps.is_whole[row] else "no",
                *(number_text(float(c[row])) for c in (steps.metered, steps.predicted, steps.spread)),
                fits if one.kind == "measured" else "",
            )


def week_rows(found: Verification) -> Iterator[tuple[str, ...]]:
    """Yield the rows of week.csv: means by hour of the week over the hours known."""
    for one in found.series:
        known = ~np.isnan(one.metered)
        place = hour_of_week(one.wall_s[known])
        count = np.bincount(place, minlength=HOURS_A_WEEK)
        deviation = np.full(len(known), np.nan)
        if len(one.simulated) > 1:
            deviation = one.simulated.std(axis=0, ddof=1)
        columns = [
            np.bincount(place, weights=values[known], minlength=HOURS_A_WEEK) / np.maximum(count, 1)
            for values in (one.metered, one.predicted, deviation)
        ]
        for hour in np.flatnonzero(count).tolist():
            name = f"{WEEKDAYS[hour // 24]} {hour % 24:02d}:00"
            yield (
                one.circuit.name, one.kind, name, str(int(count[hour])),
                *(number_text(float(column[hour])) for column in columns),
            )


def month_rows(found: Verification) -> Iterator[tuple[str, ...]]:
    """Yield the rows of months.csv."""
    for one in found.series:
        steps = one.months
        for row, month in enumerate(steps.first):
            yield (
                one.circuit.name, one.kind, f"{month:%Y-%m}", str(int(steps.hours[row])),
                number_text(float(steps.metered[row])), number_text(float(steps.predicted[row])),
            )


def verify_summary(found: Verification, confidence: float) -> dict[str, Any]:
    """Return the figures as plain JSON values."""
    return {
        "period": [date.isoformat() for date in found.period],
        "baseline_period": None
        if found.baseline_period is None
        else [date.isoformat() for date in found.baseline_period],
        "interval_min": found.interval_s // 60,
        "replications": found.replications,
        "simulated_weeks": found.weeks,
        "meter_accuracy": found.accuracy,
        "circuits": [_series_summary(one, confidence) for one in all_series(found)],
        "days_that_do_not_fit": [
            {
                "circuit": one.circuit,
                "day": (_EPOCH + dt.timedelta(days=one.day)).date().isoformat(),
                "metered_kwh": one.metered_kwh,
                "predicted_kwh": one.predicted_kwh,
                "score": one.score,
                "bound": one.bound,
                "hours": list(one.hours),
                "question": QUESTIONS[one.question],
            }
            for one in found.days
        ],
        "patterns": [
            {
                "circuit": one.circuit,
                "where": one.where,
                "when": one.when,
                "metered_kw": one.metered_kw,
                "predicted_kw": one.predicted_kw,
                "bound_kw": one.bound_kw,
                "hours": list(one.hours),
                "question": QUESTIONS[one.question],
            }
            for one in found.patterns
        ],
        "warnings": list(found.warnings),
    }


def _series_summary(one: Series, confidence: float) -> dict[str, Any]:
    """One circuit."""

    def known(value: float) -> float | None:
        return value if math.isfinite(value) else None

    saving = one.saving
    return {
        "name": one.circuit.name,
        "kind": one.kind,
        "connected_kw": one.circuit.connected_kw,
        "predicted_kwh": {"mean": one.predicted_kwh.mean, "half_width": one.predicted_kwh.half_width},
        "agreement": {
            agreement.step: {
                "count": agreement.count,
                "metered_kwh": agreement.measured_kwh,
                "predicted_kwh": agreement.predicted_kwh,
                "nmbe": known(agreement.bias),
                "cv_rmse": known(agreement.spread),
                "limits": [
                    {
                        "nmbe": limit.bias, "cv_rmse": limit.spread, "is_met": agreement.meets(limit),
                        "source": limit.source,
                    }
                    for limit in LIMITS[agreement.step]
                ],
            }
            for agreement in one.agreements
        },
        "saving": None
        if saving is None
        else {
            "kwh": saving.kwh,
            "half_width_kwh": saving.half_width_kwh(confidence),
            "confidence": confidence,
            "standard_kwh": saving.standard_kwh,
            "t": known(saving.statistic),
            "degrees_of_freedom": saving.freedom,
            "baseline_kwh": saving.baseline_kwh,
            "reporting_kwh": saving.reporting_kwh,
            "baseline_days": saving.days[0],
            "reporting_days": saving.days[1],
            "left_out_days": saving.left_out,
            "is_below_half_at_68": saving.is_sure_enough,
            "is_proof": one.kind == "measured",
        },
    }
