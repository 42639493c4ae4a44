"""The command that films an hour: film.

Comes in: words from a terminal.  Goes out: a GIF or an MP4, text.  Before: `study`, `show`; after: `cli`,
which registers it.  Heavy libraries are imported inside the command.
"""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sim.commands.shared import complete_scenarios, written
from sim.errors import InputError, MachineError
from sim.terminal import CONTEXT, progress_told

if TYPE_CHECKING:
    from sim.records import OpenRuns
    from sim.results import Result

__all__ = ["film"]

MOST_HOURS = 24.0
FRAMES_PER_S = 12
ENDINGS = (".gif", ".mp4")


@click.command(context_settings=CONTEXT, short_help="Film an hour of trucks and lights, for slides.")
@click.argument("site", shell_complete=complete_scenarios)
@click.option(
    "--at", metavar="TIME", required=True, help='"Tue 02:10", 2027-03-02T02:10, or seconds from the start.'
)
@click.option(
    "--hours",
    type=click.FloatRange(0.05, MOST_HOURS),
    default=1.0,
    show_default=True,
    help="How long from there, cut at the run's end.",
)
@click.option(
    "--frames", type=click.IntRange(2, 600), default=240, show_default=True, help="Pictures, 12 a second."
)
@click.option(
    "--replication", type=click.IntRange(min=0), help="Which one; by default the first."
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("film.gif"),
    show_default=True,
    help="File to write: .gif, or .mp4 where ffmpeg is installed.",
)
@click.option("--force", is_flag=True, help="Replace an existing file.")
def film(
    site: str, at: str, hours: float, frames: int, replication: int | None, out: Path, force: bool
) -> None:
    """Write a film of SITE, a scenario or a results folder: time and distance, and the plan beside it.

    Trucks drive, aisles brighten and dim as the simulation has it, zones in which motion is seen have a
    heavy outline. Parked and charging trucks are not drawn; outside the aisles none is where a log or
    drivers who react to the light leave that open.

    \b
    Examples:
      aislewake film pallet-reserve --at "Tue 10:00"
      aislewake film cross-dock --at "Wed 02:10" --hours 0.5 --frames 120 \\
          --out dock.gif
    """
    if out.suffix.lower() not in ENDINGS:
        raise InputError(f"--out {out}: write a name that ends in .gif or .mp4")
    if out.exists() and not force:
        raise InputError(f"{out}: exists already; choose another --out, or --force to replace it")
    from sim.show.figures.film import can_write_mp4, write_film
    from sim.show.numbers.film import film_numbers
    from sim.study.moments import parse_moment
    from sim.units import SECONDS_PER_HOUR

    out = out.with_suffix(out.suffix.lower())
    if out.suffix == ".mp4" and not can_write_mp4():
        raise InputError(f"--out {out}: an MP4 needs ffmpeg, which is not on this machine; write a .gif")
    result = _first_look(site, replication, at)
    scenario = result.scenario
    start = parse_moment(at, scenario)
    end = min(start + hours * SECONDS_PER_HOUR, scenario.duration_s)
    numbers = film_numbers(result, start, end, frames, _ways_outside(result))
    try:
        with progress_told("frame") as tell:
            write_film(numbers, scenario.start_datetime, out, FRAMES_PER_S, tell)
    except BaseException as error:  # half a film is of no use, also where somebody interrupts
        with contextlib.suppress(OSError):
            out.unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise MachineError(f"{out}: {error.strerror or error}") from error
        raise
    written(out)
    click.echo(f"Wrote {out}, {out.stat().st_size / 1e6:.1f} MB, {frames / FRAMES_PER_S:.0f} s.")
    if numbers.unplaced:
        click.echo(f"{numbers.unplaced} visits are not in the plan: the log does not say where they were.")


def _first_look(site: str, replication: int | None, at: str) -> Result:
    """Compute one replication of a scenario or a results folder; a wrong time is told before."""
    from sim.scenario.demos import find_scenario
    from sim.scenario.toml import load
    from sim.study.moments import parse_moment
    from sim.study.replications.replicate import replay, run
    from sim.study.store import is_results_folder, read_stored_run

    folder = Path(site)
    if not is_results_folder(folder):
        scenario = load(find_scenario(site))
        parse_moment(at, scenario)
        return run(scenario, replication=replication or 0)
    stored = read_stored_run(folder)
    parse_moment(at, stored.scenario)
    if stored.source == "run":
        number = stored.replications[0] if replication is None else replication
        return run(stored.scenario, replication=number)
    if replication:
        raise InputError(f"--replication {replication}: {site} holds a measured log, of which there is one")
    visits = folder / "visits.csv"
    return replay(
        stored.scenario,
        detections=folder / "detections.csv",
        visits=visits if visits.is_file() else None,
        sort=True,
    )


def _ways_outside(result: Result) -> OpenRuns | None:
    """Where the trucks of the replication drove outside the aisles; None where nobody knows."""
    from sim.replication import drivers_react, prepare_site, simulate_traffic

    if result.source == "replay" or drivers_react(result.scenario):
        return None
    site = prepare_site(result.scenario)
    return simulate_traffic(site, result.replications[0], keep_open_runs=True).open_runs
