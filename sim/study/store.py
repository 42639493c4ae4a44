"""Results folders read back: what was run, and the site totals of every replication.

Comes in: a folder that `run` or `replay` wrote.  Goes out: `StoredRun`.  Before: `scenario/toml`, `logs`;
after: `study/compare`, `study/explain`.  A folder may have been changed by hand, so everything is checked.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from sim.errors import Fault, InputError
from sim.logs.reader import Log
from sim.outcome.names import ALL_OUTCOMES, OUTCOMES
from sim.records import FloatColumn
from sim.scenario.schema import Scenario
from sim.scenario.toml import load_scenario
from sim.wording import printable

__all__ = [
    "Settled",
    "StoredRun",
    "is_results_folder",
    "read_plans",
    "read_settled",
    "read_stored_run",
]

_MARK = "summary.json"
_LARGEST_BYTES = 10_000_000
_INSTEAD = {
    "sweep": "summary.csv and front.csv in it compare its settings with each other and with today's; to "
    "compare one of them with something else, put its values into a scenario file",
    "sensitivity": "sensitivity.csv in it compares its runs with the scenario as stated",
    "recommend": "give one of the scenario files in it, such as aisles.toml",
}
"""What to do with a folder of another kind."""


@dataclass(frozen=True)
class StoredRun:
    """One results folder.

    Attributes
    ----------
    folder : where it lies
    scenario : resolved, as it was run
    source : "run" or "replay"
    replications : their numbers (R,)
    outcomes : site totals by name, nan where not known (R,)
    versions : that computed it
    log_hash : of the logs that were replayed, "" for a run
    """

    folder: Path
    scenario: Scenario
    source: str
    replications: tuple[int, ...]
    outcomes: Mapping[str, FloatColumn]
    versions: Mapping[str, str]
    log_hash: str


@dataclass(frozen=True)
class Settled:
    """A scenario with the settings that a folder stands for.

    Attributes
    ----------
    scenario : resolved, with these settings
    words : where the settings come from
    log : folder whose logs stand for the traffic, None where it is simulated
    """

    scenario: Scenario
    words: str
    log: Path | None


def is_results_folder(path: Path) -> bool:
    """Say whether a path is a folder that this program wrote."""
    return path.is_dir() and (path / _MARK).is_file()


def read_stored_run(folder: Path) -> StoredRun:
    """Read a results folder.

    Raises
    ------
    InputError : it is no folder of a run or replay, or a file in it is damaged
    """
    if not is_results_folder(folder):
        raise InputError(f"{printable(str(folder))}: is not a results folder (no {_MARK})")
    summary = _read_summary(folder / _MARK)
    source = summary.get("source")
    if source not in ("run", "replay"):
        raise InputError(
            f"{printable(str(folder))}: holds a {printable(str(source))}, not a run; "
            + _INSTEAD.get(str(source), "give the folder of a run or a replay, or a scenario file")
        )
    scenario = load_scenario(folder / "scenario.toml")
    numbers, outcomes = _read_replications(folder / "replications.csv", scenario)
    versions = summary.get("versions")
    return StoredRun(
        folder=folder,
        scenario=scenario,
        source=source,
        replications=numbers,
        outcomes=outcomes,
        versions={str(key): str(value) for key, value in versions.items()}
        if isinstance(versions, dict)
        else {},
        log_hash=_hash_logs(folder) if source == "replay" else "",
    )


def read_plans(folder: Path) -> dict[str, Scenario]:
    """Return the scenarios of a recommendation: as it stands, and with each plan; {} for other folders.

    Raises
    ------
    InputError : a file in the folder is damaged
    """
    summary = _read_summary(folder / _MARK)
    plans = summary.get("plans")
    if summary.get("source") != "recommend" or not isinstance(plans, dict):
        return {}
    # a name from the file must not lead out of the folder
    names = ["scenario", *(Path(str(name)).name for name in plans)]
    return {name: load_scenario(folder / f"{name}.toml") for name in names}


def read_settled(folder: Path, plan: str | None = None) -> Settled:
    """Read the settings of a run, a replay or a recommendation.

    Parameters
    ----------
    folder : results folder
    plan : of a recommendation, as its file is called; None for the one that its report leads with

    Raises
    ------
    InputError : the folder is damaged or of another kind, or it has no such plan
    """
    where = printable(str(folder))
    summary = _read_summary(folder / _MARK)
    source = summary.get("source")
    if source == "recommend":
        plans = summary.get("plans")
        names = [str(name) for name in plans] if isinstance(plans, dict) else []
        best = [name for name in names if "equal" not in name] or names
        # folders of earlier versions do not tell which
        told = summary.get("recommended_plan", best[-1] if best else "")
        chosen = plan or str(told)
        if chosen not in names:
            there = ", ".join(printable(name) for name in names) or "none"
            raise InputError(f"{where}: has no plan {printable(chosen)}; there are: {there}")
        # a name from the file must not lead out of the folder
        scenario = load_scenario(folder / f"{Path(chosen).name}.toml")
        return Settled(scenario, f'recommended, plan "{chosen}"', None)
    if plan is not None:
        raise InputError(f"{where}: holds a {printable(str(source))}; only a recommendation has plans")
    if source not in ("run", "replay"):
        raise InputError(
            f"{where}: holds a {printable(str(source))}; give the folder of a run, a replay or a "
            "recommendation, or a scenario file"
        )
    words = "as they were run" if source == "run" else "as they were replayed on a log"
    return Settled(load_scenario(folder / "scenario.toml"), words, folder if source == "replay" else None)


def _read_summary(path: Path) -> dict[str, Any]:
    """Read summary.json as a table."""
    try:
        with path.open("rb") as file:
            data = file.read(_LARGEST_BYTES + 1)
        content = json.loads(data[:_LARGEST_BYTES].decode("utf-8"))
    except OSError as error:
        raise InputError([Fault(str(path), None, "", f"cannot be read: {error.strerror}")]) from None
    except (ValueError, RecursionError):
        raise InputError([Fault(str(path), None, "", "is damaged: not the JSON that was written")]) from None
    if not isinstance(content, dict):
        raise InputError([Fault(str(path), None, "", "is damaged: not a table")])
    return content


def _read_replications(path: Path, scenario: Scenario) -> tuple[tuple[int, ...], dict[str, FloatColumn]]:
    """Read the site totals of every replication."""
    log = Log(
        path, start=scenario.start_datetime, required=("replication", *OUTCOMES), optional=tuple(ALL_OUTCOMES)
    )
    numbers: list[int] = []
    parts: dict[str, list[FloatColumn]] = {name: [] for name in OUTCOMES}
    for batch in log.batches():
        found = log.to_numbers(batch, "replication")
        log.refuse_missing(batch, ("replication",))
        numbers += np.nan_to_num(found).astype(np.int64).tolist()
        for name in OUTCOMES:
            parts[name].append(log.to_numbers(batch, name))
    log.finish()
    return tuple(numbers), {name: np.concatenate(columns) for name, columns in parts.items()}


def _hash_logs(folder: Path) -> str:
    """Return the sha256 of the logs that a replay used."""
    digest = hashlib.sha256()
    for name in ("visits.csv", "detections.csv"):
        path = folder / name
        if path.is_file():
            with path.open("rb") as file:
                while block := file.read(1 << 20):
                    digest.update(block)
    return digest.hexdigest()
