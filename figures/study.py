"""Placement, zoning, timeout and skew on four sites: the numbers, and the picture.

Comes in: `scenarios/studies/sites-study.toml`, 288 points of five weeks each (about five minutes with two
workers).  Goes out: rows of two kinds, means over the weeks with half-widths of 95 %:

point   a point of the study: `saved`, share of always on; `dim_s`, seconds in dim light per visit
change  what a factor does to `saved` from its first value to its last, over all other factors, paired
        by week; `factor` says which, `timeout` goes from the longest to the shortest
"""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pandas as pd
from matplotlib.ticker import FuncFormatter, NullFormatter, PercentFormatter

from sim.show.figures.style import INK, LOW, SCHEDULE, SETTINGS, blank_figure, quiet_axes, render, style
from sim.show.folders.batch_table import write_table
from sim.study.batch.file import read_study
from sim.study.batch.points import lay_out_points
from sim.study.batch.run import open_store, run_study
from sim.study.differences import subtract_paired
from sim.study.replications.precision import estimate_mean

STUDY = Path(__file__).resolve().parent.parent / "scenarios" / "studies" / "sites-study.toml"
SITES = {
    "pallet-reserve": "Pallet reserve",
    "narrow-aisles": "Narrow aisles",
    "cross-dock": "Cross-dock",
    "case-picking": "Case picking",
}
FACTORS = {
    "at": ("sensors.at", "ends", "every"),
    "zones": ("floor.zones_per_aisle", "1", "2"),
    "skew": ("skew", "0.5", "1.5"),
    "timeout": ("all.timeout_s", "1200", "30"),
}
"""A factor's column in the study's table, and the values between which its change is told."""

LOOKS = {
    ("ends", 1): ("sensors at the ends, whole aisles", SETTINGS, "-", "o"),
    ("ends", 2): ("sensors at the ends, halves", SETTINGS, "--", "s"),
    ("every", 1): ("a sensor on every luminaire, whole aisles", SCHEDULE, "-", "o"),
    ("every", 2): ("a sensor on every luminaire, halves", SCHEDULE, "--", "s"),
}
Row = dict[str, object]


def compute(store: Path | None = None, workers: int = 2) -> pd.DataFrame:
    """Return the points and the changes; a store that holds the study's figures saves computing them."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder) / "store" if store is None else store
        batch = lay_out_points(read_study(STUDY))
        with open_store(place, "python -m figures study") as opened:
            run_study(batch, opened, workers=workers)
            path = write_table(batch, opened, place, "csv")[0]
        with path.open(encoding="utf-8", newline="") as file:
            return summarise(list(csv.DictReader(file)))


def summarise(table: list[dict[str, str]]) -> pd.DataFrame:
    """Return means over weeks from the study's own table, a row per point and week."""
    weeks: dict[tuple[str, ...], list[Mapping[str, str]]] = {}
    for one in sorted(table, key=lambda one: int(one["replication"])):
        point = (one["scenario"], *(one[column] for column, *_ in FACTORS.values()))
        weeks.setdefault(point, []).append(one)
    saved = {point: [float(one["saved_share"]) for one in rows] for point, rows in weeks.items()}
    dim = {point: [float(one["dim_truck_s"]) / float(one["visits"]) for one in rows]
           for point, rows in weeks.items()}
    rows: list[Row] = []
    for point in weeks:
        site, *values = point
        row: Row = {"kind": "point", "site": site, "factor": "", **dict(zip(FACTORS, values, strict=True))}
        for name, found in (("saved", saved[point]), ("dim_s", dim[point])):
            estimate = estimate_mean(found)
            row |= {name: estimate.mean, f"{name}_half_width": estimate.half_width}
        rows.append(row)
    for site in SITES:
        for place, (factor, (_, first, last)) in enumerate(FACTORS.items(), start=1):
            before, after = (
                np.mean([runs for point, runs in saved.items() if (point[0], point[place]) == (site, end)], 0)
                for end in (first, last)
            )
            change = subtract_paired(after.tolist(), before.tolist()).estimate
            rows.append({"kind": "change", "site": site, "factor": factor,
                         "saved": change.mean, "saved_half_width": change.half_width})
    return pd.DataFrame(rows).astype(dict.fromkeys(("zones", "skew", "timeout"), float))


def mean_of(table: pd.DataFrame, name: str, **chosen: object) -> float:
    """Return the mean of a column over the points that have the chosen values."""
    points = table[table["kind"] == "point"]
    for column, value in chosen.items():
        points = points[points[column] == value]
    return float(points[name].mean())


def draw(table: pd.DataFrame) -> bytes:
    """Draw saving over dim seconds per visit, a line of timeouts for each placement and zoning."""
    points = table[table["kind"] == "point"].sort_values("timeout")
    with style():
        figure = blank_figure(5.6)
        panels = figure.subplots(2, 2, sharex=True).ravel()
        for axes, (site, name) in zip(panels, SITES.items(), strict=True):
            for (at, zones), (words, colour, dash, marker) in LOOKS.items():
                line = points[(points["site"] == site) & (points["at"] == at) & (points["zones"] == zones)]
                for skew, one in line.groupby("skew"):
                    if skew == 1.0:
                        axes.plot(one["dim_s"], one["saved"], color=colour, ls=dash, marker=marker, ms=3.2,
                                  lw=1.2, label=words, zorder=3)
                    else:
                        axes.plot(one["dim_s"], one["saved"], color=LOW, ls=dash, lw=0.6, zorder=2)
            axes.set_xscale("log")
            axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
            axes.xaxis.set_minor_formatter(NullFormatter())
            axes.set_title(name, loc="left", color=INK)
            axes.yaxis.set_major_formatter(PercentFormatter(1.0, decimals=0))
            quiet_axes(axes)
        for axes in panels[2:]:
            axes.set_xlabel("dim light per visit [s]")
        for axes in panels[::2]:
            axes.set_ylabel("saved of always on")
        handles, labels = panels[0].get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside upper center", ncols=2, frameon=False)
        return render(figure)[1]
