"""Commands that ask about results: compare, explain.

Comes in: words from a terminal.  Goes out: calls to `study`, text.  Before: `study`, `show`; after: `cli`,
which registers them.  Heavy libraries are imported inside the commands.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sim.commands.shared import (
    complete_outcomes,
    complete_scenarios,
    json_option,
    tell_json,
)
from sim.errors import InputError
from sim.terminal import CONTEXT, progress_told

if TYPE_CHECKING:
    from sim.floor.layout import Layout
    from sim.results import Result
    from sim.study.compare import Alternative, Goal

__all__ = ["compare", "explain"]


@click.command(context_settings=CONTEXT, short_help="Compare scenarios or results folders.")
@click.argument(
    "alternatives", nargs=-1, required=True, metavar="A B [C]...", shell_complete=complete_scenarios
)
@click.option(
    "--outcome",
    "outcomes",
    multiple=True,
    metavar="NAME",
    shell_complete=complete_outcomes,
    help="Outcome to show; once for each. By default the usual ones.",
)
@click.option("--all", "shows_all", is_flag=True, help="Show every outcome.")
@click.option("--replications", type=click.IntRange(min=2), help="So many replications of what is simulated.")
@click.option(
    "--until",
    metavar="NAME=VALUE",
    shell_complete=complete_outcomes,
    help="Go on until every difference in NAME is known to VALUE, or to a share of itself (5%).",
)
@click.option(
    "--workers",
    type=click.IntRange(min=1, max=256),
    default=1,
    show_default=True,
    help="Processes; the figures do not depend on it.",
)
@json_option
def compare(
    alternatives: Sequence[str],
    outcomes: Sequence[str],
    shows_all: bool,
    replications: int | None,
    until: str | None,
    workers: int,
    as_json: bool,
) -> None:
    """Compare A with B, C, ...: scenario files, packaged sites, or folders of runs and replays.

    The folder of a recommendation stands for the scenario it started from and for each of its plans.

    Where the trucks are the same (same floor, fleet, work and seed), differences are paired replication by
    replication, which takes most of the chance out of them; otherwise they are taken as independent. Each
    difference has its 95 % interval; where that reaches over 0, no difference is shown, and it is told how
    many more simulated weeks a difference of this size would need.

    \b
    Examples:
      aislewake compare before.toml after.toml --until energy_kwh=5%
      aislewake compare week-12 after.toml --workers 2
      aislewake compare settings --replications 20
      aislewake compare before.toml after.toml --json
    """
    from sim.outcome.names import HEADLINES, OUTCOMES
    from sim.show.words.compare import comparison_page
    from sim.show.words.sections import page_text
    from sim.study.compare import compare as study
    from sim.wording import nearest_text

    for name in outcomes:
        if name not in OUTCOMES:
            raise InputError(f"--outcome {name}: there is no such outcome{nearest_text(name, OUTCOMES)}")
    shown = list(OUTCOMES) if shows_all else list(outcomes) or list(HEADLINES)
    given = [one for text, label in _labels(alternatives) for one in _read_alternatives(text, label)]
    with progress_told() as tell:
        found = study(given, replications=replications, goal=_goal(until), workers=workers, progress=tell)
    if as_json:
        from sim.show.as_json.decide import comparison_json

        tell_json(comparison_json(found, shown))
    else:
        click.echo(page_text(comparison_page(found, shown)))


def _labels(texts: Sequence[str]) -> list[tuple[str, str]]:
    """Pair each text with a label of its own."""
    return [
        (text, text if texts.index(text) == place else f"{text} ({place + 1})")
        for place, text in enumerate(texts)
    ]


def _read_alternatives(text: str, label: str) -> list[Alternative]:
    """Read one alternative, or all that the folder of a recommendation holds."""
    from sim.scenario.demos import find_scenario
    from sim.scenario.toml import load
    from sim.study.compare import from_plan, from_scenario, from_store
    from sim.study.store import is_results_folder, read_plans, read_stored_run

    path = Path(text)
    if is_results_folder(path):
        plans = read_plans(path)
        if plans:
            return [from_plan(scenario, f"{label}/{name}") for name, scenario in plans.items()]
        return [from_store(read_stored_run(path), label)]
    if path.is_dir():
        raise InputError(
            f"{text}: is a folder without summary.json; give a results folder or a scenario file"
        )
    return [from_scenario(load(find_scenario(text)), label)]


def _goal(text: str | None) -> Goal | None:
    """Read NAME=VALUE or NAME=5%."""
    from sim.outcome.names import OUTCOMES
    from sim.study.compare import Goal
    from sim.wording import nearest_text

    if text is None:
        return None
    name, _, value = text.partition("=")
    if name not in OUTCOMES:
        raise InputError(f"--until {text}: there is no outcome {name}{nearest_text(name, OUTCOMES)}")
    try:
        number = float(value.removesuffix("%"))
    except ValueError:
        number = 0.0
    if not 0.0 < number < float("inf") or (value.endswith("%") and number >= 100.0):
        raise InputError(f"--until {text}: write {name}=VALUE with a value above 0, or {name}=5%")
    if value.endswith("%"):
        return Goal(name, None, number / 100.0)
    return Goal(name, number, None)


@click.command(context_settings=CONTEXT, short_help="Say why a light was low, and what would cure it.")
@click.argument("results", type=click.Path(path_type=Path))
@click.argument("aisle", required=False)
@click.option("--at", metavar="TIME", help='"Tue 02:10", 2027-03-02T02:10, or seconds from the start.')
@click.option(
    "--worst", type=click.IntRange(min=1, max=10_000), help="List so many of the longest dim spells."
)
@json_option
def explain(results: Path, aisle: str | None, at: str | None, worst: int | None, as_json: bool) -> None:
    """Explain the light of an AISLE in the first replication of RESULTS, a folder of a run or a replay.

    An open area is named like an aisle; aisles that share a zone by one of them or by the group.

    With --at: what was seen, which timer ran out when, who was in the aisle, which timeout would have kept
    the light up, and what that costs in kWh a year. With --worst: the longest times that a truck spent in
    too little light, in one aisle or in all.

    \b
    Examples:
      aislewake explain week-12 A14 --at "Tue 02:10"
      aislewake explain week-12 --worst 10
      aislewake explain week-12 A14 --worst 3 --json
    """
    from sim.show.as_json.ask import moments_json, spells_json
    from sim.show.words.explain import moment_page, spells_page
    from sim.show.words.sections import page_text
    from sim.study.explain import explain_moment, find_worst_spells
    from sim.study.moments import parse_moment

    if (at is None) == (worst is None):
        raise InputError("give either --at TIME with an aisle, or --worst N")
    if at is not None and aisle is None:
        raise InputError("--at needs an aisle, such as A14")
    found = _look(results)
    place = None if aisle is None else _find_place(found.layout, aisle)
    if at is not None and place is not None:
        moments = explain_moment(found, place, parse_moment(at, found.scenario))
        if as_json:
            tell_json(moments_json(found, moments))
        else:
            click.echo(page_text(moment_page(found, moments)))
    if worst is not None:
        if found.close_look.visits is None:
            raise InputError(f"{results}: no visits are known, so that nobody was in the dark")
        spells = find_worst_spells(found, worst, place)
        if as_json:
            tell_json(spells_json(found, spells, aisle))
        else:
            click.echo(page_text(spells_page(found, spells, aisle, str(results))))


def _find_place(layout: Layout, name: str) -> int:
    """Return the place that an aisle belongs to, or that has this name."""
    from sim.wording import nearest_text

    if name in layout.aisles:
        return int(layout.aisle_place[layout.aisles.index(name)])
    known = tuple(dict.fromkeys((*layout.aisles, *layout.places)))
    if name not in known:
        raise InputError(f"there is no aisle {name}{nearest_text(name, known)}")
    return layout.places.index(name)


def _look(folder: Path) -> Result:
    """Compute the first replication of a results folder again."""
    from sim.study.replications.replicate import replay, run
    from sim.study.store import read_stored_run

    stored = read_stored_run(folder)
    if stored.source == "run":
        return run(stored.scenario, replication=stored.replications[0])
    visits = folder / "visits.csv"
    return replay(
        stored.scenario,
        detections=folder / "detections.csv",
        visits=visits if visits.is_file() else None,
        sort=True,
    )
