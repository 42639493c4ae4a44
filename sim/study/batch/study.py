"""A study from Python in one call: the file, the store, and whoever does the work.

Comes in: the path of a study file and a folder.  Goes out: figures in the store.  Before: `study/batch/run`;
after: `sim` hands it out.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Executor
from pathlib import Path

from sim.study.batch.file import read_study
from sim.study.batch.points import lay_out_points
from sim.study.batch.run import BatchProgress, keep_copies, open_store, run_study

__all__ = ["run_batch"]


def run_batch(
    file: Path | str,
    out: Path | str,
    *,
    workers: int = 1,
    dask: str | None = None,
    executor: Executor | None = None,
    retry_failed: bool = False,
    progress: Callable[[BatchProgress], None] | None = None,
) -> BatchProgress:
    """Compute every row of a study that its store lacks; stop it in any way, and call it again to go on.

    Parameters
    ----------
    file : the study file
    out : the store, a folder that is made where it is not there
    workers : processes; 0 works in this one
    dask : address of a Dask scheduler that does the work instead
    executor : any `concurrent.futures.Executor` that does it instead, `workers` tasks at a time
    retry_failed : try again what failed before
    progress : called at the start and after every task

    Returns
    -------
    BatchProgress

    Raises
    ------
    InputError : the study has faults, or the folder is something else
    MachineError : another run has the store, or the disk or the cluster refused
    """
    batch = lay_out_points(read_study(file))
    with open_store(Path(out), f"aislewake study {file} --out {out}") as store:
        keep_copies(batch, Path(out))
        return run_study(
            batch,
            store,
            workers=workers,
            dask=dask,
            executor=executor,
            retry_failed=retry_failed,
            progress=progress,
        )
