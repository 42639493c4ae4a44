"""Commands that decide between settings: sweep, recommend.

Comes in: words from a terminal.  Goes out: calls to `study`, text, results folders.  Before: `study`, `show`;
after: `cli`, which registers them.  Heavy libraries are imported inside the commands.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import Any

import click

from sim.commands.shared import (
    complete_limits,
    complete_outcomes,
    complete_scenarios,
    complete_varied,
    draw,
    say_where,
    study_options,
    tell_json,
    written,
)
from sim.errors import InputError
from sim.terminal import CONTEXT, free_folder, progress_told

__all__ = ["recommend", "sweep"]


@click.command(context_settings=CONTEXT, short_help="Try many settings on the same traffic.")
@click.argument("scenario", shell_complete=complete_scenarios)
@click.option(
    "--vary",
    "varied",
    multiple=True,
    metavar="KEY=VALUES",
    shell_complete=complete_varied,
    help="What to vary: a:b:step, or values set apart by commas. Once for each key.",
)
@click.option("--sample", type=click.IntRange(min=1), help="So many points instead of every combination.")
@click.option(
    "--design",
    type=click.Choice(["sobol", "lhs"]),
    default="sobol",
    show_default=True,
    help="How to sample: Sobol' points or a Latin hypercube.",
)
@click.option(
    "--minimise",
    multiple=True,
    metavar="NAME",
    shell_complete=complete_outcomes,
    help="Outcome of the trade-off; instead of the usual four.",
)
@click.option(
    "--maximise",
    multiple=True,
    metavar="NAME",
    shell_complete=complete_outcomes,
    help="The same, for outcomes that should be large.",
)
@click.option(
    "--parquet", is_flag=True, help="sweep.parquet instead of sweep.csv (needs the extra [parquet])."
)
@study_options("So many replications of each point; by default the scenario's.")
def sweep(
    scenario: str,
    varied: Sequence[str],
    sample: int | None,
    design: str,
    minimise: Sequence[str],
    maximise: Sequence[str],
    parquet: bool,
    replications: int | None,
    workers: int,
    out: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Evaluate every combination of settings of SCENARIO, exactly and on the same trucks.

    Keys: NAME.timeout_s and any other key of the settings NAME ("all." for every settings); or a key of the
    scenario file with dots, items of lists by name: sensors.at, floor.zones_per_aisle,
    work.retrieval.per_hour, trucks.reach.count. Settings alone need one simulation for all points; any other
    key is simulated once per combination.

    With --sample, listed values and a:b:step are drawn by index, a:b evenly between its ends (whole numbers
    where both ends are).

    The folder holds sweep.csv (a row per point and replication), summary.csv (means, intervals, who beats
    whom), front.csv (settings that none beats, with peaks and dim spells), front_hours.csv (the same by
    hour of the day), report.html and pictures. --json prints what its summary.json holds.

    \b
    Examples:
      aislewake sweep pallet-reserve --vary day.timeout_s=60:900:60
      aislewake sweep my-site.toml --vary all.timeout_s=30:1800:30 \\
          --vary sensors.at=ends,every --workers 2 --out trade-off
      aislewake sweep my-site.toml --vary day.timeout_s=60,300 --json
    """
    from sim.scenario.demos import find_scenario
    from sim.scenario.toml import load
    from sim.show.folders.sweep import need_parquet, sweep_json, write_sweep
    from sim.show.folders.whole import refuse_existing
    from sim.show.words.sections import page_text
    from sim.show.words.sweep import sweep_page
    from sim.study.sweeping.front import AIMS, Aim
    from sim.study.sweeping.plan import make_plan
    from sim.study.sweeping.sweep import sweep as evaluate
    from sim.study.sweeping.vary import parse_varied

    path = find_scenario(scenario)
    target = out or free_folder(f"{path.stem}-sweep")
    refuse_existing(target, force=force)
    if parquet:
        need_parquet()
    site = load(path)
    aims = (*(Aim(name) for name in minimise), *(Aim(name, True) for name in maximise))
    plan = make_plan(
        site,
        parse_varied(varied, site),
        replications=replications or site.replications,
        sample=sample,
        design="lhs" if design == "lhs" else "sobol",
    )
    with progress_told() as tell:
        result = evaluate(
            site, plan, replications=replications, aims=aims or AIMS, workers=workers, progress=tell
        )
    write_sweep(result, target, parquet=parquet, force=force)
    written(target)
    if as_json:
        tell_json(sweep_json(result))
    else:
        from sim.show.words.bars import sweep_picture

        click.echo(page_text(sweep_page(result)))
        draw(partial(sweep_picture, result))
    say_where(target, as_json=as_json)


def _limits(texts: Sequence[str], option: str) -> dict[str, float]:
    """Read NAME=VALUE."""
    found: dict[str, float] = {}
    for text in texts:
        name, equals, value = text.partition("=")
        try:
            found[name.strip()] = float(value)
        except ValueError:
            equals = ""
        if not equals:
            raise InputError(f"{option} {text}: write NAME=VALUE, such as dim_truck_s_per_visit=2")
    return found


def _names(text: str) -> list[str]:
    """Read names set apart by commas; "none" for an empty list."""
    return [] if text.strip().lower() == "none" else [name.strip() for name in text.split(",")]


