"""The one look of all pictures: type, colours, axes, ticks of time, and bytes that never change.

Comes in: nothing.  Goes out: a bare `Figure`, helpers, and the picture as SVG and PNG.  Used by the
other figure files; after them: `show/figures/draw`.  Light is shown from slate (dark) to lamp white (full),
so that a picture reads the same in grey.  Lines differ by dash as well as by colour.
"""

from __future__ import annotations

import datetime as dt
import io
from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure

from sim.records import FloatColumn
from sim.show.words.amounts import MONTHS, day_label
from sim.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

__all__ = [
    "DIM", "GRID", "INK", "LAMP", "LAMP_PALE", "LIGHT_RAMP", "LOW", "MUTED", "OFF", "PAPER", "SCHEDULE",
    "SETTINGS", "WIDTH_IN", "blank_figure", "legend_above", "quiet_axes", "render", "style",
    "time_ticks", "title",
]

WIDTH_IN = 7.2
PNG_DPI = 160

INK = "#1f2a35"
MUTED = "#5b6875"
GRID = "#dde2e7"
PAPER = "#ffffff"
SETTINGS = "#3f90da"
SCHEDULE = "#e76300"
DIM = "#bd1f01"
"""Lines and marks; the three last are from Petroff's set of ten, "Accessible color sequences for data
visualization" (2021, arXiv 2107.02270)."""
LAMP = "#f0b93c"
LAMP_PALE = "#fdeec3"
LOW = "#98a4b0"
OFF = "#3a4550"
LIGHT_RAMP = LinearSegmentedColormap.from_list("light", ["#414c58", "#8e99a4", "#d9d5c6", "#fff8e3"])
"""Level 0 to level 1; lightness rises all the way."""

_STYLE: Any = {
    "font.family": ["DejaVu Sans"],
    "font.size": 8.0,
    "axes.titlesize": 9.5,
    "axes.labelsize": 8.0,
    "axes.edgecolor": MUTED,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.6,
    "axes.unicode_minus": False,
    "axes.facecolor": PAPER,
    "figure.facecolor": PAPER,
    "text.color": INK,
    "text.parse_math": False,
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "xtick.labelsize": 7.5,
    "ytick.labelsize": 7.5,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "hatch.linewidth": 0.6,
    "legend.fontsize": 7.5,
    "svg.fonttype": "none",
    "svg.hashsalt": "aislewake",
    "path.simplify": False,
}


def style() -> Any:
    """Return the context in which every picture is made and saved; the user's own settings stay away."""
    return rc_context(_STYLE)


def blank_figure(height_in: float) -> Figure:
    """Return an empty figure of the common width."""
    figure = Figure(figsize=(WIDTH_IN, height_in), layout="constrained")
    FigureCanvasAgg(figure)
    return figure


def title(axes: Axes, text: str, key_lines: int = 1) -> None:
    """Write a picture's title, flush left, with room below it for lines of a key."""
    axes.set_title(text, loc="left", fontweight="bold", color=INK, pad=8.0 + 14.0 * key_lines)


def quiet_axes(axes: Axes, grid: str = "y") -> None:
    """Leave only the axis lines that carry a scale, and a faint grid behind."""
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.grid(axis=grid, color=GRID, linewidth=0.6)  # type: ignore[arg-type]
    axes.set_axisbelow(True)


def legend_above(axes: Axes, handles: Sequence[Any], labels: Sequence[str], columns: int = 4) -> None:
    """Put the key between title and axes, row by row."""
    rows = -(-len(handles) // columns)
    order = [row * columns + place for place in range(columns) for row in range(rows)]
    order = [number for number in order if number < len(handles)]
    legend = axes.legend(
        [handles[number] for number in order], [labels[number] for number in order], loc="lower left",
        bbox_to_anchor=(-0.005, 1.0), ncols=columns, frameon=False,
        borderaxespad=0.2, handlelength=2.2, columnspacing=1.4, handletextpad=0.5,
    )
    legend.set_in_layout(False)


def render(figure: Figure) -> tuple[bytes, bytes]:
    """Return a figure as SVG and PNG, the same bytes in every process."""
    svg, png = io.BytesIO(), io.BytesIO()
    figure.savefig(svg, format="svg", metadata={"Date": None, "Creator": None})
    figure.savefig(png, format="png", dpi=PNG_DPI, metadata={"Software": None})
    return svg.getvalue(), png.getvalue()


def time_ticks(start: dt.datetime, duration_s: float) -> tuple[FloatColumn, list[str]]:
    """Return where ticks of local time stand [s from the start] and what they say, at most about 14."""
    if duration_s > 60 * SECONDS_PER_DAY:
        return _month_ticks(start, duration_s)
    steps = (300, 600, 900, 1800, 3600, 7200, 10_800, 21_600, 43_200, 86_400, 2 * 86_400, 7 * 86_400)
    step = next((step for step in steps if duration_s / step <= (9.0 if step < 86_400 else 14.0)), steps[-1])
    midnight = start.replace(hour=0, minute=0, second=0, microsecond=0)
    if step > SECONDS_PER_DAY:
        first = (SECONDS_PER_DAY - (start - midnight).total_seconds()) % SECONDS_PER_DAY
    else:
        first = -(start - midnight).total_seconds() % step
    places = np.arange(first, duration_s + 1.0, step)
    moments = [start + dt.timedelta(seconds=float(place)) for place in places]
    if step >= SECONDS_PER_DAY:
        return places, [day_label(moment).replace(" ", "\n", 1) for moment in moments]
    if duration_s <= SECONDS_PER_DAY + SECONDS_PER_HOUR:
        return places, [f"{moment:%H:%M}" for moment in moments]
    return places, [f"{moment:%H:%M}" + f"\n{day_label(moment)}" * (moment.hour == 0) for moment in moments]


def _month_ticks(start: dt.datetime, duration_s: float) -> tuple[FloatColumn, list[str]]:
    """First days of months."""
    places: list[float] = []
    labels: list[str] = []
    year, month = start.year, start.month
    every = 1 + int(duration_s / SECONDS_PER_DAY // 400)
    while True:
        seconds = (dt.datetime(year, month, 1) - start.replace(tzinfo=None)).total_seconds()
        if seconds > duration_s:
            return np.array(places), labels
        if seconds >= 0 and (month - 1) % every == 0:
            places.append(seconds)
            labels.append(f"{MONTHS[month - 1]}\n{year}" if month == 1 or not labels else MONTHS[month - 1])
        year, month = (year, month + 1) if month < 12 else (year + 1, 1)
