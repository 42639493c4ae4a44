"""Commands for a site's own logs: replay, quality, fit.

Comes in: words from a terminal.  Goes out: calls to `study`, text, a results folder.  Before: `study`,
`show`; after: `cli`, which registers them.  Heavy libraries are imported inside the commands.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sim.commands.shared import complete_scenarios, draw, json_option, say, say_where, tell_json, written
from sim.errors import InputError, MachineError
from sim.terminal import CONTEXT, free_folder, progress_told

if TYPE_CHECKING:
    from sim.logs.form import LogForm
    from sim.study.from_logs.traffic import LogKind

__all__ = ["fit", "quality", "replay"]

_LOG = click.Path(path_type=Path)
_COLUMNS = click.option(
    "--columns", type=_LOG, help="How the log is written: a TOML file, see scenarios/README.md."
)
_SORT = click.option("--sort", is_flag=True, help="Accept rows that are not in order of time.")
_TRUSTED = click.option(
    "--trusted",
    is_flag=True,
    help="For a log that quality has passed: order and quality of its rows are not looked at again.",
)


def _log_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options that name the logs."""
    for option in reversed(
        (
            click.option("--detections", type=_LOG, help="Log of motion: zone,start,end."),
            click.option("--visits", type=_LOG, help="Log of visits: aisle,enter,leave[,truck,bay_m,type]."),
            click.option("--moves", type=_LOG, help="Log of moves: time,from,to[,truck]."),
            click.option("--picks", type=_LOG, help="Export of picks: time,location[,truck]."),
        )
    ):
        command = option(command)
    return command


def _form(columns: Path | None) -> LogForm:
    """Read the columns file, if there is one."""
    from sim.logs.form import OWN_FORM
    from sim.scenario.log_columns import read_columns_file

    return OWN_FORM if columns is None else read_columns_file(columns)


@contextmanager
def _bytes_told(*logs: Path | None) -> Iterator[Callable[[int], None]]:
    """Show a progress bar by bytes over all logs of a command."""
    sizes = [log.stat().st_size for log in logs if log is not None and log.is_file()]
    with progress_told("B") as tell:
        yield lambda done: tell(done, max(sum(sizes), done))


