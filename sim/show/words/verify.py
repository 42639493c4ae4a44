"""A meter set beside the simulation, in words: for a terminal and a page.

Comes in: a `Verification`.  Goes out: `Page`.  Before: `verification/verify`; after:
`show/folders/verify_rows`, `commands/proof`.
"""

from __future__ import annotations

import datetime as dt
import math
from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np

from sim.results import Estimate
from sim.show.words.amounts import count_of, day_label, digits, interval, percent
from sim.show.words.sections import Page, Section
from sim.verification.agree import LIMITS, Agreement
from sim.verification.misfits import FALSE_ALARM, LEAST_SAMPLES, DayMisfit, Pattern, Question
from sim.verification.option_b import LEAST_CONFIDENCE, Saving
from sim.verification.verify import Series, Verification

__all__ = ["QUESTIONS", "all_series", "clock_spans", "verify_page"]

QUESTIONS: dict[Question, str] = {
    "stuck": (
        "more load than predicted in hours that should be quiet: a relay that sticks, lights left in "
        "override, or work and cleaning that nobody named?"
    ),
    "always_high": (
        "at full power nearly all of these hours: a sensor that is masked or failed so that the lights stay "
        "up, a relay that sticks, or an override?"
    ),
    "more": (
        "more load than predicted: more traffic or work at unusual hours, a longer timeout than stated, or "
        "sensors that passing trucks set off?"
    ),
    "gone": (
        "less than half of the lowest load that was predicted: a power cut, an open breaker, a dead relay, "
        "or a fault of the meter?"
    ),
    "part_gone": (
        "less than the lowest load that was predicted: luminaires or a relay that failed, or a lower "
        "unoccupied level than stated?"
    ),
    "less": (
        "less load than predicted: less traffic or a day without work, lights that do not come up (dead "
        "relay, failed luminaires, a sensor that does not see), or a shorter timeout than stated?"
    ),
}
STEP_WORDS = {"hour": "by hour", "day": "by day", "month": "by month"}
_EPOCH = dt.datetime(1970, 1, 1)
_MOST_ROWS = 20


def clock_spans(hours: Sequence[int]) -> str:
    """Return clock hours as spans; those that touch over midnight are one.

    Examples
    --------
    >>> clock_spans([22, 23, 0, 1, 9]), clock_spans(range(24))
    ('09:00 to 10:00, 22:00 to 02:00', 'all day')
    """
    chosen = set(hours)
    if len(chosen) == 24:
        return "all day"
    starts = [hour for hour in sorted(chosen) if (hour - 1) % 24 not in chosen]
    spans = []
    for start in starts:
        end = start
        while end % 24 in chosen:
            end += 1
        spans.append(f"{start:02d}:00 to {(end - 1) % 24 + 1:02d}:00")
    return ", ".join(spans)


def verify_page(found: Verification, confidence: float) -> Page:
    """Return everything in words.

    Parameters
    ----------
    found : what the meter shows
    confidence : of the metered saving's interval
    """
    sections = [_agreement_section(found)]
    saving = _saving_section(found, confidence)
    if saving is not None:
        sections.append(saving)
    sections += [_misfit_section(found), _quality_section(found)]
    first, last = found.period
    return Page(
        title=found.scenario.title,
        subtitle=(
            f"Meter beside simulation: {found.where}, {first} to {last}, intervals of "
            f"{found.interval_s // 60} min, against {count_of(found.replications, 'replication')} of "
            f"{count_of(found.weeks, 'week')}"
        ),
        sections=tuple(sections),
        notices=_notices(found),
        pictures=(
            ("days", "Each day's metered energy, the prediction, and twice the spread of simulated days."),
            ("hours", "Each hour's metered energy against its prediction; on the line they are the same."),
            ("profile", "The mean day: metered, and predicted for the same dates."),
            ("months", "Months: metered and predicted, of the hours that the meter knows."),
        ),
    )


def all_series(found: Verification) -> Iterator[Series]:
    """The sum first, then every column."""
    if found.whole is not None:
        yield found.whole
    yield from found.series


