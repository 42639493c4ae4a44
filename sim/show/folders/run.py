"""The results folder of a run or a replay: written whole or not at all.

Comes in: a `Result`.  Goes out: files.  Before: `study`, `show/folders/whole`; after: `cli`.  Nothing in a
file depends on the day, the machine or the number of workers.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.outcome.names import ALL_OUTCOMES
from sim.provenance import content_hash, versions
from sim.records import Detections, FloatColumn, IntColumn, Visits
from sim.results import Result
from sim.scenario.toml import dump_scenario
from sim.show.folders.whole import (
    MARK,
    number_text,
    put_text,
    refuse_existing,
    texts,
    write_columns,
    write_folder,
    write_json,
    write_long,
    write_rows,
)
from sim.show.words.besides import beside_summary, beside_tables
from sim.study.replications.precision import CONFIDENCE, relative_half_width
from sim.traffic.kinematics import travel_time
from sim.traffic.ways import line_names

__all__ = ["number_text", "refuse_existing", "summary", "write_results"]


def _visit_columns(result: Result, visits: Visits) -> Callable[[slice], dict[str, list[str]]]:
    """Visits of the first replication, some rows at a time, with all that a replay of them needs."""
    second_bay, second_stand = _second_stops(visits)
    group_of = visits.truck_groups or _groups_by_name(result, visits)
    enter_line, leave_line = visits.enter_line, visits.leave_line

    def columns(rows: slice) -> dict[str, list[str]]:
        trucks = visits.truck[rows].tolist()
        lines = [None if line is None else line[rows] for line in (enter_line, leave_line)]
        return {
            "aisle": [result.layout.aisles[aisle] for aisle in visits.aisle[rows]],
            "enter": texts(visits.enter[rows]),
            "leave": texts(visits.leave[rows]),
            "truck": [visits.truck_names[truck] for truck in trucks],
            "bay_m": texts(visits.bay_m[rows]),
            "arrive": texts(visits.arrive[rows]),
            "type": [group_of[truck] for truck in trucks],
            "task": [visits.task_names[task] for task in visits.task[rows]],
            "enters_at": _mouths(result, visits.enters_back[rows], lines[0]),
            "leaves_at": _mouths(result, visits.leaves_back[rows], lines[1]),
            "second_bay_m": texts(second_bay[rows]),
            "second_stand_s": texts(second_stand[rows]),
        }

    return columns


def _groups_by_name(result: Result, visits: Visits) -> tuple[str, ...]:
    """Group of each truck of a simulated floor, whose names begin with it."""
    group_of = {
        f"{trucks.name}-{number:02d}": trucks.name
        for trucks in result.scenario.trucks
        for number in range(1, trucks.count + 1)
    }
    return tuple(group_of.get(name, "") for name in visits.truck_names)


def _second_stops(visits: Visits) -> tuple[FloatColumn, FloatColumn]:
    """Place of the second bay [m] and time there [s] of visits with two, nan for others (n,) each."""
    second_bay, second_stand = np.full(len(visits), np.nan), np.full(len(visits), np.nan)
    moves = visits.moves
    if moves is not None and len(moves.visit):
        middle = np.flatnonzero(np.bincount(moves.visit, minlength=len(visits)) == 3)
        first = np.searchsorted(moves.visit, middle)
        over, home = first + 1, first + 2
        second_bay[middle] = moves.to_m[over]
        run = travel_time(
            np.abs(moves.to_m[over] - moves.from_m[over]), moves.speed[over], moves.acceleration[over]
        )
        second_stand[middle] = np.maximum(0.0, moves.start[home] - moves.start[over] - run)
    return second_bay, second_stand


def _mouths(result: Result, is_back: NDArray[np.bool_], line: IntColumn | None) -> list[str]:
    """Name where visits begin or end: front, back, or a middle cross-aisle's distance from the front [m]."""
    if line is None:
        return ["back" if back else "front" for back in is_back.tolist()]
    names = line_names(result.layout)
    return [names[number] for number in line.tolist()]


