"""Small pictures in text, for whoever runs a command at a terminal.

Comes in: a `Result`, a `SweepResult`, a `Recommendation`, the columns there are, the characters to draw with.
Goes out: lines, none where there is nothing to see.  Before: `show/numbers/bars`; after: `cli`,
`commands/decide`.  A bar begins at 0 and is as long as its figure asks, to the nearest step: an eighth of a
character with blocks.  No colour is used.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from sim.results import Result
from sim.show.numbers.bars import DimAisles, HourLoads, PlanBar, dim_aisles, hour_loads, plan_bars
from sim.show.numbers.decide import TradeOff, sweep_trade_off
from sim.show.words.amounts import WIDTH, digits, percent, short, times_alike
from sim.study.decide.recommend import Recommendation
from sim.study.sweeping.sweep import SweepResult

__all__ = [
    "ASCII",
    "BLOCKS",
    "NARROWEST",
    "Ink",
    "bar",
    "columns",
    "front_lines",
    "plan_lines",
    "plans_picture",
    "run_picture",
    "sweep_picture",
]

NARROWEST = 60
"""Below so many columns nothing is drawn."""

_ROWS_OF_HOURS = 4
_ROWS_OF_FRONT = 8
_HOURS = 24
_LONGEST_NAME = 16


@dataclass(frozen=True)
class Ink:
    """Characters to draw with.

    Attributes
    ----------
    across : parts of a cell filled from the left, the whole cell last
    up : the same from below
    axis : stands at the left of a picture
    front, other, current : points not beaten, beaten, and the scenario as it stands
    """

    across: str
    up: str
    axis: str
    front: str
    other: str
    current: str


BLOCKS = Ink("▏▎▍▌▋▊▉█", "▁▂▃▄▅▆▇█", "│", "●", "·", "x")
ASCII = Ink("#", ".:#", "|", "o", ".", "x")


def bar(share: float, width: int, ink: Ink) -> str:
    """Return a bar from the left, `share` of `width` characters long, without trailing blanks.

    Parameters
    ----------
    share : from 0 to 1; nothing is drawn for less, or for one that is not known

    Examples
    --------
    >>> bar(0.5, 6, ASCII), bar(0.75, 2, BLOCKS), bar(-1.0, 6, ASCII)
    ('###', '█▌', '')
    """
    whole, part = divmod(_steps(share, width * len(ink.across)), len(ink.across))
    return whole * ink.across[-1] + (ink.across[part - 1] if part else "")


def columns(shares: Sequence[float], rows: int, ink: Ink) -> list[str]:
    """Return columns from below, `rows` characters high at a share of 1, two characters wide each.

    Parameters
    ----------
    shares : from 0 to 1, not a number where nothing is known (n,)

    Returns
    -------
    the rows, the highest first, each 2 n characters wide

    Examples
    --------
    >>> columns([0.5, 1.0], 2, ASCII)
    ['  ##', '####']
    """
    steps = len(ink.up)
    filled = [_steps(share, rows * steps) for share in shares]

    def cell(height: int, row: int) -> str:
        part = min(max(height - row * steps, 0), steps)
        return ink.up[part - 1] if part else " "

    return ["".join(2 * cell(height, row) for height in filled) for row in reversed(range(rows))]


def _steps(share: float, most: int) -> int:
    """So many steps of a whole bar, rounded half up."""
    return 0 if math.isnan(share) else math.floor(min(max(share, 0.0), 1.0) * most + 0.5)


def run_picture(result: Result, width: int, ink: Ink) -> list[str]:
    """Return the load by hour of the day beside always on, and the aisles with most dim truck-time.

    Parameters
    ----------
    result : of a run or a replay
    width : columns of the terminal
    ink : what it can show

    Returns
    -------
    lines, none of them wider than the terminal or than 80 columns
    """
    dim = dim_aisles(result)
    return [
        *_hour_lines(hour_loads(result), ink),
        *([] if dim is None else ["", *_dim_lines(dim, min(width, WIDTH), ink)]),
    ]


def _hour_lines(loads: HourLoads, ink: Ink) -> list[str]:
    """The load of each hour of the day as columns under the always-on load."""
    top = loads.always_on_kw
    rows = columns((loads.mean_kw / top).tolist(), _ROWS_OF_HOURS, ink)
    label = digits(top)
    gap = max(len(label), 4)
    labels = [label, *[""] * (len(rows) - 2), "0"]
    hours = "".join(f"{hour:02d}{'':<10}" for hour in range(0, _HOURS, 6)) + "24"
    return [
        f"Mean load by hour of the day, kW, up to always on ({label})",
        *(
            f"  {name:>{gap}} {ink.axis}{row}".rstrip()
            for name, row in zip(labels, rows, strict=True)
        ),
        f"  {'':>{gap}}  {hours}",
    ]


def _dim_lines(dim: DimAisles, width: int, ink: Ink) -> list[str]:
    """The aisles in which trucks spent most time in too little light."""
    times = times_alike(dim.dim_s.tolist())
    visits = [f"{digits(value)} s a visit" if math.isfinite(value) else "" for value in dim.per_visit_s]
    names = [name if len(name) <= _LONGEST_NAME else f"{name[:_LONGEST_NAME - 2]}.." for name in dim.names]
    widths = [max(map(len, words)) for words in (names, times, visits)]
    room = width - 2 - sum(widths) - 5
    most = float(dim.dim_s[0])
    return [
        f"Truck time in dim light, {_dim_words(dim)}",
        *(
            f"  {name:<{widths[0]}} {bar(value / most, room, ink):<{room}}  {time:>{widths[1]}}"
            f"  {visit:>{widths[2]}}".rstrip()
            for name, value, time, visit in zip(names, dim.dim_s.tolist(), times, visits, strict=True)
        ),
    ]


def _dim_words(dim: DimAisles) -> str:
    """Say how much of all the aisles shown hold."""
    count = len(dim.names)
    if dim.share >= 1.0 - 1e-9:
        return f"in {count} of {dim.of} {dim.kind}"
    return f"the worst {count} of {dim.of} {dim.kind} ({percent(dim.share, 2)} of it)"


def sweep_picture(result: SweepResult, width: int, ink: Ink) -> list[str]:
    """Return the settings of a sweep as points: energy across, truck-time in dim light up.

    Parameters
    ----------
    result, width, ink : as in `run_picture`
    """
    points = sweep_trade_off(result)
    return front_lines(points, min(width, WIDTH), ink)


def front_lines(points: TradeOff, width: int, ink: Ink) -> list[str]:
    """Draw a trade-off; a point lies in the cell nearest to it."""
    current = points.marks[0]
    across = [*points.energy_kwh.tolist(), current.energy_kwh]
    up = [*points.dim_truck_s.tolist(), current.dim_truck_s]
    low_x, high_x, low_y, high_y = min(across), max(across), min(up), max(up)
    if low_x == high_x or low_y == high_y:
        return []
    top, bottom = digits(high_y), digits(low_y)
    gap = max(len(top), len(bottom), 4)
    room = width - gap - 4
    marks = [*(ink.front if one else ink.other for one in points.is_front.tolist()), ink.current]
    cells = [[" "] * room for _ in range(_ROWS_OF_FRONT)]
    for mark in (ink.other, ink.front, ink.current):
        for x, y, own in zip(across, up, marks, strict=True):
            if own == mark:
                row = _steps((y - low_y) / (high_y - low_y), _ROWS_OF_FRONT - 1)
                cells[row][_steps((x - low_x) / (high_x - low_x), room - 1)] = mark
    labels = [bottom, *[""] * (_ROWS_OF_FRONT - 2), top]
    left, right = digits(low_x), f"{digits(high_x)} kWh"
    return [
        "Truck time in dim light [s] over energy",
        *(
            f"  {labels[row]:>{gap}} {ink.axis}{''.join(cells[row])}".rstrip()
            for row in reversed(range(_ROWS_OF_FRONT))
        ),
        f"  {'':>{gap}}  {left:<{room - len(right)}}{right}",
        f"  {ink.front} not beaten in both, {ink.other} beaten, {ink.current} as the scenario stands",
    ]


def plans_picture(found: Recommendation, width: int, ink: Ink) -> list[str]:
    """Return what each plan saves beside the truck-time in dim light that it costs, on fresh traffic.

    Parameters
    ----------
    found, width, ink : as in `run_picture`
    """
    return plan_lines(plan_bars(found), min(width, WIDTH), ink)


def plan_lines(plans: Sequence[PlanBar], width: int, ink: Ink) -> list[str]:
    """Draw two bars for each plan, each kind up to its longest."""
    name = max(len(one.label) for one in plans)
    saved = [f"{short(100.0 * one.saved_share)} %" for one in plans]
    dim = [f"{digits(one.dim_s_per_visit)} s" for one in plans]
    behind = [max(map(len, words)) for words in (saved, dim)]
    room = (width - 2 - name - sum(behind) - 6) // 2
    most = [max(one.saved_share for one in plans), max(one.dim_s_per_visit for one in plans)]
    first = _fitting(("saved of always on", "saved"), room + behind[0] + 1)
    second = _fitting(("in dim light, a visit", "dim, a visit", "dim"), room + behind[1] + 1)

    def cell(value: float, place: int, text: str) -> str:
        drawn = bar(value / most[place], room, ink) if most[place] > 0.0 else ""
        return f"{drawn:<{room}} {text:>{behind[place]}}"

    return [
        "Saving against service, fresh traffic",
        f"  {'':<{name}} {first:<{room + behind[0] + 1}}  {second}",
        *(
            f"  {one.label:<{name}} {cell(one.saved_share, 0, saved[row])}"
            f"  {cell(one.dim_s_per_visit, 1, dim[row])}"
            for row, one in enumerate(plans)
        ),
    ]


def _fitting(words: Sequence[str], room: int) -> str:
    """The first heading that fits, else the last."""
    return next((word for word in words if len(word) <= room), words[-1])
