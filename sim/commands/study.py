"""The command for studies in batch: thousands of runs, one machine or many, nothing lost.

Comes in: words from a terminal.  Goes out: a store with figures, its table, how far a study is.  Before:
`study/batch/run`, `show/folders/batch_table`; after: `cli`, which registers it.
"""

from __future__ import annotations

import shlex
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sim.commands.shared import json_option, say, tell_json
from sim.errors import InputError
from sim.terminal import CONTEXT, progress_told

if TYPE_CHECKING:
    from sim.study.batch.points import Batch
    from sim.study.batch.run import BatchProgress

__all__ = ["study"]

_MOST_NAMED = 5


@click.command(context_settings=CONTEXT, short_help="Run a study of many points, and go on with it.")
@click.argument("file")
@click.option("--out", type=click.Path(path_type=Path), help="The study's store: a folder.")
@click.option(
    "--workers",
    type=click.IntRange(min=0, max=256),
    default=1,
    show_default=True,
    help="Processes; 0: none besides this one. The figures do not depend on it.",
)
@click.option("--dask", metavar="ADDRESS", help="Scheduler of a Dask cluster that does the work instead.")
@click.option("--status", is_flag=True, help="Only say how far it is, also while it runs.")
@click.option(
    "--export", type=click.Choice(["csv", "parquet"]), help="Then write STORE/results.csv or .parquet."
)
@click.option("--retry-failed", is_flag=True, help="Try again what failed before.")
@click.option("--point", metavar="KEY", help="Compute one point afresh, alone, by its key in the table.")
@click.option("--replication", type=click.IntRange(min=0), help="With --point: only this one.")
@click.option(
    "--save", type=click.Path(path_type=Path), help="With --point: write its scenario to this file for run."
)
@json_option
def study(
    file: str,
    out: Path | None,
    workers: int,
    dask: str | None,
    status: bool,
    export: str | None,
    retry_failed: bool,
    point: str | None,
    replication: int | None,
    save: Path | None,
    as_json: bool,
) -> None:
    """Run the study in FILE: every point and replication that the store lacks.

    FILE names a scenario, factors and outcomes. The store is a folder; stop the run in any way and give the
    same command again, and it goes on. Points are known by what they are: a larger study with the same store
    computes only what is new.

    Exit code 3: finished, but some points failed; they are named.

    \b
    Examples:
      aislewake study my-study.toml --out my-store --workers 2
      aislewake study my-study.toml --out my-store --export csv
      aislewake study my-study.toml --out my-store --json
    """
    from sim.study.batch.files import refuse_running

    if (replication is not None or save is not None) and point is None:
        raise InputError("--replication and --save go with --point KEY")
    if point is not None and as_json:
        raise InputError("--json does not go with --point, which prints rows of the table, CSV")
    if out is None and (point is None or status):
        raise InputError("--out is missing: the folder that keeps the study's figures")
    if status:
        assert out is not None
        _tell_status(out, as_json)
        return
    if out is not None and point is None:
        refuse_running(out)
    from sim.study.batch.file import read_study
    from sim.study.batch.points import lay_out_points

    batch = lay_out_points(read_study(file))
    if point is not None:
        _redo(batch, batch.find(point), replication, save)
        return
    assert out is not None
    failed = _run(batch, out, file, workers, dask, export, retry_failed, as_json)
    if failed:
        click.get_current_context().exit(3)


def _run(
    batch: Batch,
    out: Path,
    file: str,
    workers: int,
    dask: str | None,
    export: str | None,
    retry_failed: bool,
    as_json: bool,
) -> bool:
    """Run the study and write its table; return whether anything failed."""
    from sim.show.folders.batch_table import write_table
    from sim.show.folders.sweep import need_parquet
    from sim.study.batch.run import keep_copies, open_store, run_study

    if export == "parquet":
        need_parquet()
    command = f"aislewake study {shlex.quote(file)} --out {shlex.quote(str(out))}"
    state: BatchProgress | None = None
    with open_store(out, command) as store:
        keep_copies(batch, out)
        try:
            with progress_told("row") as tell:

                def follow(now: BatchProgress) -> None:
                    nonlocal state
                    state = now
                    tell(now.done - now.found + len(now.failed), now.planned - now.found)

                state = run_study(
                    batch,
                    store,
                    workers=workers,
                    dask=dask,
                    retry_failed=retry_failed,
                    progress=follow,
                )
        except KeyboardInterrupt:
            kept = f"{state.done:,} of {state.planned:,} rows are kept" if state else "nothing is lost"
            click.echo(f"interrupted; {kept}. Go on with: {command}", err=True)
            click.get_current_context().exit(130)
        _tell_end(batch, state, out, file, as_json)
        path: Path | None = None
        if export is not None:
            path, lacking = write_table(batch, store, out, export)
            more = f" ({lacking:,} rows without figures)" if lacking else ""
            say(f"Table: {path}{more}", as_json=as_json)
        if as_json:
            tell_json(_end_values(batch, state, out, path))
    return bool(state.failed)


