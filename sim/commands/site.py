"""Commands about a site itself: handover, skylight.

Comes in: words from a terminal.  Goes out: a folder with the sheets, a table for a scenario.  Before:
`study/step_in`, `show/folders/handover`, `lighting/weather`; after: `cli`, which registers them.  Heavy
libraries are imported inside the commands.
"""

from __future__ import annotations

import math
import os
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sim.commands.shared import complete_scenarios, written
from sim.errors import InputError
from sim.terminal import CONTEXT, progress_told

if TYPE_CHECKING:
    from sim.study.store import Settled

__all__ = ["handover", "skylight"]

_LEAST_DELAY_S, _MOST_DELAY_S = 60.0, 7200.0


@click.command(context_settings=CONTEXT, short_help="Write the sheets for whoever sets the lights up.")
@click.argument("site", metavar="RESULTS|SCENARIO", shell_complete=complete_scenarios)
@click.option("--plan", metavar="NAME", help="Plan of a recommendation; by default its best one.")
@click.option(
    "--weeks", type=click.IntRange(1, 26), default=4, show_default=True, help="Steps of the step-in schedule."
)
@click.option(
    "--first-delay",
    type=click.FloatRange(_LEAST_DELAY_S, _MOST_DELAY_S),
    default=1200.0,
    show_default=True,
    help="Hold and timeout together in the first week [s].",
)
@click.option(
    "--test-share",
    type=click.FloatRange(0.1, 1.0),
    default=0.1,
    show_default=True,
    help="Share of each kind of aisles that is tested; at least one is.",
)
@click.option(
    "--replications",
    type=click.IntRange(min=2, max=1000),
    default=10,
    show_default=True,
    help="Replications for the false-offs to expect.",
)
@click.option("--out", type=click.Path(path_type=Path), help="Folder; by default NAME-handover here.")
@click.option("--force", is_flag=True, help="Replace an earlier folder.")
def handover(
    site: str,
    plan: str | None,
    weeks: int,
    first_delay: float,
    test_share: float,
    replications: int,
    out: Path | None,
    force: bool,
) -> None:
    """Write what a commissioner needs: sequence of operations in words, settings, zones, sensors and circuits
    with tags, numeric limits, a functional test, a step-in schedule, states on failure, sign-off.

    RESULTS is the folder of a run, a replay or a recommendation (then with the recommended settings);
    SCENARIO a file or a packaged site's name. handover.html is made to be printed; each list is a CSV file
    too. The scenario's hash stands on every sheet. It is not a permit document, and nothing is ever sent to
    a controller.

    \b
    Examples:
      aislewake handover pallet-reserve --out north-hall-handover
      aislewake handover pallet-reserve --weeks 6 --test-share 0.25
    """
    from sim.floor.layout import lay_out
    from sim.show.folders.handover import write_handover
    from sim.show.folders.whole import refuse_existing
    from sim.show.handover.sheets import build_handover
    from sim.show.words.cautions import cautions
    from sim.study.step_in import find_step_in

    stem, settled = _settled(site, plan)
    target = out or Path(f"{stem}-handover")
    refuse_existing(target, force=force)
    with progress_told() as tell:
        steps = find_step_in(
            settled.scenario,
            weeks=weeks,
            first_delay_s=first_delay,
            replications=replications,
            log=settled.log,
            progress=tell,
        )
    pack = build_handover(settled.scenario, steps, settings_from=settled.words, share=test_share)
    notes = cautions(settled.scenario, lay_out(settled.scenario))
    write_handover(pack, settled.scenario, notes, target, force=force)
    written(target)
    tested = sum(len(kind.tested) for kind in pack.test.kinds)
    click.echo(f"Settings: {pack.settings_from}")
    click.echo(f"Functional test: {tested} of {len(settled.scenario.aisle_names)} aisles.")
    click.echo("Not a permit document; nothing was sent to a controller.")
    click.echo(f"\nHandover: {target}{os.sep}   open {target / 'handover.html'}")


def _settled(text: str, plan: str | None) -> tuple[str, Settled]:
    """Read what was given: a results folder or a scenario."""
    from sim.scenario.demos import find_scenario
    from sim.scenario.toml import load
    from sim.study.store import Settled, is_results_folder, read_settled

    folder = Path(text)
    if is_results_folder(folder):
        return folder.resolve().name, read_settled(folder, plan)
    if folder.is_dir():
        raise InputError(f"{text}: is a folder without summary.json; give a results folder or a scenario")
    if plan is not None:
        raise InputError(f"--plan {plan}: {text} is a scenario; only a recommendation's folder has plans")
    path = find_scenario(text)
    return path.stem, Settled(load(path), f"as the scenario {path.name} states them", None)


@click.command(context_settings=CONTEXT, short_help="Make a [skylight] table of a weather file.")
@click.argument("weather", metavar="WEATHER")
@click.option(
    "--indoor-share",
    type=click.FloatRange(0.0, 1.0, min_open=True),
    required=True,
    help="Light on the floor over light outdoors on the horizontal (daylight factor).",
)
@click.option(
    "--needed-lux",
    type=click.FloatRange(0.0, 100_000.0, min_open=True),
    required=True,
    help="Light on the floor that full level gives [lx].",
)
@click.option("--aisles", metavar="NAMES", help="Aisles under skylights, set apart by commas.")
@click.option(
    "--lumens-per-watt",
    type=click.FloatRange(50.0, 200.0),
    help="Makes light of radiation where the file has none; daylight has about 105.",
)
def skylight(
    weather: str, indoor_share: float, needed_lux: float, aisles: str | None, lumens_per_watt: float | None
) -> None:
    """Turn a typical year of weather into a [skylight] table: how much light the luminaires still have to
    give, by month and hour. Put the text into a scenario file, which then needs the weather no more.

    WEATHER is a file, EPW (.epw), TMY3 (.csv) or TMY2 (.tm2), or a year that comes with pvlib:
    pvlib-723170TYA (Greensboro), pvlib-703165TY (Sand Point), pvlib-12839 (Miami). Needs pvlib: pip install
    "aislewake[weather]". Hours are the file's own, standard time, never daylight saving.

    \b
    Examples:
      aislewake skylight pvlib-12839 --indoor-share 0.02 --needed-lux 200
      aislewake skylight my-town.epw --indoor-share 0.03 --needed-lux 150 \\
          --aisles A01,A02
    """
    from sim.lighting.daylight import caps_of_year
    from sim.lighting.weather import STATIONS, outdoor_lux, read_weather, why_no_weather

    why = why_no_weather()
    if why is not None:
        raise InputError(f"skylight: {why}")
    packaged = weather in STATIONS
    outdoor = outdoor_lux(weather) if packaged else read_weather(Path(weather), lumens_per_watt)
    caps = caps_of_year(outdoor, indoor_share, needed_lux)
    lines = [
        f"# from {Path(weather).name}: daylight factor {indoor_share:g}, {needed_lux:g} lx needed; "
        "standard time",
        "[skylight]",
    ]
    if aisles is not None:
        names = ", ".join(f'"{name.strip()}"' for name in aisles.split(","))
        lines.append(f"aisles = [{names}]")
    # rounded up: never less than is needed
    rows = ["  [" + ", ".join(f"{math.ceil(1000.0 * cap - 1e-9) / 1000.0:g}" for cap in month) + "],"
            for month in caps.tolist()]
    click.echo("\n".join([*lines, "caps = [", *rows, "]"]))
