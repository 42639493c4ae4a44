"""The folder of a rebate worksheet: CSV, page, scenario.

Comes in: a `Worksheet`.  Goes out: files.  Before: `show/worksheet_text`, `show/whole_folder`; after:
`commands_proof`.
"""

from __future__ import annotations

from dataclasses import asdict
from functools import cache
from itertools import groupby
from pathlib import Path

import jinja2

from sim.floor.layout import lay_out
from sim.provenance import content_hash, versions
from sim.scenario.toml import dump_scenario
from sim.show.cautions import cautions
from sim.show.whole_folder import MARK, put_text, write_folder, write_json, write_rows
from sim.show.worksheet_text import (
    SHEET_HEADER,
    sheet_csv,
    sheet_lines,
    sheet_notices,
    sheet_remarks,
    sheet_subtitle,
)
from sim.verification.worksheet import Worksheet

__all__ = ["render_worksheet", "write_worksheet"]


@cache
def _template() -> jinja2.Template:
    """The page; every value it shows is escaped."""
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("sim.show"), autoescape=True, undefined=jinja2.StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )
    return environment.get_template("worksheet.html.j2")


def render_worksheet(sheet: Worksheet) -> str:
    """Return the sheet as one self-contained page."""
    scenario = sheet.scenario
    lines = sheet_lines(sheet)
    facts = [
        ("Scenario", f"sha256 {content_hash(scenario.content())}"),
        ("Seed", str(scenario.seed)),
        ("Versions", ", ".join(f"{name} {number}" for name, number in versions().items())),
    ]
    return _template().render(
        title=scenario.title,
        subtitle=sheet_subtitle(sheet),
        notices=sheet_notices(sheet),
        groups=[(heading, list(rows)) for heading, rows in groupby(lines, key=lambda line: line.section)],
        remarks=sheet_remarks(),
        facts=facts,
        cautions=cautions(scenario, lay_out(scenario)),
    )


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
    figures = {key: value for key, value in asdict(sheet).items() if key != "scenario"}
    write_json(
        folder / MARK,
        {
            "format": 1,
            "title": scenario.title,
            "seed": scenario.seed,
            "scenario_hash": content_hash(scenario.content()),
            "versions": versions(),
            "notices": list(sheet_notices(sheet)),
            **figures,
            "source": "worksheet",
            "traffic": sheet.source,
        },
    )
    put_text(folder / "scenario.toml", dump_scenario(scenario))
    write_rows(folder / "worksheet.csv", SHEET_HEADER, sheet_csv(sheet))
    put_text(folder / "worksheet.html", render_worksheet(sheet))
