"""The folder of a handover: one page to print, a CSV file for each list; written whole or not at all.

Comes in: a `Handover`.  Goes out: handover.html, CSV files, scenario.toml, summary.json.  Before:
`show/handover/sheets`, `show/folders/whole`; after: `commands/site`.  The hash of the scenario stands on
every sheet and in every row of every file.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from sim.provenance import versions
from sim.scenario.schema import Scenario
from sim.scenario.toml import dump_scenario
from sim.show.folders.whole import MARK, put_text, write_folder, write_json, write_rows
from sim.show.handover.cover import HANDOVER_NOTES
from sim.show.handover.lists import Sheet
from sim.show.handover.sheets import NOT_A_PERMIT, Handover
from sim.show.notes.book import NoteBook
from sim.show.reports.paper import jinja_template
from sim.show.words.glossary import used_words

__all__ = ["render_handover", "write_handover"]

_CHANCE = "Chance to meet a wrong one"
_TEST_HEADER = ("kind", "aisle", "step", "action", "expected", "as_found", "as_left", "initials", "date")


def render_handover(pack: Handover, cautions: tuple[str, ...]) -> str:
    """Return the page: no script, and nothing is fetched."""
    book = NoteBook(HANDOVER_NOTES)
    heads = [*pack.brief.header, *pack.steps.header, _CHANCE, "Expect"]
    heads += [word for sheet in pack.lists for word in sheet.header]
    shown: dict[str, Any] = {
        "pack": pack,
        "mark": {word: book.mark(word) for word in heads},
        "not_a_permit": NOT_A_PERMIT,
        "cautions": cautions,
        "versions": versions(),
    }
    template = jinja_template("handover.html.j2")
    words = used_words(template.render(**shown, notes=book.notes, words=()))
    return template.render(**shown, notes=book.notes, words=words)


def write_handover(
    pack: Handover, scenario: Scenario, cautions: tuple[str, ...], out: Path, *, force: bool = False
) -> None:
    """Write the folder, whole or not at all.

    Parameters
    ----------
    pack : every sheet
    scenario : with the settings that are handed over
    cautions : sentences that close the page
    out : the folder to make
    force : replace an earlier results folder

    Raises
    ------
    InputError : the folder exists
    MachineError : the disk refused; what was there before is untouched
    """

    def fill(folder: Path) -> None:
        write_json(folder / MARK, {
            "format": 1,
            "title": pack.title,
            "source": "handover",
            "settings_from": pack.settings_from,
            "scenario_hash": pack.scenario_hash,
            "versions": versions(),
            "caution": NOT_A_PERMIT,
        })
        put_text(folder / "scenario.toml", dump_scenario(scenario))
        for sheet in (*pack.lists, pack.steps):
            _write_sheet(folder, sheet, pack.scenario_hash)
        rows = [
            (
                kind.name, aisle, str(step.number), step.action, step.expected, "", "", "", "",
                pack.scenario_hash,
            )
            for kind in pack.test.kinds
            for aisle in kind.tested
            for step in pack.test.steps
        ]
        write_rows(folder / "tests.csv", (*_TEST_HEADER, "scenario_hash"), rows)
        put_text(folder / "handover.html", render_handover(pack, cautions))

    write_folder(out, fill, force=force)


def _write_sheet(folder: Path, sheet: Sheet, scenario_hash: str) -> None:
    """One list with its empty columns and the hash."""
    blanks = tuple(name.lower().replace(" ", "_").strip("?") for name in sheet.blanks)
    header = (*sheet.csv_header, *blanks, "scenario_hash")
    empty = ("",) * len(blanks)
    rows = [(*row, *empty, scenario_hash) for row in sheet.csv_rows]
    write_rows(folder / f"{sheet.name}.csv", header, rows)
