"""Run a study: what the store lacks is computed, wherever the work is done, and kept as it comes.

Comes in: a `Batch` and a folder.  Goes out: rows in the store, and a `Progress` at every step.  Before:
`study/batch/points`, `study/batch/store`, `study/batch/tries`; after: `commands/study`,
`show/folders/batch_table`.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sim.errors import InputError, MachineError
from sim.notebook import MOST_ROWS, html_table
from sim.provenance import MODEL_VERSION
from sim.replication import drivers_react
from sim.scenario.toml import dump_scenario
from sim.study.batch.damage import move_aside
from sim.study.batch.file import dump_study
from sim.study.batch.files import disk_fault, hold_store, prepare_folder, put_whole
from sim.study.batch.points import Batch
from sim.study.batch.store import DamagedError, Figures, Store
from sim.study.batch.task import Answer, Task, do_task
from sim.study.batch.tries import MOST_TRIES, do_all
from sim.study.engine import open_engine
from sim.study.sweeping.sweep import EXACT_OUTCOMES

__all__ = [
    "KEY_DIGITS",
    "MOST_CHOICES",
    "BatchProgress",
    "compute_point",
    "keep_copies",
    "open_store",
    "run_study",
]

MOST_CHOICES = 500
"""Settings in one task: what a kill may cost, and what a worker holds in memory."""
KEY_DIGITS = 16
"""Digits of a point's key that stand in a table."""
_REPLAYED_CHOICES = 20
"""The same where each of them must be replayed or simulated."""

Work = Callable[[Task], Answer]


@dataclass(frozen=True)
class BatchProgress:
    """How far a study is.

    Attributes
    ----------
    planned : rows of its table
    found : rows that the store held when it was started
    done : rows there are now
    failed : what failed, message by point and replication
    """

    planned: int
    found: int
    done: int
    failed: dict[tuple[int, int], str]

    @property
    def is_complete(self) -> bool:
        """Whether every row is there."""
        return self.done == self.planned

    def _repr_html_(self) -> str:
        """Show how far the study is as a table in a notebook."""
        counts = (
            ("rows planned", self.planned),
            ("there before", self.found),
            ("there now", self.done),
            ("failed", len(self.failed)),
        )
        failed = [
            f"point {point}, replication {replication}: {message}"
            for (point, replication), message in list(self.failed.items())[:MOST_ROWS]
        ]
        return html_table("Study", ("", "rows"), [(name, f"{count:,}") for name, count in counts], failed)


@contextmanager
def open_store(folder: Path, command: str) -> Iterator[Store]:
    """Open a store for writing: nobody else's, whole, every row checked.

    Parameters
    ----------
    folder : made where it is not there
    command : with which to go on, for messages

    Raises
    ------
    InputError : the folder is something else
    MachineError : another run has it; the disk refused; it was damaged and is mended now
    """
    prepare_folder(folder)
    with hold_store(folder):
        try:
            store = Store(folder)
            try:
                store.check_rows()
            except BaseException:
                store.close()
                raise
        except DamagedError as error:
            raise move_aside(folder, str(error), command) from error
        try:
            yield store
        except DamagedError as error:
            store.close()
            raise move_aside(folder, str(error), command) from error
        finally:
            store.close()


def run_study(
    batch: Batch,
    store: Store,
    *,
    workers: int = 1,
    dask: str | None = None,
    executor: Executor | None = None,
    retry_failed: bool = False,
    progress: Callable[[BatchProgress], None] | None = None,
    work: Work = do_task,
) -> BatchProgress:
    """Compute every row that the store lacks.

    Parameters
    ----------
    batch : from `lay_out_points`
    store : from `open_store`; rows are kept as they come, so that a run may be stopped in any way
    workers : processes; 0 works in this one, which a crash then ends
    dask : address of a Dask scheduler instead
    executor : any `concurrent.futures.Executor` instead, which does `workers` tasks at a time
    retry_failed : try again what failed before
    progress : called at the start and after every task
    work : what does a task

    Returns
    -------
    BatchProgress : with everything that failed, now or before

    Raises
    ------
    MachineError : the disk or the cluster refused; rows that are there stay
    """
    engine = open_engine(workers=workers, dask=dask, executor=executor)
    if retry_failed:
        store.forget_failures()
    lacking, state = _plan_tasks(batch, store)
    tasks = (_task(batch, one) for one in lacking)
    tell = progress or (lambda state: None)
    begun = time.time()

    def noted() -> dict[str, Any]:
        return {
            "title": batch.study.form.title,
            "planned": state.planned,
            "done_before": state.found,
            "done": state.done,
            "failed": len(state.failed),
            "started": begun,
        }

    store.note(noted())
    tell(state)
    coming = do_all(engine, work, tasks, _split, _is_fault)
    with closing(coming) as answers:
        for task, answer in answers:
            state = _counted(batch, task, answer, state)
            _keep(batch, store, task, answer, noted())
            tell(state)
    return state


