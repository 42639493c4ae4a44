"""Pictures of a meter beside the simulation: days in a row, hour against hour, the mean day, months.

Comes in: a `Verification`.  Goes out: SVG and PNG files.  Before: `verification/verify`,
`show/figures/style`; after: `show/folders/verify`.  The meter is dark, the prediction blue and dashed.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from sim.show.figures.style import (
    DIM,
    INK,
    LAMP,
    MUTED,
    PAPER,
    SETTINGS,
    blank_figure,
    legend_above,
    quiet_axes,
    style,
    time_ticks,
    title,
)
from sim.show.figures.sweep import save_figures
from sim.show.words.amounts import MONTHS
from sim.verification.verify import Series, Verification

__all__ = ["draw_verify_figures"]

_BAND = "#cfe3f6"
_MOST_MARKED = 120
"""Days up to which each has a mark of full size."""


def draw_verify_figures(found: Verification, folder: Path) -> dict[str, str]:
    """Draw every picture of the series that speaks for the site."""
    with style():
        return save_figures(
            {
                "days": _draw_days(found),
                "hours": _draw_hours(found.main),
                "profile": _draw_profile(found.main),
                "months": _draw_months(found.main),
            },
            folder,
        )


def _draw_days(found: Verification) -> Figure:
    """Days in a row with the spread of simulated days; days that do not fit are marked."""
    one = found.main
    steps = one.days
    figure = blank_figure(2.9)
    axes = figure.subplots()
    start = dt.datetime.combine(steps.first[0], dt.time())
    place = np.array([(day - steps.first[0]).days for day in steps.first], dtype=np.float64) * 86_400.0
    whole = np.array(steps.is_whole, dtype=bool)
    low, high = steps.predicted - 2.0 * steps.spread, steps.predicted + 2.0 * steps.spread
    shown = np.where(whole, steps.predicted, np.nan)
    axes.fill_between(place, low, high, where=whole.tolist(), color=_BAND, linewidth=0.0)
    axes.plot(place, shown, color=SETTINGS, linestyle="--", linewidth=1.2)
    metered = np.where(whole, steps.metered, np.nan)
    is_long = len(place) > _MOST_MARKED
    axes.plot(
        place, metered, color=INK, linewidth=0.7 if is_long else 1.1, marker="o",
        markersize=1.2 if is_long else 2.6,
    )
    names = {one.circuit.name}
    if found.whole is not None:
        names = {column.circuit.name for column in found.series}
    odd = {misfit.day for misfit in found.days if misfit.circuit in names}
    epoch = dt.date(1970, 1, 1)
    marked = np.array([(day - epoch).days in odd for day in steps.first], dtype=bool) & whole
    size = 2.4 if is_long else 5.0
    axes.plot(place[marked], metered[marked], color=DIM, marker="D", markersize=size, linestyle="none")
    span = float(place[-1]) + 86_400.0
    ticks, labels = time_ticks(start, span)
    inside = ticks < span
    axes.set_xticks(ticks[inside], [label for label, keep in zip(labels, inside, strict=True) if keep])
    axes.set_xlim(-43_200.0, span - 43_200.0)
    axes.set_ylim(bottom=0.0)
    quiet_axes(axes)
    axes.set_ylabel("energy of the day [kWh]")
    title(axes, f"Metered against predicted by day: {one.circuit.name}")
    handles: list[Line2D | Patch] = [
        Line2D([], [], color=INK, linewidth=1.2, marker="o", markersize=3),
        Line2D([], [], color=SETTINGS, linestyle="--", linewidth=1.4),
        Patch(facecolor=_BAND),
    ]
    names_shown = [one.kind, "predicted", "twice the spread of simulated days"]
    if marked.any():
        handles.append(Line2D([], [], color=DIM, marker="D", markersize=5, linestyle="none"))
        names_shown.append("does not fit")
    legend_above(axes, handles, names_shown)
    return figure


def _draw_hours(one: Series) -> Figure:
    """Hour against hour, with the line on which they are the same."""
    figure = blank_figure(3.6)
    axes = figure.subplots()
    known = ~np.isnan(one.metered)
    axes.plot(
        one.predicted[known], one.metered[known], color=INK, marker="o", markersize=2.0, alpha=0.35,
        linestyle="none", markeredgewidth=0.0, rasterized=bool(known.sum() > 2000),
    )
    top = 1.05 * float(max(one.predicted[known].max(), one.metered[known].max(), 1e-9))
    axes.plot([0.0, top], [0.0, top], color=SETTINGS, linestyle="--", linewidth=1.2)
    axes.axhline(one.circuit.connected_kw, color=LAMP, linewidth=1.2)
    axes.set_xlim(0.0, top)
    axes.set_ylim(0.0, max(top, 1.05 * one.circuit.connected_kw))
    quiet_axes(axes, "both")
    axes.set_xlabel("predicted energy of the hour [kWh]")
    axes.set_ylabel(f"{one.kind} [kWh]")
    title(axes, f"Hour against hour: {one.circuit.name}")
    legend_above(
        axes,
        [
            Line2D([], [], color=INK, marker="o", markersize=3, linestyle="none"),
            Line2D([], [], color=SETTINGS, linestyle="--", linewidth=1.4),
            Line2D([], [], color=LAMP, linewidth=1.4),
        ],
        ["an hour", "the same", "all luminaires at full"],
    )
    return figure


def _draw_profile(one: Series) -> Figure:
    """The mean day, workdays and weekends apart."""
    figure = blank_figure(2.7)
    panels = figure.subplots(1, 2, sharey=True)
    known = ~np.isnan(one.metered)
    hour = one.wall_s % 86_400 // 3600
    weekday = (one.wall_s // 86_400 + 3) % 7
    for axes, name, chosen in (
        (panels[0], "Monday to Friday", weekday < 5),
        (panels[1], "Saturday and Sunday", weekday >= 5),
    ):
        inside = known & chosen
        edges = np.arange(25)
        for values, colour, dash in ((one.predicted, SETTINGS, "--"), (one.metered, INK, "-")):
            counts = np.bincount(hour[inside], minlength=24)
            sums = np.bincount(hour[inside], weights=values[inside], minlength=24)
            mean = np.where(counts > 0, sums / np.maximum(counts, 1), np.nan)
            axes.stairs(mean, edges, color=colour, linestyle=dash, linewidth=1.5, baseline=None)
        axes.set_xlim(0, 24)
        axes.set_xticks(range(0, 25, 6), [f"{clock:02d}:00" for clock in range(0, 25, 6)])
        axes.set_ylim(bottom=0.0)
        quiet_axes(axes)
        axes.set_xlabel(name)
    panels[0].set_ylabel("mean load [kW]")
    title(panels[0], f"The mean day: {one.circuit.name}")
    legend_above(
        panels[0],
        [
            Line2D([], [], color=INK, linewidth=1.6),
            Line2D([], [], color=SETTINGS, linestyle="--", linewidth=1.6),
        ],
        [one.kind, "predicted"],
    )
    return figure


def _draw_months(one: Series) -> Figure:
    """Monthly bars, metered beside predicted."""
    figure = blank_figure(2.6)
    axes = figure.subplots()
    steps = one.months
    place = np.arange(len(steps.first))
    width = 0.36
    axes.bar(place - 0.195, steps.metered, width, color=INK, edgecolor=PAPER, linewidth=0.4)
    axes.bar(
        place + 0.195, steps.predicted, width, color=_BAND, edgecolor=SETTINGS, linewidth=0.6, hatch="////"
    )
    labels = []
    for row, month in enumerate(steps.first):
        part = "" if steps.is_whole[row] else f"\n{int(steps.hours[row])} h"
        year = f" {month.year}" if row == 0 or month.month == 1 else ""
        labels.append(f"{MONTHS[month.month - 1]}{year}{part}")
    axes.set_xticks(place, labels)
    axes.set_xlim(-0.6, max(len(place), 6) - 0.4)
    quiet_axes(axes)
    axes.tick_params(axis="x", length=0)
    axes.spines["bottom"].set_color(MUTED)
    axes.set_ylabel("energy [kWh]")
    title(axes, f"By month, of the hours known: {one.circuit.name}")
    legend_above(
        axes,
        [Patch(facecolor=INK), Patch(facecolor=_BAND, edgecolor=SETTINGS, hatch="////")],
        [one.kind, "predicted"],
    )
    return figure
