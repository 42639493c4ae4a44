"""The folder of a verification: hours, days, months, hours of the week, page and pictures.

Comes in: a `Verification`.  Goes out: files.  Before: `show/folders/verify_rows`, `show/folders/whole`;
after: `commands/proof`.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from sim.floor.layout import lay_out
from sim.provenance import content_hash, versions
from sim.scenario.toml import dump_scenario
from sim.show.folders.verify_rows import (
    DAYS_HEADER,
    HOURS_HEADER,
    MONTHS_HEADER,
    WEEK_HEADER,
    day_rows,
    hour_rows,
    month_rows,
    verify_summary,
    week_rows,
)
from sim.show.folders.whole import MARK, put_text, write_folder, write_json, write_rows
from sim.show.notes.proof import VERIFY_NOTES
from sim.show.reports.paper import paper_html
from sim.show.reports.summary_proof import verify_summary_page
from sim.show.words.cautions import cautions
from sim.show.words.sections import Page
from sim.verification.verify import Verification

__all__ = ["render_verification", "verification_json", "write_verification"]


def verification_json(found: Verification, page: Page, confidence: float) -> dict[str, Any]:
    """Return what the meter shows, as plain JSON values; parameters as of `write_verification`."""
    return {
        "format": 1,
        "title": found.scenario.title,
        "source": "verify",
        **verify_summary(found, confidence),
        "seed": found.scenario.seed,
        "scenario_hash": content_hash(found.scenario.content()),
        "versions": versions(),
        "notices": list(page.notices),
    }


def write_verification(
    found: Verification, page: Page, confidence: float, out: Path, *, force: bool = False
) -> None:
    """Write the folder, whole or not at all.

    Parameters
    ----------
    found, page : what the meter shows, and the same in words
    confidence : of the saving's interval
    out : the folder to make
    force : replace an earlier results folder

    Raises
    ------
    InputError : the folder exists
    MachineError : the disk refused; what was there before is untouched
    """
    write_folder(out, lambda folder: _fill(found, page, confidence, folder), force=force)


def _fill(found: Verification, page: Page, confidence: float, folder: Path) -> None:
    """Write every file."""
    from sim.show.figures.verify import draw_verify_figures

    scenario = found.scenario
    write_json(folder / MARK, verification_json(found, page, confidence))
    put_text(folder / "scenario.toml", dump_scenario(scenario))
    write_rows(folder / "hours.csv", HOURS_HEADER, hour_rows(found))
    write_rows(folder / "days.csv", DAYS_HEADER, day_rows(found))
    write_rows(folder / "week.csv", WEEK_HEADER, week_rows(found))
    write_rows(folder / "months.csv", MONTHS_HEADER, month_rows(found))
    figures = folder / "figures"
    figures.mkdir()
    svgs = draw_verify_figures(found, figures)
    put_text(folder / "report.html", render_verification(found, page, confidence, svgs))


def render_verification(
    found: Verification, page: Page, confidence: float, svgs: Mapping[str, str]
) -> str:
    """Return the report as one self-contained page; pictures by name, absent ones are left out."""
    scenario = found.scenario
    summary, notes = verify_summary_page(found, confidence), cautions(scenario, lay_out(scenario))
    return paper_html(page, summary, VERIFY_NOTES, svgs, notes, scenario)
