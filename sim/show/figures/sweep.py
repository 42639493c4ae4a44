"""Pictures of a sweep: the trade-off, and the saving over the timeout.

Comes in: a `SweepResult`.  Goes out: SVG and PNG files.  Before: `show/numbers/decide`,
`show/figures/style`; after: `show/folders/sweep`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import MaxNLocator

from sim.outcome.names import OUTCOMES
from sim.show.figures.style import (
    DIM,
    INK,
    LOW,
    MUTED,
    PAPER,
    SCHEDULE,
    SETTINGS,
    blank_figure,
    legend_above,
    quiet_axes,
    render,
    style,
    title,
)
from sim.show.numbers.decide import SavingCurves, TradeOff, saving_curves, sweep_trade_off
from sim.show.words.plain_names import plain_names
from sim.study.sweeping.sweep import SweepResult

__all__ = ["draw_saving", "draw_sweep_figures", "draw_trade_off", "save_figures"]

_COLOURS = (SETTINGS, SCHEDULE, "#ffa90e", "#94a4a2", "#832db6", "#a96b59")
"""Petroff's set of ten, "Accessible color sequences for data visualization" (2021, arXiv 2107.02270)."""
_DASHES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)), (0, (1, 1)))
_MARKERS = ("D", "o", "s", "^")
_LARGEST = 60.0
_MOST_DRAWN = 3000
"""Dots beyond which they are an image within the picture: a report must stay small enough to mail."""


def save_figures(figures: Mapping[str, Figure], folder: Path) -> dict[str, str]:
    """Write figures into an existing folder as SVG and PNG; call inside `style()`.  Return the SVGs' text."""
    svgs = {}
    for name, figure in figures.items():
        svg, png = render(figure)
        (folder / f"{name}.svg").write_bytes(svg)
        (folder / f"{name}.png").write_bytes(png)
        svgs[name] = svg.decode()
    return svgs


def draw_sweep_figures(result: SweepResult, folder: Path) -> dict[str, str]:
    """Draw every picture of a sweep: `tradeoff`, and `saving` where some number was varied."""
    with style():
        figures = {"tradeoff": draw_trade_off(sweep_trade_off(result))}
        curves = saving_curves(result)
        if curves is not None:
            figures["saving"] = draw_saving(curves)
        return save_figures(figures, folder)


