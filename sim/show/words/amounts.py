"""Numbers and intervals in words: the one place where figures for people are formatted.

Comes in: numbers, estimates.  Goes out: text.  Used by tables, report and figures.  Three significant
figures in prose; a mean and its half-width end at the same digit; a half-width shows one or two.
"""

from __future__ import annotations

import datetime as dt
import math
import re
import textwrap
from collections.abc import Sequence

from sim.results import Estimate
from sim.rounding import digits, mean_and_half
from sim.units import WEEKDAYS

__all__ = [
    "MONTHS",
    "WIDTH",
    "about_one_in",
    "bind_units",
    "count_of",
    "day_label",
    "digits",
    "duration",
    "interval",
    "listing",
    "moment",
    "percent",
    "percent_interval",
    "plain",
    "short",
    "time_interval",
    "times_alike",
    "weekday_list",
    "wrapped",
]

WIDTH = 80
"""Columns of a terminal."""
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_BOUND_SPACE = "\N{NO-BREAK SPACE}"
_BEFORE_UNIT = re.compile(r"(?<=\d) (?=(?:%|kWh|kW|W|lx|fc|m/s2|m/s|min|m|s|h)(?!\w))| (?=±)|(?<=±) ")


def plain(value: float) -> str:
    """Return a setting as a person wrote it: no more digits than it has.

    Examples
    --------
    >>> plain(72.0), plain(0.7), plain(1250)
    ('72', '0.7', '1,250')
    """
    text = f"{value:,.6f}".rstrip("0").rstrip(".")
    return text if text not in ("", "-0") else "0"


def short(value: float) -> str:
    """Return up to three significant figures without trailing noughts.

    Examples
    --------
    >>> short(30.078825), short(50.0), short(0.1)
    ('30.1', '50', '0.1')
    """
    text = digits(value)
    return text.rstrip("0").rstrip(".") if "." in text else text


def percent(share: float, figures: int = 3) -> str:
    """Return a share as per cent.

    Examples
    --------
    >>> percent(0.3821), percent(0.05), percent(1.0)
    ('38.2 %', '5 %', '100 %')
    """
    return f"{digits(100.0 * share, figures)} %"


def interval(estimate: Estimate, unit: str = "", scale: float = 1.0) -> str:
    """Return a mean with the half-width of its 95 % interval; without one, the mean alone.

    Parameters
    ----------
    estimate : mean and half-width, either may be None
    unit : written behind, set apart by a space
    scale : both are multiplied by it first

    Examples
    --------
    >>> interval(Estimate(38.23, 1.34), "%"), interval(Estimate(12345.0, 432.0))
    ('38.2 ± 1.3 %', '12,300 ± 400')
    """
    mean, half = mean_and_half(estimate.mean, estimate.half_width, scale)
    behind = f" {unit}" if unit and estimate.mean is not None and math.isfinite(estimate.mean) else ""
    return f"{mean} ± {half}{behind}" if half else mean + behind


def percent_interval(estimate: Estimate) -> str:
    """Return a share with its interval, as per cent."""
    return interval(estimate, "%", 100.0)


def time_interval(estimate: Estimate) -> str:
    """Return an amount of time with its interval in the unit that suits it.

    >>> time_interval(Estimate(7200.0, 360.0))
    '2.00 ± 0.10 h'
    """
    size, unit = _time_unit(abs(estimate.mean or 0.0))
    return interval(estimate, unit, 1.0 / size)


def times_alike(seconds: Sequence[float]) -> list[str]:
    """Return amounts of time in the one unit that suits the greatest of them.

    >>> times_alike([150.0, 15.0])
    ['2.50 min', '0.250 min']
    """
    size, unit = _time_unit(max(seconds, default=0.0))
    return [interval(Estimate(value / size, None), unit) for value in seconds]


def _time_unit(seconds: float) -> tuple[float, str]:
    """The unit that suits an amount of time, in seconds, and its name."""
    for size, unit in ((3600.0, "h"), (60.0, "min")):
        if seconds >= 2.0 * size:
            return size, unit
    return 1.0, "s"


def duration(seconds: float) -> str:
    """Return a time span in the unit a person would use.

    Examples
    --------
    >>> duration(0.7), duration(90), duration(300), duration(310), duration(9000), duration(604800)
    ('0.7 s', '90 s', '5 min', '5 min 10 s', '2.5 h', '7 days')
    """
    if not math.isfinite(seconds):
        return "not known"
    for size, unit in ((86_400.0, "days"), (3600.0, "h"), (60.0, "min")):
        if seconds >= 2 * size or seconds == size:
            name = "day" if unit == "days" and seconds == size else unit
            if unit == "min" and seconds == round(seconds) and seconds % 6.0:
                return f"{seconds // 60:.0f} min {seconds % 60:.0f} s"
            return f"{short(seconds / size)} {name}"
    return f"{short(seconds)} s"