def _end_values(batch: Batch, state: BatchProgress, out: Path, table: Path | None) -> dict[str, Any]:
    """What there is and what failed, as plain JSON values."""
    return {
        "format": 1,
        "title": batch.study.form.title,
        "source": "study",
        "store": str(out),
        "table": None if table is None else str(table),
        "points": len(batch),
        "rows": {
            "planned": state.planned,
            "found": state.found,
            "done": state.done,
            "failed": len(state.failed),
        },
        "failed": [
            {
                "point": point,
                "key": batch.hashes[point],
                "replication": replication,
                "settings": dict(zip(batch.keys, batch.points[point], strict=True)),
                "message": message,
            }
            for (point, replication), message in state.failed.items()
        ],
    }


def _tell_end(batch: Batch, state: BatchProgress, out: Path, file: str, as_json: bool) -> None:
    """Say what there is, what failed, and how to see one point again."""
    from sim.study.batch.run import KEY_DIGITS

    say(
        f"{len(batch):,} points, {state.planned:,} rows: {state.found:,} were there, "
        f"{state.done - state.found:,} are new, {len(state.failed):,} failed",
        as_json=as_json,
    )
    for (point, replication), message in list(state.failed.items())[:_MOST_NAMED]:
        values = ", ".join(
            f"{key}={value}" for key, value in zip(batch.keys, batch.points[point], strict=True)
        )
        key = batch.hashes[point][:KEY_DIGITS]
        click.echo(f"  point {point} ({key}), replication {replication}: {values}: {message}", err=True)
    if len(state.failed) > _MOST_NAMED:
        click.echo(f"  and {len(state.failed) - _MOST_NAMED:,} more", err=True)
    if state.failed:
        click.echo("Try them again with --retry-failed.", err=True)
    say(f"Store: {out}", as_json=as_json)
    again = f"aislewake study {shlex.quote(file)} --point {batch.hashes[0][:KEY_DIGITS]} --replication 0"
    say(f"Any row again: {again}", as_json=as_json)


def _redo(batch: Batch, point: int, replication: int | None, save: Path | None) -> None:
    """Compute one point by itself and print its rows as they stand in the table."""
    from sim.scenario.toml import dump_scenario
    from sim.show.folders.batch_table import table_header, table_line, table_row
    from sim.study.batch.files import put_whole
    from sim.study.batch.run import compute_point

    if save is not None:
        if save.exists():
            raise InputError(f"{save}: exists already; it is not overwritten")
        put_whole(save, dump_scenario(batch.scenario_at(point)))
    numbers = list(range(batch.replications[batch.site_of[point]])) if replication is None else [replication]
    click.echo(table_line(table_header(batch)))
    for number, figures in zip(numbers, compute_point(batch, point, numbers), strict=True):
        click.echo(table_line(table_row(batch, point, number, figures)))


def _tell_status(out: Path, as_json: bool) -> None:
    """Say how far a study is, and whether it runs."""
    from sim.study.batch.files import running_process
    from sim.study.batch.store import read_status

    status = read_status(out) if out.is_dir() else None
    if status is None:
        raise InputError(f"{out}: no study was begun there")
    holder = running_process(out)
    if as_json:
        tell_json(
            {
                "format": 1,
                "title": status.title,
                "source": "study",
                "store": str(out),
                "rows": {"planned": status.planned, "done": status.done, "failed": status.failed},
                "running": holder,
                "rate_per_s": status.rate_per_s if holder else None,
                "left_s": status.left_s if holder else None,
            }
        )
        return
    share = status.done / status.planned if status.planned else 1.0
    click.echo(f"{status.title}")
    click.echo(f"{status.done:,} of {status.planned:,} rows ({share:.1%}), {status.failed:,} failed")
    if holder is None:
        is_over = status.done + status.failed >= status.planned
        click.echo("finished" if is_over else "not running; the same command without --status goes on")
        return
    left = "" if status.left_s is None else f", about {_duration(status.left_s)} left"
    ago = max(0.0, time.time() - status.updated)
    click.echo(f"running: {holder}; {status.rate_per_s:,.3g} rows/s{left}; last row {_duration(ago)} ago")


def _duration(seconds: float) -> str:
    """Write a duration for people."""
    if seconds < 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.1f} h"