def draw_trade_off(numbers: TradeOff) -> Figure:
    """Draw energy against dim truck-seconds; the area of a dot is its switching."""
    figure = blank_figure(3.9)
    axes = figure.subplots()
    most = float(numbers.switch_ups.max(initial=0.0))
    area = 4.0 + _LARGEST * numbers.switch_ups / most if most else np.full(len(numbers.switch_ups), 4.0)
    handles: list[Line2D] = []
    labels: list[str] = []
    axes.scatter(
        numbers.energy_kwh,
        numbers.dim_truck_s / 60.0,
        s=area,
        color=LOW,
        alpha=0.45,
        linewidths=0.0,
        rasterized=len(numbers.energy_kwh) > _MOST_DRAWN,
    )
    handles.append(Line2D([], [], color=LOW, marker="o", linestyle="none", markersize=6, alpha=0.6))
    labels.append(f"a setting; area: switch-ups, largest {most:,.0f}")
    for line, label, colour, dash in zip(numbers.lines, numbers.line_labels, _COLOURS, _DASHES, strict=False):
        axes.plot(
            numbers.energy_kwh[line],
            numbers.dim_truck_s[line] / 60.0,
            color=colour,
            linestyle=dash,
            linewidth=1.1,
        )
        handles.append(Line2D([], [], color=colour, linestyle=dash, linewidth=1.3))  # type: ignore[arg-type]
        labels.append(plain_names(label) or "along the timeout")
    front = np.flatnonzero(numbers.is_front)
    front = front[np.argsort(numbers.energy_kwh[front])]
    axes.step(
        numbers.energy_kwh[front], numbers.dim_truck_s[front] / 60.0, where="post", color=INK, linewidth=0.8
    )
    handles.append(Line2D([], [], color=INK, linewidth=1.0))
    labels.append("front: none has less of both")
    for mark, shape in zip(numbers.marks, _MARKERS, strict=False):
        axes.plot(
            [mark.energy_kwh],
            [mark.dim_truck_s / 60.0],
            marker=shape,
            markersize=7,
            color=DIM,
            markeredgecolor=PAPER,
            linestyle="none",
            zorder=5,
        )
        handles.append(Line2D([], [], color=DIM, marker=shape, linestyle="none", markersize=6))
        labels.append(mark.label)
    floor = 0.1 * float(numbers.dim_truck_s.max(initial=0.0))
    for point, words in numbers.notes:
        # near the axis there is room above only
        is_low = bool(numbers.dim_truck_s[point] < floor)
        axes.annotate(
            words,
            (float(numbers.energy_kwh[point]), float(numbers.dim_truck_s[point]) / 60.0),
            xytext=(4, 5) if is_low else (-4, -4),
            textcoords="offset points",
            ha="left" if is_low else "right",
            va="bottom" if is_low else "top",
            fontsize=7,
            color=INK,
            zorder=6,
        )
    quiet_axes(axes, "both")
    axes.margins(x=0.08)
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel("energy of a run [kWh]")
    axes.set_ylabel("dim truck-time of a run [min]")
    columns = _key_columns(labels)
    title(axes, "What less energy costs in service", key_lines=-(-len(handles) // columns))
    legend_above(axes, handles, labels, columns=columns)
    return figure


def draw_saving(numbers: SavingCurves) -> Figure:
    """Draw the share saved over one key, with the interval of each curve as a band."""
    figure = blank_figure(3.4)
    axes = figure.subplots()
    handles: list[Line2D] = []
    labels: list[str] = []
    is_timeout = numbers.key.endswith("timeout_s")
    for across, mean, half, label, colour, dash in zip(
        numbers.across, numbers.mean, numbers.half_width, numbers.labels, _COLOURS, _DASHES, strict=False
    ):
        place = across / 60.0 if is_timeout else across
        axes.fill_between(
            place, 100.0 * (mean - half), 100.0 * (mean + half), color=colour, alpha=0.22, linewidth=0.0
        )
        axes.plot(place, 100.0 * mean, color=colour, linestyle=dash, linewidth=1.4)
        handles.append(Line2D([], [], color=colour, linestyle=dash, linewidth=1.6))
        labels.append(plain_names(label) or "mean")
    quiet_axes(axes)
    axes.xaxis.set_major_locator(MaxNLocator(nbins=10, steps=[1, 2, 5, 10], integer=is_timeout))
    _from_zero(axes, numbers)
    name = numbers.key.removesuffix("timeout_s").removesuffix(".")
    where = {"": "", "all": " in all periods"}.get(name, f" of {name}")
    axes.set_xlabel(f"timeout{where} [min]" if is_timeout else numbers.key)
    axes.set_ylabel(f"saved of {OUTCOMES['always_on_kwh'].name.removesuffix('_kwh').replace('_', ' ')} [%]")
    more = f"; {numbers.left_out} more curves are in sweep.csv" if numbers.left_out else ""
    columns = _key_columns(labels)
    lines = -(-len(handles) // columns) if len(handles) > 1 else 0
    title(axes, f"Saving, bands: 95 % intervals{more}", key_lines=lines)
    if lines:
        legend_above(axes, handles, labels, columns=columns)
    return figure


def _key_columns(labels: Sequence[str]) -> int:
    """So many columns of a key as the longest label leaves room for."""
    longest = max(len(label) for label in labels)
    return next((columns for columns, most in ((3, 38), (2, 58)) if longest <= most), 1)


def _from_zero(axes: Axes, numbers: SavingCurves) -> None:
    """Let the vertical axis begin at 0 where all savings are above it."""
    lowest = min(
        float((mean - half).min()) for mean, half in zip(numbers.mean, numbers.half_width, strict=True)
    )
    if lowest >= 0.0:
        axes.set_ylim(bottom=0.0)
    axes.axhline(0.0, color=MUTED, linewidth=0.6)