def count_of(number: float, one: str, many: str | None = None) -> str:
    """Return a count with its noun.

    Examples
    --------
    >>> count_of(1, "truck"), count_of(1200, "truck"), count_of(2, "luminaire of it", "luminaires of it")
    ('1 truck', '1,200 trucks', '2 luminaires of it')
    """
    return f"{plain(number)} {one if number == 1 else (many or one + 's')}"


def about_one_in(share: float) -> str:
    """Return a share the way people say it.

    Examples
    --------
    >>> about_one_in(0.0), about_one_in(0.0021), about_one_in(0.09), about_one_in(0.47)
    ('none', 'about 1 in 480', 'about 1 in 11', '47 %')
    """
    if share <= 0.0:
        return "none"
    if share > 1.0 / 3.0:
        return percent(share, 2)
    one_in = 1.0 / share
    return f"about 1 in {digits(one_in, 2)}" if one_in >= 100.0 else f"about 1 in {one_in:.0f}"


def listing(names: Sequence[str], most: int = 8) -> str:
    """Return names joined for a sentence; runs such as A01, A02, A03 are drawn together.

    Examples
    --------
    >>> listing(["A01", "A02", "A03", "A07"]), listing(["north", "south"])
    ('A01 to A03 and A07', 'north and south')
    """
    runs = _runs(names)
    if len(runs) > most:
        return ", ".join(runs[:most]) + f" and {len(runs) - most} more"
    return runs[0] if len(runs) == 1 else ", ".join(runs[:-1]) + f" and {runs[-1]}" if runs else "none"


def weekday_list(days: Sequence[str]) -> str:
    """Return weekdays with runs drawn together.

    Examples
    --------
    >>> weekday_list(["Mon", "Tue", "Wed", "Thu", "Fri"]), weekday_list(["Mon", "Wed"])
    ('Mon-Fri', 'Mon, Wed')
    """
    groups: list[list[str]] = []
    for place, day in enumerate(WEEKDAYS):
        if day not in days:
            continue
        if groups and groups[-1][-1] == WEEKDAYS[place - 1]:
            groups[-1].append(day)
        else:
            groups.append([day])
    return ", ".join(group[0] if len(group) == 1 else f"{group[0]}-{group[-1]}" for group in groups)


def moment(time: dt.datetime) -> str:
    """Return a date and time, whatever the machine's language.

    >>> moment(dt.datetime(2027, 3, 1, 6, 30)), moment(dt.datetime(2027, 3, 1))
    ('Mon 1 Mar 2027 06:30', 'Mon 1 Mar 2027 00:00')
    """
    return f"{day_label(time)} {time.year} {time:%H:%M}"


def day_label(time: dt.datetime) -> str:
    """Return a day as people write it on a plan.

    >>> day_label(dt.datetime(2027, 3, 1))
    'Mon 1 Mar'
    """
    return f"{WEEKDAYS[time.weekday()]} {time.day} {MONTHS[time.month - 1]}"


def bind_units(text: str) -> str:
    """Return text in which no line may break between a number and its unit or its interval."""
    return _BEFORE_UNIT.sub(_BOUND_SPACE, text)


def wrapped(text: str, indent: str = "") -> list[str]:
    """Return text as lines of a terminal, those after the first indented; a number keeps its unit."""
    lines = textwrap.wrap(bind_units(text), WIDTH, subsequent_indent=indent, break_on_hyphens=False)
    return [line.replace(_BOUND_SPACE, " ") for line in lines]


def _runs(names: Sequence[str]) -> list[str]:
    """Draw numbered neighbours together where three or more follow each other."""
    groups: list[list[str]] = []
    for name in names:
        if groups and _follows(groups[-1][-1], name):
            groups[-1].append(name)
        else:
            groups.append([name])
    parts: list[str] = []
    for group in groups:
        parts.extend(group if len(group) < 3 else [f"{group[0]} to {group[-1]}"])
    return parts


def _follows(first: str, second: str) -> bool:
    """Tell whether the second name is the first with its closing number raised by one."""
    stem = first.rstrip("0123456789")
    if stem == first or not second.startswith(stem) or not second[len(stem):].isdecimal():
        return False
    return int(second[len(stem):]) == int(first[len(stem):]) + 1