def _split(task: Task) -> Sequence[Task]:
    """Take a task apart into its points."""
    return [task.pick([place]) for place in range(len(task))] if len(task) > 1 else [task]


def _is_fault(answer: Answer) -> bool:
    """Whether a task failed."""
    return answer.fault != ""


def _plan_tasks(batch: Batch, store: Store) -> tuple[list[_Lacking], BatchProgress]:
    """Look up what is there and group what is not by site and replication."""
    outcomes = batch.study.outcomes
    known = store.failures()
    failed: dict[tuple[int, int], str] = {}
    lacking: dict[tuple[int, int], list[int]] = {}
    found = 0
    for point, (key, site) in enumerate(zip(batch.hashes, batch.site_of, strict=True)):
        count = batch.replications[site]
        complete = store.complete(key, outcomes)
        found += sum(replication < count for replication in complete)
        for replication in range(count):
            if replication in complete:
                continue
            message = known.get((key, replication))
            if message is None:
                lacking.setdefault((site, replication), []).append(point)
            else:
                failed[point, replication] = message
    is_cheap = all(name in EXACT_OUTCOMES for name in outcomes)
    tasks = []
    for (site, replication), points in lacking.items():
        is_replayed = not is_cheap or drivers_react(batch.sites[site])
        most = _REPLAYED_CHOICES if is_replayed else MOST_CHOICES
        tasks += [
            _Lacking(site, replication, points[first : first + most]) for first in range(0, len(points), most)
        ]
    return tasks, BatchProgress(batch.rows, found, found, failed)


@dataclass(frozen=True)
class _Lacking:
    """Points of one site that are not in the store, in one replication."""

    site: int
    replication: int
    points: list[int]


def _task(batch: Batch, lacking: _Lacking) -> Task:
    """Return what a worker needs to know."""
    return Task(
        batch.sites[lacking.site],
        lacking.replication,
        tuple(lacking.points),
        tuple(batch.choices[point] for point in lacking.points),
        batch.study.outcomes,
    )


def _counted(batch: Batch, task: Task, answer: Answer | None, state: BatchProgress) -> BatchProgress:
    """Count what came of a task."""
    message = _fault(answer)
    if not message:
        return replace(state, done=state.done + len(task))
    own = {(point, task.replication): message for point in task.points}
    return replace(state, failed={**state.failed, **own})


def _fault(answer: Answer | None) -> str:
    """Say why a task failed, "" where it did not."""
    if answer is None:
        return f"killed its worker process {MOST_TRIES} times (out of memory?)"
    return answer.fault


def _keep(batch: Batch, store: Store, task: Task, answer: Answer | None, noted: dict[str, Any]) -> None:
    """Write what came of a task.

    Raises
    ------
    MachineError : the disk refused, or a machine of the cluster has another model
    """
    message = _fault(answer)
    if answer is None or message:
        failed = [(batch.hashes[point], task.replication) for point in task.points]
        store.put_failures(failed, message, "" if answer is None else answer.detail, noted)
        return
    if answer.versions.get("model") != str(MODEL_VERSION):
        raise MachineError(
            f"a worker runs model {answer.versions.get('model')}, this is model {MODEL_VERSION}; install the "
            "same aislewake on every machine"
        )
    share_s = answer.duration_s / len(task)
    rows = [
        Figures(
            batch.hashes[point],
            task.scenario.seed,
            task.replication,
            {name: column[place] for name, column in answer.figures.items()},
            share_s,
            answer.versions,
        )
        for place, point in enumerate(task.points)
    ]
    store.put(rows, noted)


def compute_point(batch: Batch, point: int, replications: Sequence[int]) -> Iterator[dict[str, float]]:
    """Compute one point afresh, by itself; yield its figures of each replication.

    Parameters
    ----------
    batch, point : which one
    replications : their numbers

    Raises
    ------
    InputError : the point fails
    """
    site = batch.sites[batch.site_of[point]]
    for number in replications:
        answer = do_task(Task(site, number, (point,), (batch.choices[point],), batch.study.outcomes))
        if answer.fault:
            raise InputError(f"point {batch.hashes[point][:KEY_DIGITS]}: {answer.fault}")
        yield {name: column[0] for name, column in answer.figures.items()}


def keep_copies(batch: Batch, folder: Path) -> None:
    """Keep the study and its scenarios, resolved, in the store, so that it can be read without its sources.

    Raises
    ------
    MachineError : the disk refused
    """
    place = folder / "study"
    try:
        place.mkdir(exist_ok=True)
    except OSError as error:
        raise disk_fault(place, error) from error
    put_whole(place / "study.toml", dump_study(batch.study))
    for name, site in zip(batch.study.names, batch.study.sites, strict=True):
        put_whole(place / f"{name}.toml", dump_scenario(site))