def _agreement_section(found: Verification) -> Section:
    """NMBE and CV(RMSE): of the series that speaks for the site by every step, of the others by hour."""
    main = found.main
    rows, limits = [], []
    for one in all_series(found):
        for agreement in one.agreements if one is main else one.agreements[:1]:
            if not agreement.count:
                continue
            name = f"{_name(one)}, {STEP_WORDS[agreement.step]}"
            rows.append(
                (
                    name,
                    f"{digits(agreement.measured_kwh)} kWh",
                    f"{digits(agreement.predicted_kwh)} kWh",
                    _share(agreement.bias),
                    _share(agreement.spread),
                )
            )
            if one is main and LIMITS[agreement.step]:
                limits.append(f"{name}: {_limits_text(agreement)}.")
    total = interval(main.predicted_kwh, "kWh")
    remarks = [
        f"Over the hours known, {main.circuit.name} used {digits(float(np.nansum(main.metered)))} kWh; "
        f"predicted {total} (95 % interval over replications).",
        *limits,
        "NMBE = sum(m - s) / ((n - p) mean m), positive where the meter shows more than predicted; CV(RMSE) "
        "= sqrt(sum (m - s)^2 / (n - p)) / mean m; p = 1. By day: whole days; by month: months with at least "
        "20 days known, usually twelve of them. One value alone gives no figure.",
        "The limits are those for a calibrated simulation; they judge a simulation or a model of a baseline, "
        "not a saving. There is none by the day.",
    ]
    return Section(
        "Predicted against metered",
        ("Circuit", "Metered", "Predicted", "NMBE", "CV(RMSE)"),
        tuple(rows),
        tuple(remarks),
    )


def _name(one: Series) -> str:
    """A circuit's name; of a column that is not measured, that."""
    return one.circuit.name if one.kind == "measured" else f"{one.circuit.name} (calculated)"


def _share(value: float) -> str:
    """A share, or that it is not known."""
    return "not known" if math.isnan(value) else percent(value)


def _limits_text(agreement: Agreement) -> str:
    """Whether each pair of limits is met."""
    words = []
    for limit in LIMITS[agreement.step]:
        is_met = agreement.meets(limit)
        said = {True: "meets", False: "does not meet", None: "not known:"}[is_met]
        source = limit.source.partition(",")[0]
        words.append(f"{said} {percent(limit.bias)} and {percent(limit.spread)} ({source})")
    return "; ".join(words) if words else "none"


def _saving_section(found: Verification, confidence: float) -> Section | None:
    """The metered saving, None without a baseline."""
    rows: list[tuple[str, ...]] = []
    left_out: list[str] = []
    for one in all_series(found):
        if found.baseline_period is None:
            return None
        saving = one.saving
        if saving is None:
            rows.append((_name(one), *["-"] * 5))
            continue
        rows.append(
            (
                _name(one),
                digits(saving.baseline_kwh),
                digits(saving.reporting_kwh),
                interval(Estimate(saving.kwh, saving.half_width_kwh(confidence))),
                digits(saving.statistic) if math.isfinite(saving.statistic) else "-",
                _enough_text(one, saving),
            )
        )
        if saving.left_out:
            left_out.append(f"{one.circuit.name} {count_of(saving.left_out, 'day')}")
    first, last = found.baseline_period or found.period
    remarks = [
        "IPMVP Option B: the lit circuits are metered in the baseline and in the reporting period. The "
        f"baseline ({first} to {last}) has a mean day for workdays, Saturdays, and Sundays and holidays, "
        "which is projected on the reporting period's whole days; nothing here is simulated.",
        f"Saving with its interval at {percent(confidence)} confidence (Student's t), t = saving over "
        f"standard uncertainty. Last column: uncertainty at {percent(LEAST_CONFIDENCE)} confidence as a "
        "share of the saving, and whether it is below half, which is what is asked.",
        _meter_error_text(found),
    ]
    main = found.main.saving
    if main is not None and main.kwh > 0.0 and not main.left_out and found.main.kind == "measured":
        expected = main.baseline_kwh - _predicted_of_whole_days(found.main)
        if expected > 0.0:
            remarks.append(
                f"The simulation predicted a saving of {digits(expected)} kWh against the same baseline: "
                f"{percent(main.kwh / expected)} of it is metered."
            )
    if left_out:
        remarks.append(
            f"Left out, because the baseline has less than two days of their type: {', '.join(left_out)}."
        )
    if any(one.kind == "calculated" for one in found.series):
        remarks.append("A difference of calculated columns is not metered and proves nothing.")
    return Section(
        "Metered saving",
        ("Circuit", "Before kWh", "After kWh", "Saved kWh", "t", "At 68 %"),
        tuple(rows),
        tuple(remarks),
    )


def _predicted_of_whole_days(one: Series) -> float:
    """Predicted energy of the days that a saving counts."""
    return float(one.days.predicted[np.array(one.days.is_whole, dtype=bool)].sum())


def _meter_error_text(found: Verification) -> str:
    """What the interval holds of the meters' own errors."""
    if found.accuracy == 0.0:
        return "The meters' own error is not in it; --meter-accuracy adds it."
    return f"It holds an error of {percent(found.accuracy)} of each meter's reading, the two independent."


def _enough_text(one: Series, saving: Saving) -> str:
    """Whether a saving is sure enough to be reported."""
    if not saving.kwh:
        return "-"
    share = saving.half_width_kwh(LEAST_CONFIDENCE) / abs(saving.kwh)
    if one.kind == "calculated":
        return f"{percent(share)}, no proof"
    return f"{percent(share)}, {'yes' if saving.is_sure_enough else 'no'}"