@click.command(context_settings=CONTEXT, short_help="Run the lights on measured logs.")
@click.argument("scenario", shell_complete=complete_scenarios)
@_log_options
@_COLUMNS
@_SORT
@_TRUSTED
@click.option(
    "--out", type=click.Path(path_type=Path), help="Results folder; by default NAME-replay-results here."
)
@click.option("--force", is_flag=True, help="Replace an earlier results folder.")
@json_option
def replay(
    scenario: str,
    detections: Path | None,
    visits: Path | None,
    moves: Path | None,
    picks: Path | None,
    columns: Path | None,
    sort: bool,
    trusted: bool,
    out: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Run the lights of SCENARIO on measured logs instead of simulated traffic.

    Times in a log are seconds from the scenario's start, or ISO 8601 date-times, local or with their offset
    (then the scenario needs its timezone). A detections log holds motion, without hold time. With a visits
    log alone the scenario's sensors look at the visits; that needs the column bay_m. Moves and picks become
    visits by a dwell model, and a table of timeouts per aisle is added. Names of trucks and operators are
    replaced as they are read.

    \b
    Examples:
      aislewake replay my-site.toml --detections motion.csv --out april
      aislewake replay my-site.toml --picks export.csv --columns export.toml
      aislewake replay my-site.toml --detections motion.csv --trusted
      aislewake replay my-site.toml --detections motion.csv --json
    """
    from sim.scenario.demos import find_scenario
    from sim.scenario.toml import load

    path = find_scenario(scenario)
    target = out or free_folder(f"{path.stem}-replay")
    from sim.show.folders.run import refuse_existing

    refuse_existing(target, force=force)
    site = load(path)
    form = _form(columns)
    from sim.show.folders.run import summary, write_results
    from sim.show.words.log import extra_table_text
    from sim.show.words.tables import headline_table
    from sim.study.replications import replicate

    with _bytes_told(detections, visits, moves, picks) as told:
        result = replicate.replay(
            site,
            detections=detections,
            visits=visits,
            moves=moves,
            picks=picks,
            sort=sort,
            form=form,
            told=told,
            trusted=trusted,
        )
    write_results(result, target, force=force)
    written(target)
    if as_json:
        tell_json(summary(result))
    else:
        from sim.show.words.bars import run_picture

        click.echo(headline_table(result))
        draw(partial(run_picture, result))
        for table in result.tables:
            click.echo(f"\n{extra_table_text(table)}")
    say_where(target, as_json=as_json)


@click.command(context_settings=CONTEXT, short_help="Count what is wrong in a log.")
@click.argument("scenario", shell_complete=complete_scenarios)
@_log_options
@_COLUMNS
@click.option(
    "--silence-h",
    type=click.FloatRange(min=0.0, min_open=True, max=10_000.0),
    default=24.0,
    show_default=True,
    help="Silences of the whole log longer than this are told.",
)
@click.option("--out", type=click.Path(path_type=Path), help="Also write the table: a .csv file.")
@json_option
def quality(
    scenario: str,
    detections: Path | None,
    visits: Path | None,
    moves: Path | None,
    picks: Path | None,
    columns: Path | None,
    silence_h: float,
    out: Path | None,
    as_json: bool,
) -> None:
    """Count what is wrong in one log of SCENARIO: doubles, disorder, silences, dead and stuck sensors.

    Reads a log of any size in little memory. Rows of unknown zones, outside the run or out of order are
    counted here, where replay refuses them.

    \b
    Examples:
      aislewake quality my-site.toml --detections motion.csv
      aislewake quality my-site.toml --moves export.csv --columns export.toml
      aislewake quality my-site.toml --detections motion.csv --json
    """
    given: dict[LogKind, Path | None] = {
        "detections": detections, "visits": visits, "moves": moves, "picks": picks,
    }
    logs = [(kind, path) for kind, path in given.items() if path is not None]
    if len(logs) != 1:
        raise InputError("give one log: --detections, --visits, --moves or --picks")
    if out is not None and out.exists():
        raise InputError(f"{out}: exists already; it is not overwritten")
    from sim.logs.quality import Thresholds
    from sim.replication import prepare_site
    from sim.scenario.toml import load
    from sim.show.words.log import extra_table_text
    from sim.study.from_logs.traffic import scan_log

    (kind, path), = logs
    site = prepare_site(load(scenario))
    with _bytes_told(path) as told:
        thresholds = Thresholds(gap_s=3600.0 * silence_h)
        table = scan_log(site, kind, path, form=_form(columns), thresholds=thresholds, told=told)
    if out is not None:
        from sim.show.folders.whole import write_rows

        try:
            write_rows(out, table.header, table.rows)
        except OSError as error:
            raise MachineError(f"{out}: {error.strerror or error}") from error
        written(out)
    if as_json:
        from sim.show.as_json.ask import quality_json

        tell_json(quality_json(table, str(path), kind))
    else:
        click.echo(extra_table_text(table))
    if out is not None:
        say(f"\nTable: {out}", as_json=as_json)


@click.command(context_settings=CONTEXT, short_help="Turn a log into a traffic section that runs.")
@click.argument("log", type=_LOG)
@click.option(
    "--scenario",
    required=True,
    shell_complete=complete_scenarios,
    help="Base: floor, trucks, shifts, sensors, lights.",
)
@click.option(
    "--kind",
    type=click.Choice(["visits", "moves", "picks", "detections"]),
    help="What the log holds; by default its header tells.",
)
@_COLUMNS
@_SORT
@_TRUSTED
@click.option(
    "--replications",
    type=click.IntRange(min=1, max=1000),
    default=3,
    show_default=True,
    help="Simulated, to set beside the log.",
)
@click.option(
    "--out", type=click.Path(path_type=Path), help="Results folder; by default NAME-fit-results here."
)
@click.option("--force", is_flag=True, help="Replace an earlier results folder.")
@json_option
def fit(
    log: Path,
    scenario: str,
    kind: LogKind | None,
    columns: Path | None,
    sort: bool,
    trusted: bool,
    replications: int,
    out: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Fit the traffic of a scenario to LOG: hourly rates by weekday, aisle shares, depth, handling time.

    The results folder holds scenario.toml, the base with the log's traffic, which runs; every figure with
    its 95 % interval; and how well the fitted scenario repeats the log: visits, gaps and occupied share,
    measured against simulated.

    \b
    Examples:
      aislewake fit visits.csv --scenario my-site.toml
      aislewake fit export.csv --scenario my-site.toml --columns export.toml
      aislewake fit visits.csv --scenario my-site.toml --json
    """
    from sim.scenario.demos import find_scenario
    from sim.scenario.toml import load

    path = find_scenario(scenario)
    target = out or free_folder(f"{path.stem}-fit")
    from sim.show.folders.run import refuse_existing

    refuse_existing(target, force=force)
    base = load(path)
    form = _form(columns)
    from sim.replication import prepare_site
    from sim.show.folders.fit import fit_json, write_fit
    from sim.show.words.fit import fit_page
    from sim.show.words.log import extra_table_text
    from sim.show.words.sections import page_text
    from sim.study.from_logs.calibration import calibrate_motion
    from sim.study.from_logs.fit import fit_site
    from sim.study.from_logs.goodness import judge_fit
    from sim.study.from_logs.log import read_site_log
    from sim.study.from_logs.traffic import kind_of_log

    site = prepare_site(base)
    with _bytes_told(log) as told:
        found = read_site_log(
            site,
            kind or kind_of_log(site, log, form),
            log,
            sort=sort,
            form=form,
            told=told,
            trusted=trusted,
        )
    fitted = fit_site(base, site.layout, found)
    if found.kind == "detections":
        fitted = calibrate_motion(fitted, found)
    goodness = judge_fit(fitted, found, replications)
    page = fit_page(fitted, found, goodness)
    write_fit(fitted, found, goodness, page, target, force=force)
    written(target)
    if as_json:
        tell_json(fit_json(fitted, found, goodness, page))
    else:
        words = page.sections[: len(page.sections) - len(found.tables)]
        click.echo(page_text(replace(page, sections=words)))
        for table in found.tables:
            click.echo(f"\n{extra_table_text(table)}")
    say(f"\nResults: {target}{os.sep}   next: aislewake run {target / 'scenario.toml'}", as_json=as_json)
