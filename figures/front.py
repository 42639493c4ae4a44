"""What less energy costs in dim light: its numbers, and its picture.

Comes in: the packaged pallet reserve, each of ten runs under 14 settings of the day, on the same trucks.
Goes out: a row a setting: energy a day and minutes a day in which a truck works below the occupied level,
means over runs.  Half-widths are of 95 %: `_half_width` of the mean by itself, `_paired` of its difference
from the file's own setting in the same runs, which is what the picture's bars show (those of energy are
shorter than the dots are wide).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from matplotlib.axes import Axes

import sim
from figures.small import small_figure, small_png, small_style
from sim.scenario.schema import Scenario
from sim.show.figures.style import DIM, INK, LOW, MUTED, PAPER, SETTINGS, quiet_axes
from sim.study.differences import subtract_paired
from sim.study.relight import simulate_for_lights
from sim.study.replications.precision import estimate_mean

TIMEOUTS_S = (60.0, 120.0, 180.0, 300.0, 600.0, 900.0, 1200.0)
LEVELS = (0.1, 0.3)
VARIED = "day"


def compute(
    scenario: Scenario | None = None,
    timeouts_s: Sequence[float] = TIMEOUTS_S,
    levels: Sequence[float] = LEVELS,
) -> pd.DataFrame:
    """Return the settings' energy and dim time a day."""
    scenario = sim.load() if scenario is None else scenario
    site, named = sim.prepare_site(scenario), scenario.lighting.settings
    tried = [(level, timeout) for level in levels for timeout in timeouts_s]
    choices = [dict(named)] + [
        {**named, VARIED: named[VARIED].model_copy(update={"unoccupied_level": level, "timeout_s": timeout})}
        for level, timeout in tried
    ]
    found = [
        sim.evaluate_settings(site, simulate_for_lights(site, number), choices)
        for number in range(scenario.replications)
    ]
    columns: dict[str, list[float | None]] = {
        "unoccupied_level": [level for level, _ in tried],
        "timeout_s": [timeout for _, timeout in tried],
    }
    for name, outcome, scale in (
        ("energy_kwh", "energy_kwh", 1.0 / scenario.days),
        ("dim_min", "dim_truck_s", 1.0 / 60.0 / scenario.days),
    ):
        planned, *others = (scale * np.array([one[outcome] for one in found])).T.tolist()
        means = [estimate_mean(values) for values in others]
        columns[name] = [one.mean for one in means]
        columns[f"{name}_half_width"] = [one.half_width for one in means]
        columns[f"{name}_paired"] = [subtract_paired(one, planned).estimate.half_width for one in others]
    return pd.DataFrame(columns)


def draw(table: pd.DataFrame) -> bytes:
    """Draw a line of timeouts for each level, with paired intervals."""
    planned = sim.load().lighting.settings[VARIED]
    with small_style():
        figure = small_figure("What less energy costs")
        axes = figure.subplots()
        for level, line in table.groupby("unoccupied_level"):
            is_planned = level == planned.unoccupied_level
            colour = SETTINGS if is_planned else LOW
            axes.errorbar(
                line["energy_kwh"], line["dim_min"], line["dim_min_paired"], line["energy_kwh_paired"],
                color=colour, ecolor=INK if is_planned else MUTED, elinewidth=1.2, capsize=1.8,
                marker="o", markersize=3.4, linewidth=1.4, zorder=3 if is_planned else 2,
            )
            top = line.iloc[int(line["dim_min"].argmax())]
            axes.annotate(
                "dim to\n" * is_planned + f"{100 * level:.0f} %", (top["energy_kwh"], top["dim_min"]), (0, 5),
                textcoords="offset points", ha="center", va="bottom", linespacing=1.0, color=INK,
            )
            if is_planned:
                _mark_timeouts(axes, line, planned.timeout_s)
        quiet_axes(axes, "both")
        axes.set_ylim(0.0, 1.3 * float(table["dim_min"].max()))
        axes.set_xlim(float(table["energy_kwh"].min()) - 26.0, float(table["energy_kwh"].max()) + 41.0)
        axes.set_yticks([0, 5, 10, 15, 20])
        axes.set_xlabel("energy a day [kWh]")
        axes.set_ylabel("in dim light a day [min]")
        return small_png(figure)


def _mark_timeouts(axes: Axes, line: pd.DataFrame, planned_s: float) -> None:
    """Say the timeout of a few points, and which one is planned."""
    for timeout_s, words, offset in (
        (60.0, "after 1 min", (7, -9)),
        (120.0, "2 min", (6, 3)),
        (planned_s, f"{planned_s / 60.0:.0f} min: planned", (6, 3)),
        (1200.0, "20 min", (-14, 7)),
    ):
        row = line[line["timeout_s"] == timeout_s].iloc[0]
        place = float(row["energy_kwh"]), float(row["dim_min"])
        axes.annotate(words, place, offset, textcoords="offset points", color=INK)
        if timeout_s == planned_s:
            axes.plot(*place, marker="D", markersize=6, color=DIM, markeredgecolor=PAPER, zorder=5)
