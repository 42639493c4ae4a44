"""The results folder: written whole or not at all.

Comes in: a `Result`.  Goes out: files.  Before: `study`; after: `cli`.  Everything is first written to a
hidden folder beside the target, which is then renamed.  Numbers are the shortest text that reads back
the same double; nothing in a file depends on the day, the machine or the number of workers.
"""

from __future__ import annotations

import csv
import json
import math
import os
import shutil
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from sim.errors import InputError, MachineError
from sim.outcome.names import OUTCOMES
from sim.provenance import content_hash, versions
from sim.records import Detections, Visits
from sim.results import Result
from sim.scenario.toml import dump_scenario
from sim.study.precision import CONFIDENCE, relative_half_width
from sim.traffic.kinematics import travel_time

__all__ = ["number_text", "refuse_existing", "summary", "write_results"]

MARK = "summary.json"
"""The file by which a results folder is recognised."""


def number_text(value: float) -> str:
    """Return the shortest text that reads back the same double; nothing for an unknown value.

    >>> number_text(12.0), number_text(0.1), number_text(float("nan"))
    ('12', '0.1', '')
    """
    if math.isnan(value):
        return ""
    return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(float(value))


def refuse_existing(out: Path, *, force: bool) -> None:
    """Stop before any work where the results could not be put down.

    Raises
    ------
    InputError : the folder exists (without force), or is not one of ours (with force)
    """
    if out.is_symlink():
        raise InputError(f"{out}: is a link; give a real folder")
    if not out.exists():
        return
    if not force:
        raise InputError(f"{out}: exists already; choose another --out, or --force to replace it")
    if not (out.is_dir() and (out / MARK).is_file()):
        raise InputError(f"{out}: is not a results folder (no {MARK}); it is not replaced")


def _write_table(path: Path, header: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    """Write a CSV file with one kind of line end on every system."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header)
        writer.writerows(rows)


def _texts(column: np.ndarray[Any, Any]) -> list[str]:
    """Turn a column of numbers into texts."""
    return [number_text(value) for value in column.astype(np.float64).tolist()]


def _columns(path: Path, columns: dict[str, list[str]]) -> None:
    """Write columns of texts."""
    _write_table(path, list(columns), zip(*columns.values(), strict=True))


def _visit_columns(result: Result, visits: Visits) -> dict[str, list[str]]:
    """Visits of the first replication, with all that a replay of them needs."""
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
    groups = {
        f"{trucks.name}-{number:02d}": trucks.name
        for trucks in result.scenario.trucks
        for number in range(1, trucks.count + 1)
    }
    names = [visits.truck_names[truck] for truck in visits.truck]
    return {
        "aisle": [result.layout.aisles[aisle] for aisle in visits.aisle],
        "enter": _texts(visits.enter),
        "leave": _texts(visits.leave),
        "truck": names,
        "bay_m": _texts(visits.bay_m),
        "arrive": _texts(visits.arrive),
        "type": [groups.get(name, "") for name in names],
        "task": [visits.task_names[task] for task in visits.task],
        "enters_at": ["back" if back else "front" for back in visits.enters_back],
        "leaves_at": ["back" if back else "front" for back in visits.leaves_back],
        "second_bay_m": _texts(second_bay),
        "second_stand_s": _texts(second_stand),
    }


def _detection_columns(result: Result, detections: Detections) -> dict[str, list[str]]:
    """Detections of the first replication."""
    return {
        "zone": [result.layout.zones[zone] for zone in detections.zone],
        "start": _texts(detections.start),
        "end": _texts(detections.end),
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
                "unit": OUTCOMES[name].unit,
                "meaning": OUTCOMES[name].meaning,
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
        "notices": list(result.notices),
        "caution": (
            "Planning estimate, not a lighting design, a code check, a safety approval or a guarantee. "
            "The authority having jurisdiction, licensed practice and the site's safety officer decide."
        ),
    }


def _write_all(result: Result, folder: Path) -> None:
    """Write every file of the results."""
    from sim.show.figures import draw_figures
    from sim.show.report import render_report

    text = json.dumps(summary(result), indent=2, ensure_ascii=False) + "\n"
    (folder / MARK).write_text(text, encoding="utf-8", newline="\n")
    (folder / "scenario.toml").write_text(dump_scenario(result.scenario), encoding="utf-8", newline="\n")
    for name, frame in (
        ("zones.csv", result.zones_frame()),
        ("hours.csv", result.hours_frame()),
        ("replications.csv", result.replications_frame()),
    ):
        _columns(
            folder / name,
            {
                column: _texts(frame[column].to_numpy())
                if column in OUTCOMES
                else [str(v) for v in frame[column]]
                for column in frame.columns
            },
        )
    look = result.close_look
    if look.visits is not None:
        _columns(folder / "visits.csv", _visit_columns(result, look.visits))
    _columns(folder / "detections.csv", _detection_columns(result, look.detections))
    figures = folder / "figures"
    figures.mkdir()
    drawn = draw_figures(result, figures)
    svgs = {path.stem: path.read_text(encoding="utf-8") for path in drawn if path.suffix == ".svg"}
    (folder / "report.html").write_text(render_report(result, svgs), encoding="utf-8", newline="\n")


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
    refuse_existing(out, force=force)
    partial: Path | None = None
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        partial = Path(tempfile.mkdtemp(prefix=f".{out.name}.", suffix=".partial", dir=out.parent))
        _write_all(result, partial)
        partial.chmod(0o755)
        if out.exists():
            old = Path(tempfile.mkdtemp(prefix=f".{out.name}.", suffix=".old", dir=out.parent))
            os.replace(out, old / out.name)
            os.replace(partial, out)
            shutil.rmtree(old, ignore_errors=True)
        else:
            os.replace(partial, out)
    except OSError as error:
        raise MachineError(_disk_words(out, error)) from error
    finally:
        if partial is not None and partial.exists():
            shutil.rmtree(partial, ignore_errors=True)


def _disk_words(out: Path, error: OSError) -> str:
    """Say what the disk refused, with the room that is left."""
    place = out.parent if out.parent.is_dir() else Path.cwd()
    free = shutil.disk_usage(place).free
    return f"{out}: {error.strerror or error}; nothing was written there; free space {free / 1e6:,.1f} MB"