def _detection_columns(result: Result, detections: Detections, rows: slice) -> dict[str, list[str]]:
    """Some detections of the first replication."""
    return {
        "zone": [result.layout.zones[zone] for zone in detections.zone[rows]],
        "start": texts(detections.start[rows]),
        "end": texts(detections.end[rows]),
    }


def summary(result: Result) -> dict[str, Any]:
    """Return the headline figures and where they come from, as plain JSON values."""
    scenario = result.scenario
    energy = result.headline["energy_kwh"]
    reached = relative_half_width(energy)
    return {
        "format": 1,
        "title": scenario.title,
        "source": result.source,
        "outcomes": {
            name: {
                "mean": figure.mean,
                "half_width": figure.half_width,
                "unit": ALL_OUTCOMES[name].unit,
                "meaning": ALL_OUTCOMES[name].meaning,
            }
            for name, figure in result.headline.items()
        },
        "confidence": CONFIDENCE,
        "replications": len(result.replications),
        "replication_numbers": list(result.replications),
        "precision": {
            "asked": scenario.precision,
            "reached": reached if math.isfinite(reached) else None,
            "of": "energy_kwh, half-width over mean",
        },
        "seed": scenario.seed,
        "scenario_hash": content_hash(scenario.content()),
        "versions": versions(),
        "rerun": f"aislewake run scenario.toml --seed {scenario.seed} --replication {result.replications[0]}",
        "traffic": result.traffic_summary(),
        **beside_summary(result),
        "notices": list(result.notices),
        "caution": (
            "Planning estimate, not a lighting design, a code check, a safety approval or a guarantee. "
            "The authority having jurisdiction, licensed practice and the site's safety officer decide."
        ),
    }


def _write_all(result: Result, folder: Path) -> None:
    """Write every file of the results."""
    from sim.show.figures.draw import draw_figures
    from sim.show.reports.run import render_report

    write_json(folder / MARK, summary(result))
    put_text(folder / "scenario.toml", dump_scenario(result.scenario))
    for name, frame in (
        ("zones.csv", result.zones_frame()),
        ("hours.csv", result.hours_frame()),
        ("replications.csv", result.replications_frame()),
    ):
        write_columns(
            folder / name,
            {
                column: texts(frame[column].to_numpy())
                if column in ALL_OUTCOMES
                else [str(v) for v in frame[column]]
                for column in frame.columns
            },
        )
    traffic = result.traffic_frame()
    if traffic is not None:
        columns = {name: texts(traffic[name].to_numpy()) for name in traffic.columns[2:]}
        named = {name: [str(value) for value in traffic[name]] for name in traffic.columns[:2]}
        write_columns(folder / "traffic.csv", named | columns)
    look = result.close_look
    if look.visits is not None:
        write_long(folder / "visits.csv", len(look.visits), _visit_columns(result, look.visits))
    seen = look.detections
    write_long(folder / "detections.csv", len(seen.zone), partial(_detection_columns, result, seen))
    for name, (header, rows) in beside_tables(result).items():
        write_rows(folder / name, header, rows)
    figures = folder / "figures"
    figures.mkdir()
    drawn = draw_figures(result, figures)
    svgs = {path.stem: path.read_text(encoding="utf-8") for path in drawn if path.suffix == ".svg"}
    put_text(folder / "report.html", render_report(result, svgs))


def write_results(result: Result, out: Path, *, force: bool = False) -> None:
    """Write the results folder, whole or not at all.

    Parameters
    ----------
    result : from a run or a replay
    out : the folder to make
    force : replace an earlier results folder

    Raises
    ------
    InputError : see `refuse_existing`
    MachineError : the disk refused; what was there before is untouched
    """
    write_folder(out, lambda folder: _write_all(result, folder), force=force)
