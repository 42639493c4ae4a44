"""All pictures of a result, drawn and written.

Comes in: a `Result`.  Goes out: SVG and PNG, byte for byte the same in every process.  Before:
`show/numbers/run` and `show/numbers/hour`; after: the results folder and `show/reports/run`.  The `figures`
files are the only ones that know Matplotlib.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from sim.results import Result
from sim.show.figures.besides import draw_besides
from sim.show.figures.gaps import draw_gaps
from sim.show.figures.hour import draw_hour
from sim.show.figures.plan import draw_plan
from sim.show.figures.run import draw_aisles, draw_power, draw_week
from sim.show.figures.style import render, style
from sim.show.figures.work import draw_work
from sim.show.numbers.gaps import gap_numbers
from sim.show.numbers.hour import hour_numbers
from sim.show.numbers.plan import plan_numbers
from sim.show.numbers.run import aisle_numbers, power_numbers, week_numbers
from sim.show.numbers.work import work_numbers

__all__ = ["Picture", "draw_figures", "draw_pictures"]


@dataclass(frozen=True)
class Picture:
    """One picture in both formats.

    Attributes
    ----------
    name : file name without its ending, the key by which the report finds it
    svg, png : the files' bytes
    """

    name: str
    svg: bytes
    png: bytes


def draw_pictures(result: Result) -> tuple[Picture, ...]:
    """Draw every picture of a result by name, and what the scenario asks for.

    `plan`, `power`, `hour`, `gaps` (where there are any), `aisles`, `week`, `work` (where simulated).
    """
    start = result.scenario.start_datetime
    gaps, work = gap_numbers(result), work_numbers(result)
    with style():
        figures = {
            "plan": draw_plan(plan_numbers(result.scenario, result.layout)),
            "power": draw_power(power_numbers(result), start),
            "hour": draw_hour(hour_numbers(result), start),
        }
        if gaps.panels:
            figures["gaps"] = draw_gaps(gaps)
        figures["aisles"] = draw_aisles(aisle_numbers(result))
        figures["week"] = draw_week(week_numbers(result))
        if work is not None:
            figures["work"] = draw_work(work, start)
        figures |= draw_besides(result)
        return tuple(Picture(name, *render(figure)) for name, figure in figures.items())


def draw_figures(result: Result, folder: Path) -> list[Path]:
    """Draw every picture into an existing folder as SVG and PNG and return the files.

    Raises
    ------
    OSError : the folder cannot be written to
    """
    paths = []
    for picture in draw_pictures(result):
        for ending, content in (("svg", picture.svg), ("png", picture.png)):
            path = folder / f"{picture.name}.{ending}"
            path.write_bytes(content)
            paths.append(path)
    return paths