@click.command(context_settings=CONTEXT, short_help="Find the best settings under limits.")
@click.argument("scenario", shell_complete=complete_scenarios)
@click.option(
    "--max",
    "at_most",
    multiple=True,
    metavar="NAME=VALUE",
    shell_complete=complete_limits,
    help="Limit of the site's mean, such as dim_truck_s_per_visit=2.",
)
@click.option(
    "--max-zone",
    multiple=True,
    metavar="NAME=VALUE",
    shell_complete=complete_limits,
    help="The same for every control zone by itself.",
)
@click.option(
    "--max-hour",
    multiple=True,
    metavar="NAME=VALUE",
    shell_complete=complete_limits,
    help="The same for every hour of the day by itself.",
)
@click.option(
    "--minimise",
    metavar="NAME",
    shell_complete=complete_outcomes,
    help="What to make small; by default energy_kwh.",
)
@click.option("--timeouts", metavar="VALUES", help="Timeouts the controller offers [s]: a:b:step or values.")
@click.option(
    "--levels", metavar="VALUES", help="Unoccupied levels the controller offers, share of full light."
)
@click.option("--floor-share", type=float, help="Lowest unoccupied level allowed, share of full light.")
@click.option("--floor-lux", type=float, help="The same in lux on the floor.")
@click.option("--occupied-lux", type=float, help="Light wanted while a zone is held [lx]; absent: as it is.")
@click.option(
    "--egress", metavar="AISLES", help="Aisles that are marked ways out, set apart by commas, or none."
)
@click.option("--egress-floor-lux", type=float, help="Lowest level allowed in them [lx].")
@click.option("--egress-floor-share", type=float, help="The same, share of full light.")
@click.option("--walked", metavar="AISLES", help="Aisles in which people walk, set apart by commas, or none.")
@click.option("--groups", type=int, help="Groups of like aisles; by default 3.")
@click.option(
    "--margin",
    type=float,
    help="Share of each limit to have to spare where plans are fitted, such as 0.1; by default 0.",
)
@click.option(
    "--fresh",
    type=click.IntRange(min=2),
    help="So many other replications to try on; by default as many as fitted.",
)
@study_options("So many replications to fit to; by default the scenario's.")
def recommend(
    scenario: str,
    at_most: Sequence[str],
    max_zone: Sequence[str],
    max_hour: Sequence[str],
    minimise: str | None,
    timeouts: str | None,
    levels: str | None,
    floor_share: float | None,
    floor_lux: float | None,
    occupied_lux: float | None,
    egress: str | None,
    egress_floor_lux: float | None,
    egress_floor_share: float | None,
    walked: str | None,
    groups: int | None,
    margin: float | None,
    fresh: int | None,
    replications: int | None,
    workers: int,
    out: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Find the settings of SCENARIO that use least within limits: one for all aisles, by group, by aisle.

    A limit is the name of an additive outcome (dim_truck_s, shortfall_truck_s, dim_entries, false_offs,
    switch_ups, ...), alone for the total of the run, or with _per_visit, _per_day, _per_hour or
    _per_zone_hour behind it. Everything may stand in the scenario's [recommend] table; options win.

    The plans are tried on replications they were not fitted to, and with volume, skew and handling time
    30 % lower and higher. A plan that just keeps a limit where it was fitted exceeds it on other traffic as
    often as not: --margin 0.1 keeps a tenth of every limit to spare. Nothing is recommended until the floor
    of the unoccupied level, the marked ways out, and the aisles in which people walk are stated.

    \b
    Examples:
      aislewake recommend my-site.toml --max shortfall_truck_s_per_visit=1 \\
          --floor-share 0.2 --egress none --walked none
      aislewake recommend my-site.toml --max dim_truck_s_per_visit=2 \\
          --max false_offs_per_day=5 --max switch_ups_per_zone_hour=6
      aislewake recommend my-site.toml --json > plans.json
    """
    from sim.scenario.demos import find_scenario
    from sim.scenario.toml import load
    from sim.show.folders.recommend import recommendation_json, write_recommendation
    from sim.show.folders.whole import refuse_existing
    from sim.show.words.recommend import recommendation_page
    from sim.show.words.sections import page_text
    from sim.study.decide import recommend as study
    from sim.study.decide.wish import make_wish, with_wishes

    path = find_scenario(scenario)
    target = out or free_folder(f"{path.stem}-recommend")
    refuse_existing(target, force=force)
    changes: dict[str, Any] = {
        "max": _limits(at_most, "--max"),
        "max_zone": _limits(max_zone, "--max-zone"),
        "max_hour": _limits(max_hour, "--max-hour"),
        "minimise": minimise,
        "timeouts_s": None if timeouts is None else _numbers(timeouts, "--timeouts"),
        "levels": None if levels is None else _numbers(levels, "--levels"),
        "unoccupied_floor_share": floor_share,
        "unoccupied_floor_lux": floor_lux,
        "occupied_lux": occupied_lux,
        "egress_aisles": None if egress is None else _names(egress),
        "egress_floor_lux": egress_floor_lux,
        "egress_floor_share": egress_floor_share,
        "walked_aisles": None if walked is None else _names(walked),
        "groups": groups,
        "margin": margin,
    }
    site = with_wishes(load(path), {key: value for key, value in changes.items() if value is not None})
    wish = make_wish(site)
    with progress_told() as tell:
        found = study.recommend(wish, replications=replications, fresh=fresh, workers=workers, progress=tell)
    write_recommendation(found, target, force=force)
    written(target)
    if as_json:
        tell_json(recommendation_json(found))
    else:
        from sim.show.words.bars import plans_picture

        click.echo(page_text(recommendation_page(found)))
        draw(partial(plans_picture, found))
    say_where(target, as_json=as_json)


def _numbers(text: str, option: str) -> list[Any]:
    """Read numbers as a sweep does."""
    from sim.study.sweeping.values import Span, ValuesError, parse_values

    try:
        values = parse_values(text)
    except ValuesError as error:
        raise InputError(f"{option}: {error}") from None
    if isinstance(values, Span):
        raise InputError(f"{option}: {text}: give a:b:step, or values set apart by commas")
    return list(values)