def _misfit_section(found: Verification) -> Section:
    """Patterns of the period and days that do not fit, with what to ask."""
    rows = [_pattern_row(one) for one in found.patterns]
    groups = _day_groups(found.days)
    rows += [_day_row(group) for group in groups[:_MOST_ROWS]]
    remarks = []
    if len(groups) > _MOST_ROWS:
        more = sum(len(group) for group in groups[_MOST_ROWS:])
        remarks.append(f"{count_of(more, 'more day')} stand in days.csv.")
    judged = [one for one in found.series if one.kind == "measured"]
    samples = found.replications * found.weeks
    if not judged:
        remarks.append("No column is measured; calculated loads follow the commands and cannot show a fault.")
    elif samples < LEAST_SAMPLES:
        remarks.append(
            f"Days are not judged: {count_of(samples, 'simulated week')} do not show how weeks vary; at "
            f"least {LEAST_SAMPLES} are needed (--replications)."
        )
    else:
        if not rows:
            remarks.append("Nothing: each day and all quiet and busy hours lie within chance.")
        remarks.append(
            "A day is told where it lies outside what simulated days do, the meter's class of 1 % included, "
            "and apart from the other days; a period where its quiet or its busy hours do. On a site that "
            f"does exactly what is simulated at most about {percent(2.0 * FALSE_ALARM)} of such reports "
            "raise anything."
        )
    header = ("What", "Metered", "Predicted", "Hours", "Question")
    return Section("What does not fit", header if rows else (), tuple(rows), tuple(remarks))


def _pattern_row(one: Pattern) -> tuple[str, ...]:
    """A pattern in words."""
    return (
        f"{one.circuit}, {one.when}, {one.where} hours",
        f"{digits(one.metered_kw)} kW",
        f"{digits(one.predicted_kw)} kW",
        clock_spans(one.hours),
        QUESTIONS[one.question],
    )


def _day_groups(days: Sequence[DayMisfit]) -> list[list[DayMisfit]]:
    """Draw days of one circuit that follow each other together, where they are off to the same side."""
    groups: list[list[DayMisfit]] = []
    for one in days:
        last = groups[-1][-1] if groups else None
        if (
            last is not None
            and (last.circuit, last.day + 1) == (one.circuit, one.day)
            and (last.score > 0.0) == (one.score > 0.0)
        ):
            groups[-1].append(one)
        else:
            groups.append([one])
    return groups


def _day_row(group: Sequence[DayMisfit]) -> tuple[str, ...]:
    """A day, or some that follow each other, in words: their hours, the usual question."""
    first, last = (day_label(_EPOCH + dt.timedelta(days=one.day)) for one in (group[0], group[-1]))
    name = f"{group[0].circuit}, {first}"
    if len(group) > 1:
        name = f"{name} to {last} ({len(group)} days)"
    question = Counter(one.question for one in group).most_common(1)[0][0]
    return (
        name,
        f"{digits(sum(one.metered_kwh for one in group))} kWh",
        f"{digits(sum(one.predicted_kwh for one in group))} kWh",
        _hours_of(group),
        QUESTIONS[question],
    )


def _hours_of(group: Sequence[DayMisfit]) -> str:
    """Return the hours that explain some days: of two days each one's own, of more those of most of them."""
    own = [clock_spans(one.hours) for one in group]
    if len(set(own)) == 1:
        return own[0]
    if len(group) == 2:
        return "; ".join(
            f"{_EPOCH + dt.timedelta(days=one.day):%a} {hours}" for one, hours in zip(group, own, strict=True)
        )
    count = Counter(hour for one in group for hour in one.hours)
    return clock_spans([hour for hour, days in count.items() if 2 * days >= len(group)])


def _quality_section(found: Verification) -> Section:
    """What was wrong or open in the files."""
    if not found.warnings:
        return Section("The files", remarks=("No gap, no doubled interval.",))
    return Section("The files", remarks=tuple(f"{text}." for text in found.warnings))


def _notices(found: Verification) -> tuple[str, ...]:
    """What a reader must know first."""
    said = []
    calculated = [one.circuit.name for one in found.series if one.kind == "calculated"]
    if calculated:
        said.append(
            f"{', '.join(calculated)}: calculated from levels, not measured. Such figures follow what was "
            "commanded and never count as proof."
        )
    if len(found.series) > 1 and found.whole is None:
        said.append(
            "The measured columns are not added up: some feed the same zones, or only one is measured. Each "
            "is judged by itself."
        )
    if found.baseline_period is None:
        said.append("No baseline was metered, so no saving is: give --baseline a file or a period.")
    return tuple(said)
