"""The results folder of a sensitivity study.

Comes in: a `Tornado` or `Indices`.  Goes out: sensitivity.csv, scenario.toml, summary.json, report.html, a
picture.  Before: `study/sensitivity`, `show/folders/whole`; after: `commands/decide`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from sim.floor.layout import lay_out
from sim.provenance import content_hash, versions
from sim.scenario.schema import Scenario
from sim.scenario.toml import dump_scenario
from sim.show.as_json.decide import sensitivity_figures
from sim.show.folders.whole import MARK, number_text, put_text, write_folder, write_json, write_rows
from sim.show.notes.decide import SENSITIVITY_NOTES
from sim.show.reports.paper import paper_html
from sim.show.reports.summary_sweep import sensitivity_summary
from sim.show.words.cautions import cautions
from sim.show.words.sections import Page
from sim.study.replications.precision import CONFIDENCE
from sim.study.sensitivity import Indices, LogSize, Tornado

__all__ = ["render_sensitivity", "sensitivity_json", "write_sensitivity"]


def write_sensitivity(
    scenario: Scenario, found: Tornado | Indices, logs: LogSize, page: Page, out: Path, *, force: bool = False
) -> None:
    """Write the results folder, whole or not at all.

    Parameters
    ----------
    scenario : as stated
    found, logs : what was found
    page : the same in words
    out : the folder to make
    force : replace an earlier results folder

    Raises
    ------
    InputError : the folder exists
    MachineError : the disk refused; what was there before is untouched
    """
    write_folder(out, lambda folder: _fill(scenario, found, logs, page, folder), force=force)


def _fill(scenario: Scenario, found: Tornado | Indices, logs: LogSize, page: Page, folder: Path) -> None:
    """Write every file."""
    from sim.show.figures.tornado import draw_sensitivity_figures

    write_json(folder / MARK, sensitivity_json(scenario, found, logs, page))
    put_text(folder / "scenario.toml", dump_scenario(scenario))
    if isinstance(found, Tornado):
        header = [
            "input",
            "low",
            "high",
            "at_low",
            "at_low_half_width",
            "at_high",
            "at_high_half_width",
            "swing",
        ]
        write_rows(folder / "sensitivity.csv", header, _tornado_rows(found))
    else:
        words = ("first_order", "total") if found.method == "sobol" else ("mean_effect", "spread")
        header = ["input", *(column for word in words for column in (word, f"{word}_half_width"))]
        write_rows(folder / "sensitivity.csv", header, _index_rows(found))
    figures = folder / "figures"
    figures.mkdir()
    svgs = draw_sensitivity_figures(found, figures)
    put_text(folder / "report.html", render_sensitivity(scenario, found, logs, page, svgs))


def render_sensitivity(
    scenario: Scenario, found: Tornado | Indices, logs: LogSize, page: Page, svgs: Mapping[str, str]
) -> str:
    """Return the report as one self-contained page; pictures by name, absent ones are left out."""
    summary, notes = sensitivity_summary(found, logs), cautions(scenario, lay_out(scenario))
    return paper_html(page, summary, SENSITIVITY_NOTES, svgs, notes, scenario)


def _optional(value: float | None) -> str:
    """A number's text, nothing where it is not known."""
    return "" if value is None else number_text(float(value))


def _tornado_rows(found: Tornado) -> Iterator[list[str]]:
    """A row per input, the widest first."""
    for bar in found.bars:
        ends = [(end.estimate.mean, end.estimate.half_width) for end in (bar.at_low, bar.at_high)]
        yield [
            bar.name,
            number_text(bar.low),
            number_text(bar.high),
            *(_optional(one) for end in ends for one in end),
            number_text(bar.swing),
        ]


def _index_rows(found: Indices) -> Iterator[list[str]]:
    """A row per input, in the order given."""
    for row, name in enumerate(found.names):
        columns = (found.first, found.first_half, found.second, found.second_half)
        yield [name, *(number_text(float(column[row])) for column in columns)]


def sensitivity_json(
    scenario: Scenario, found: Tornado | Indices, logs: LogSize, page: Page
) -> dict[str, Any]:
    """Return what was asked and found, as plain JSON values."""
    return {
        "format": 1,
        "title": scenario.title,
        "source": "sensitivity",
        "outcome": found.outcome,
        "method": "tornado" if isinstance(found, Tornado) else found.method,
        "confidence": CONFIDENCE,
        **sensitivity_figures(found),
        "log_aisles": {"aisles": logs.aisles, "of": logs.of, "to": logs.error, "figure": logs.figure},
        "seed": scenario.seed,
        "scenario_hash": content_hash(scenario.content()),
        "versions": versions(),
        "notices": list(page.notices),
    }
