"""Draw the picture of the study in scenarios/studies: `python figures/draw_study.py [STORE]`.

Comes in: the study, computed where STORE does not hold it yet (about three minutes).  Goes out: study.png
beside this script, and on the terminal the figures that README.md tells, with 95 % half-widths.
"""

from __future__ import annotations

import csv
import sys
import tempfile
from collections.abc import Mapping
from pathlib import Path

import numpy as np
from matplotlib.ticker import FuncFormatter, NullFormatter, PercentFormatter

from sim.show.batch_table import write_table
from sim.show.figures_style import INK, LOW, SCHEDULE, SETTINGS, blank_figure, quiet_axes, render, style
from sim.study.batch_file import read_study
from sim.study.batch_points import lay_out_points
from sim.study.batch_run import open_store, run_study
from sim.study.precision import estimate_mean

ROOT = Path(__file__).resolve().parent.parent
STUDY = ROOT / "scenarios" / "studies" / "sites-study.toml"
SITES = {
    "pallet-reserve": "Pallet reserve",
    "narrow-aisles": "Narrow aisles",
    "cross-dock": "Cross-dock",
    "case-picking": "Case picking",
}
LOOKS = {
    ("ends", "1"): ("sensors at the ends, whole aisles", SETTINGS, "-", "o"),
    ("ends", "2"): ("sensors at the ends, halves", SETTINGS, "--", "s"),
    ("every", "1"): ("a sensor on every luminaire, whole aisles", SCHEDULE, "-", "o"),
    ("every", "2"): ("a sensor on every luminaire, halves", SCHEDULE, "--", "s"),
}
Rows = list[dict[str, str]]


def compute(folder: Path) -> Path:
    """Compute what a store lacks; return its table."""
    batch = lay_out_points(read_study(STUDY))
    with open_store(folder, "python figures/draw_study.py") as store:
        run_study(batch, store, workers=2)
        return write_table(batch, store, folder, "csv")[0]


def read_rows(path: Path) -> Rows:
    """Read the table."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def mean_of(rows: Rows, **chosen: str) -> Mapping[str, np.ndarray]:
    """Return saving and dim seconds per visit of some rows, mean over points, by replication (R,)."""
    names = {
        "site": "scenario",
        "at": "sensors.at",
        "zones": "floor.zones_per_aisle",
        "timeout": "all.timeout_s",
    }
    wanted = {names.get(key, key): value for key, value in chosen.items()}
    own = [row for row in rows if all(row[key] == value for key, value in wanted.items())]
    numbers = sorted({int(row["replication"]) for row in own})
    saved, dim = (
        np.array(
            [np.mean([of(row) for row in own if int(row["replication"]) == number]) for number in numbers]
        )
        for of in (
            lambda row: float(row["saved_share"]),
            lambda row: float(row["dim_truck_s"]) / float(row["visits"]),
        )
    )
    return {"saved": saved, "dim": dim}


def tell(rows: Rows) -> None:
    """Print the figures that are told, for each site."""
    effects = (
        ("timeout 1200 to 30 s", "timeout", "1200", "30"),
        ("whole aisles to halves", "zones", "1", "2"),
        ("skew 0.5 to 1.5", "skew", "0.5", "1.5"),
        ("ends to every luminaire", "at", "ends", "every"),
    )
    for site in SITES:
        print(site)
        for words, key, low, high in effects:
            change = mean_of(rows, site=site, **{key: high})["saved"]
            change = change - mean_of(rows, site=site, **{key: low})["saved"]
            estimate = estimate_mean((100.0 * change).tolist())
            print(f"  saving, {words}: {estimate.mean:+.2f} +- {estimate.half_width:.2f} points")
        for (at, zones), (words, *_) in LOOKS.items():
            found = mean_of(rows, site=site, at=at, zones=zones)
            saved, dim = (estimate_mean(found[name].tolist()) for name in ("saved", "dim"))
            print(
                f"  {words}: saved {100 * saved.mean:.1f} +- {100 * saved.half_width:.1f} %, dim "
                f"{dim.mean:.3f} +- {dim.half_width:.3f} s a visit"
            )


def draw(rows: Rows) -> bytes:
    """Draw saving over dim seconds per visit, a line of timeouts for each placement and zoning."""
    timeouts = sorted({row["all.timeout_s"] for row in rows}, key=float)
    with style():
        figure = blank_figure(5.6)
        panels = figure.subplots(2, 2, sharex=True).ravel()
        for axes, (site, name) in zip(panels, SITES.items(), strict=True):
            for (at, zones), (words, colour, dash, marker) in LOOKS.items():
                for skew in ("0.5", "1.5", "1"):
                    points = [
                        mean_of(rows, site=site, at=at, zones=zones, skew=skew, timeout=timeout)
                        for timeout in timeouts
                    ]
                    dim = [float(one["dim"].mean()) for one in points]
                    saved = [float(one["saved"].mean()) for one in points]
                    if skew == "1":
                        axes.plot(
                            dim,
                            saved,
                            color=colour,
                            ls=dash,
                            marker=marker,
                            ms=3.2,
                            lw=1.2,
                            label=words,
                            zorder=3,
                        )
                    else:
                        axes.plot(dim, saved, color=LOW, ls=dash, lw=0.6, zorder=2)
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


def main() -> None:
    """Compute, tell and draw."""
    with tempfile.TemporaryDirectory() as folder:
        rows = read_rows(compute(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(folder) / "store"))
    tell(rows)
    (Path(__file__).parent / "study.png").write_bytes(draw(rows))


if __name__ == "__main__":
    main()
