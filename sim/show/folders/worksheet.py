"""The folder of a rebate worksheet: CSV, page, scenario.

Comes in: a `Worksheet`.  Goes out: files.  Before: `show/words/worksheet`, `show/folders/whole`; after:
`commands/proof`.
"""

from __future__ import annotations

from dataclasses import asdict
from itertools import groupby
from pathlib import Path
from typing import Any

from sim.floor.layout import lay_out
from sim.provenance import content_hash, versions
from sim.scenario.toml import dump_scenario
from sim.show.folders.whole import MARK, put_text, write_folder, write_json, write_rows
from sim.show.notes.book import NoteBook
from sim.show.notes.proof import WORKSHEET_NOTES
from sim.show.reports.paper import facts_of, jinja_template, make_table
from sim.show.reports.summary_proof import worksheet_summary
from sim.show.words.cautions import cautions
from sim.show.words.glossary import used_words
from sim.show.words.worksheet import (
    SHEET_HEADER,
    sheet_csv,
    sheet_lines,
    sheet_notices,
    sheet_remarks,
    sheet_subtitle,
)
from sim.verification.worksheet import Worksheet

__all__ = ["render_worksheet", "worksheet_json", "write_worksheet"]


def render_worksheet(sheet: Worksheet) -> str:
    """Return the sheet as one self-contained page."""
    scenario, summary = sheet.scenario, worksheet_summary(sheet)
    book = NoteBook(WORKSHEET_NOTES)
    lines = sheet_lines(sheet)
    shown: dict[str, Any] = {
        "title": scenario.title,
        "subtitle": sheet_subtitle(sheet),
        "answers": summary.answers,
        "first": None if summary.table is None else make_table(summary.table, book),
        "notices": sheet_notices(sheet),
        "groups": [(heading, list(rows)) for heading, rows in groupby(lines, key=lambda line: line.section)],
        "remarks": sheet_remarks(sheet),
        "facts": facts_of(scenario),
        "cautions": cautions(scenario, lay_out(scenario)),
    }
    template = jinja_template("worksheet.html.j2")
    words = used_words(template.render(**shown, notes=book.notes, words=()))
    return template.render(**shown, notes=book.notes, words=words)


def worksheet_json(sheet: Worksheet) -> dict[str, Any]:
    """Return the sheet as plain JSON values."""
    figures = {key: value for key, value in asdict(sheet).items() if key != "scenario"}
    return {
        "format": 1,
        "title": sheet.scenario.title,
        "seed": sheet.scenario.seed,
        "scenario_hash": content_hash(sheet.scenario.content()),
        "versions": versions(),
        "notices": list(sheet_notices(sheet)),
        **figures,
        "source": "worksheet",
        "traffic": sheet.source,
    }


def write_worksheet(sheet: Worksheet, out: Path, *, force: bool = False) -> None:
    """Write the folder, whole or not at all.

    Parameters
    ----------
    sheet : the worksheet
    out : the folder to make
    force : replace an earlier results folder

    Raises
    ------
    InputError : the folder exists
    MachineError : the disk refused; what was there before is untouched
    """
    write_folder(out, lambda folder: _fill(sheet, folder), force=force)


def _fill(sheet: Worksheet, folder: Path) -> None:
    """Write every file."""
    scenario = sheet.scenario
    write_json(folder / MARK, worksheet_json(sheet))
    put_text(folder / "scenario.toml", dump_scenario(scenario))
    write_rows(folder / "worksheet.csv", SHEET_HEADER, sheet_csv(sheet))
    put_text(folder / "worksheet.html", render_worksheet(sheet))
