"""A fit in words: what the log says of the traffic, and how well the fitted scenario repeats it.

Comes in: a `SiteFit`, its `SiteLog` and `Goodness`.  Goes out: a `Page`.  Before: `study/from_logs/goodness`,
`show/words/sections`; after: `show/folders/fit`, `commands/data`.
"""

from __future__ import annotations

import math

from sim.show.words.amounts import count_of, digits, duration, moment
from sim.show.words.sections import Page, Section
from sim.study.from_logs.figures import Figure
from sim.study.from_logs.fit import SiteFit
from sim.study.from_logs.goodness import Goodness, Test
from sim.study.from_logs.log import KINDS_OF_WORK, SiteLog
from sim.units import WEEKDAYS

__all__ = ["fit_page"]

_MOST_AISLES = 40
_FAR = 0.1
"""A Kolmogorov-Smirnov distance worth a sentence: a tenth of the gaps lie elsewhere; common practice, no
source."""


def fit_page(fit: SiteFit, log: SiteLog, goodness: Goodness) -> Page:
    """Return the whole answer.

    Parameters
    ----------
    fit, log, goodness : what was fitted, to what, and how well
    """
    grid, scenario = log.grid, fit.scenario
    observed = float(grid.observed_h.sum())
    return Page(
        title=scenario.title,
        subtitle=(
            f"Fit to a log of {log.kind}: {count_of(float(log.events.sum()), 'visit')} in "
            f"{duration(observed * 3600.0)} observed, run from {moment(scenario.start_datetime)}"
        ),
        sections=(
            _week(fit, log),
            _figures(fit),
            _tests(goodness),
            _aisles(goodness),
            *(Section(table.title, table.header, table.rows, table.remarks) for table in log.tables),
        ),
        notices=(*log.notices, *fit.notices, *_verdict(goodness)),
        pictures=(
            (
                "gaps",
                "Share of the gaps that are longer, on a logarithmic axis; where the curves part near the "
                "timeout, the fit would mislead about it.",
            ),
            ("visits", "Visits by hour of the week; by aisle, visits and the share of time with a truck."),
        ),
    )


def _week(fit: SiteFit, log: SiteLog) -> Section:
    """Moves by weekday and stream."""
    rows = []
    for stream, name in enumerate(KINDS_OF_WORK):
        if not fit.rate_per_h[stream].any():
            continue
        sums = fit.rate_per_h[stream].reshape(7, 24).sum(axis=1).tolist()
        days = fit.covered.reshape(7, 24)
        words = (digits(day) if days[number].any() else "-" for number, day in enumerate(sums))
        rows.append((name, *words))
    return Section(
        "Moves a day",
        ("", *WEEKDAYS),
        tuple(rows),
        ("Sums of the hourly rates; - where the log does not cover the weekday. Hours stand in fit.csv.",),
    )


def _figures(fit: SiteFit) -> Section:
    """Figures that are not rates by hour."""
    shown = [figure for figure in fit.figures if figure.unit != "1/h"]
    most = 3 * _MOST_AISLES
    rows = tuple((figure.key, _value(figure), _span(figure), f"{figure.count:,}") for figure in shown[:most])
    more = (f"{len(shown) - most} more stand in fit.csv.",) if len(shown) > most else ()
    return Section("Shares and times", ("Figure", "Fitted", "95 % interval", "Seen"), rows, more)


def _value(figure: Figure) -> str:
    """A figure with its unit."""
    if figure.key.startswith("bay_skew"):
        return digits(figure.value)
    if "share" in figure.key:
        return f"{100.0 * figure.value:.1f} %"
    return digits(figure.value) + (f" {figure.unit}" if figure.unit != "-" else "")


def _span(figure: Figure) -> str:
    """Its interval, in the same unit."""
    if math.isnan(figure.low):
        return "-"
    if "share" in figure.key:
        return f"{100.0 * figure.low:.1f} to {100.0 * figure.high:.1f} %"
    return f"{digits(figure.low)} to {digits(figure.high)}"


def _tests(goodness: Goodness) -> Section:
    """Tests of the whole site."""
    return Section(
        "Measured against simulated",
        ("Test", "Statistic", "p", "Compared"),
        tuple((one.name, _number(one.statistic), _number(one.p_value), one.size) for one in goodness.tests),
        (
            "The fit was made from the same log, so p near 1 is no proof; and in a long log a small p may "
            "stand for a difference that matters to nobody. The statistic of Kolmogorov and Smirnov is the "
            "largest distance between the two curves.",
        ),
    )


def _number(value: float) -> str:
    """A statistic in words."""
    return "-" if math.isnan(value) else f"{value:.3g}"


def _aisles(goodness: Goodness) -> Section:
    """One by one."""
    rows = tuple(
        (
            one.aisle,
            f"{one.visits:,.0f} / {one.simulated_visits:,.0f}",
            f"{100.0 * one.occupied_share:.2f} / {100.0 * one.simulated_occupied_share:.2f} %",
            f"{_gap(one.gap_p50_s)} / {_gap(one.simulated_gap_p50_s)}",
            _distance(one.gaps),
        )
        for one in goodness.aisles[:_MOST_AISLES]
    )
    more = len(goodness.aisles) - _MOST_AISLES
    return Section(
        "Aisle by aisle, measured / simulated",
        ("Aisle", "Visits", "Occupied", "Median gap", "Gaps apart, p"),
        rows,
        (f"{more} more aisles stand in goodness.csv.",) if more > 0 else (),
    )


def _gap(seconds: float) -> str:
    """A gap in words."""
    return "-" if math.isnan(seconds) else duration(seconds)


def _distance(test: Test) -> str:
    """Distance and p."""
    return f"{_number(test.statistic)}, {_number(test.p_value)}"


def _verdict(goodness: Goodness) -> list[str]:
    """Say where the fit should not be trusted."""
    gaps = goodness.tests[0]
    measured = sum(one.visits for one in goodness.aisles)
    simulated = sum(one.simulated_visits for one in goodness.aisles)
    found = []
    if not math.isnan(gaps.statistic) and gaps.statistic > _FAR:
        found.append(
            "The gaps of the fitted scenario differ from the log's: the curves are up to "
            f"{100.0 * gaps.statistic:.0f} % apart. What-ifs on it may mislead; replay the log itself for "
            "today's traffic."
        )
    if measured and abs(simulated / measured - 1.0) > _FAR:
        found.append(
            f"The fitted scenario makes {simulated:,.0f} visits where the log has {measured:,.0f}: are there "
            "enough trucks on duty in all hours with work?"
        )
    return found
