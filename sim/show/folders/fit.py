"""The results folder of a fit.

Comes in: a `SiteFit`, its `SiteLog` and `Goodness`, the page.  Goes out: scenario.toml (which runs),
traffic.toml (what came from the log), fit.csv, goodness.csv, the quality table, pictures, report.html,
summary.json.  Before: `study/from_logs/goodness`, `show/folders/whole`; after: `commands/data`.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from sim.floor.layout import lay_out
from sim.provenance import content_hash, versions
from sim.scenario.toml import dump_scenario, dump_tables
from sim.show.folders.whole import MARK, number_text, put_text, write_folder, write_json, write_rows
from sim.show.notes.proof import FIT_NOTES
from sim.show.reports.paper import paper_html
from sim.show.reports.summary_proof import fit_summary
from sim.show.words.cautions import cautions
from sim.show.words.sections import Page
from sim.study.from_logs.figures import LEVEL
from sim.study.from_logs.fit import SiteFit
from sim.study.from_logs.goodness import Goodness
from sim.study.from_logs.log import SiteLog

__all__ = ["fit_json", "render_fit", "write_fit"]

_FIT = ("figure", "value", "low", "high", "unit", "count")
_GOODNESS = (
    "aisle", "visits", "simulated_visits", "occupied_share", "simulated_occupied_share", "gap_p50_s",
    "simulated_gap_p50_s", "ks_statistic", "ks_p_value",
)


def write_fit(
    fit: SiteFit, log: SiteLog, goodness: Goodness, page: Page, out: Path, *, force: bool = False
) -> None:
    """Write the results folder, whole or not at all.

    Parameters
    ----------
    fit, log, goodness : what was fitted, to what, and how well
    page : the same in words
    out : the folder to make
    force : replace an earlier results folder

    Raises
    ------
    InputError : the folder exists
    MachineError : the disk refused; what was there before is untouched
    """
    write_folder(out, lambda folder: _fill(fit, log, goodness, page, folder), force=force)


def _fill(fit: SiteFit, log: SiteLog, goodness: Goodness, page: Page, folder: Path) -> None:
    """Write every file."""
    from sim.show.figures.fit import draw_fit_figures

    put_text(folder / "scenario.toml", dump_scenario(fit.scenario))
    put_text(folder / "traffic.toml", dump_tables(fit.traffic))
    write_rows(
        folder / "fit.csv",
        _FIT,
        (
            [one.key, *map(number_text, (one.value, one.low, one.high)), one.unit, str(one.count)]
            for one in fit.figures
        ),
    )
    write_rows(
        folder / "goodness.csv",
        _GOODNESS,
        (
            [
                one.aisle,
                *map(
                    number_text,
                    (
                        one.visits, one.simulated_visits, one.occupied_share, one.simulated_occupied_share,
                        one.gap_p50_s, one.simulated_gap_p50_s, one.gaps.statistic, one.gaps.p_value,
                    ),
                ),
            ]
            for one in goodness.aisles
        ),
    )
    for table in log.tables:
        write_rows(folder / f"{table.name}.csv", table.header, table.rows)
    figures = folder / "figures"
    figures.mkdir()
    svgs = draw_fit_figures(fit, goodness, figures)
    put_text(folder / "report.html", render_fit(fit, log, goodness, page, svgs))
    write_json(folder / MARK, fit_json(fit, log, goodness, page))


def render_fit(
    fit: SiteFit, log: SiteLog, goodness: Goodness, page: Page, svgs: Mapping[str, str]
) -> str:
    """Return the report as one self-contained page; pictures by name, absent ones are left out."""
    summary, notes = fit_summary(fit, log, goodness), cautions(fit.scenario, lay_out(fit.scenario))
    return paper_html(page, summary, FIT_NOTES, svgs, notes, fit.scenario)


def fit_json(fit: SiteFit, log: SiteLog, goodness: Goodness, page: Page) -> dict[str, Any]:
    """Return what was fitted and how well, as plain JSON values; parameters as of `write_fit`."""
    return {
        "format": 1,
        "title": fit.scenario.title,
        "source": "fit",
        "log": log.kind,
        "visits": float(log.events.sum()),
        "observed_h": float(log.grid.observed_h.sum()),
        "confidence": LEVEL,
        "replications": goodness.replications,
        "figures": [
            {
                "key": one.key,
                "value": _or_none(one.value),
                "low": _or_none(one.low),
                "high": _or_none(one.high),
                "unit": one.unit,
                "count": one.count,
            }
            for one in fit.figures
        ],
        "tests": [
            {
                "name": test.name,
                "statistic": _or_none(test.statistic),
                "p_value": _or_none(test.p_value),
                "compared": test.size,
            }
            for test in goodness.tests
        ],
        "seed": fit.scenario.seed,
        "scenario_hash": content_hash(fit.scenario.content()),
        "versions": versions(),
        "notices": list(page.notices),
    }


def _or_none(value: float) -> float | None:
    """JSON has no nan."""
    return None if value != value else value
