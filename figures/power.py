"""The load of one working day: its numbers, and its picture.

Comes in: ten runs of the packaged pallet reserve.  Goes out: a row for each quarter-hour of Wednesday [kW]:
mean over runs with the half-width of its 95 % interval, least and greatest run, always on.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
from matplotlib.ticker import FixedLocator

import sim
from figures.small import small_figure, small_png, small_style
from sim.results import Result
from sim.show.figures.style import INK, LAMP_PALE, MUTED, SETTINGS, quiet_axes
from sim.show.numbers.run import power_numbers
from sim.study.replications.precision import estimate_mean
from sim.units import QUARTER_S, SECONDS_PER_DAY

DAY = 2
"""Wednesday: the run begins on a Monday."""


def compute(result: Result | None = None) -> pd.DataFrame:
    """Return the load in each quarter-hour of the day."""
    result = sim.run(sim.load()) if result is None else result
    numbers = power_numbers(result)
    quarters = round(SECONDS_PER_DAY / QUARTER_S)
    day = slice(DAY * quarters, (DAY + 1) * quarters)
    start_s = numbers.edge_s[day]
    runs = np.array([outcomes.quarter_kw[day] for outcomes in result.outcomes])
    return pd.DataFrame(
        {
            "hour": (start_s - DAY * SECONDS_PER_DAY) / 3600.0,
            "mean_kw": numbers.mean_kw[day],
            "mean_kw_half_width": [estimate_mean(loads).half_width for loads in runs.T.tolist()],
            "least_kw": numbers.low_kw[day],
            "greatest_kw": numbers.high_kw[day],
            "always_on_kw": numbers.always_on_kw,
        }
    )


def draw(table: pd.DataFrame) -> bytes:
    """Draw the day: the load, its spread, and what it stays below."""
    hour, mean, always = table["hour"], table["mean_kw"], float(table["always_on_kw"].iloc[0])
    saved = 100.0 * (1.0 - float(mean.mean()) / always)
    with small_style():
        figure = small_figure("The load of a Wednesday")
        axes = figure.subplots()
        edges = np.append(hour, 24.0)

        def step(name: str) -> np.ndarray:
            return np.append(table[name], table[name].iloc[-1])

        axes.fill_between(edges, step("mean_kw"), always, step="post", color=LAMP_PALE, linewidth=0.0)
        axes.fill_between(
            edges, step("least_kw"), step("greatest_kw"), step="post", color=SETTINGS, alpha=0.3,
            linewidth=0.0,
        )
        axes.axhline(always, color=MUTED, linewidth=1.4, linestyle="--")
        axes.step(edges, step("mean_kw"), where="post", color=SETTINGS, linewidth=1.6)
        axes.annotate("always on", (24.0, always), (0, 3), textcoords="offset points", ha="right", color=INK)
        axes.annotate("with sensors", (14.2, 10.0), ha="center", va="top", color=INK)
        axes.text(3.0, 20.0, f"{saved:.0f} %\nsaved", ha="center", va="center", color=INK, fontsize=10.0)
        quiet_axes(axes)
        axes.set_xlim(0.0, 24.0)
        axes.set_ylim(0.0, 1.13 * always)
        axes.xaxis.set_major_locator(FixedLocator([0, 6, 12, 18, 24]))
        axes.set_xticklabels(["0:00", "6:00", "12:00", "18:00", "24:00"])
        axes.yaxis.set_major_locator(FixedLocator([0, 10, 20, 30]))
        axes.set_yticklabels(["0", "10", "20", "30 kW"])
        return small_png(figure)
