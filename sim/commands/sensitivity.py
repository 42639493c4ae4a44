"""The command that tells what to measure on site first: sensitivity.

Comes in: words from a terminal.  Goes out: calls to `study`, text, a results folder.  Before: `study`,
`show`; after: `cli`, which registers it.  Heavy libraries are imported inside the command.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from sim.commands.shared import (
    complete_inputs,
    complete_outcomes,
    complete_scenarios,
    say_where,
    study_options,
    tell_json,
    written,
)
from sim.terminal import CONTEXT, free_folder, progress_told

__all__ = ["sensitivity"]


@click.command(context_settings=CONTEXT, short_help="Say which inputs move the answer.")
@click.argument("scenario", shell_complete=complete_scenarios)
@click.option(
    "--range",
    "ranges",
    multiple=True,
    metavar="KEY=a:b",
    shell_complete=complete_inputs,
    help="An input and its range; once for each. By default the usual six.",
)
@click.option(
    "--of",
    "outcome",
    default="saved_share",
    show_default=True,
    metavar="NAME",
    shell_complete=complete_outcomes,
    help="The answer.",
)
@click.option(
    "--method",
    type=click.Choice(["tornado", "morris", "sobol"]),
    default="tornado",
    show_default=True,
    help="One input at a time, or all at once (needs the extra [sensitivity]).",
)
@click.option(
    "--samples",
    type=click.IntRange(min=2, max=100_000),
    default=8,
    show_default=True,
    help="Morris: paths; Sobol: points of the base sample, raised to a power of two.",
)
@click.option(
    "--log-to",
    type=click.FloatRange(min=0.001, max=1.0),
    default=0.1,
    show_default=True,
    help="Precision wanted of the mean visits of an aisle: half-width over mean.",
)
@study_options("So many replications of each point; by default the scenario's.")
def sensitivity(
    scenario: str,
    ranges: Sequence[str],
    outcome: str,
    method: str,
    samples: int,
    log_to: float,
    replications: int | None,
    workers: int,
    out: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Find which inputs of SCENARIO move an outcome most: what to measure on site first.

    A key is volume, skew, handling or speed, a factor on what the scenario states, or the dotted path of a
    number in the file. It also says how many aisles to log so that their mean traffic is known well enough.

    \b
    Examples:
      aislewake sensitivity pallet-reserve --replications 3
      aislewake sensitivity my-site.toml --range volume=0.5:1.5 \\
          --range sensors.miss=0:0.2 --of false_offs --workers 2
      aislewake sensitivity my-site.toml --json > inputs.json
    """
    from sim.scenario.checks.contradictions import find_notices
    from sim.scenario.demos import find_scenario
    from sim.scenario.toml import load
    from sim.show.folders.sensitivity import sensitivity_json, write_sensitivity
    from sim.show.folders.whole import refuse_existing
    from sim.show.words.sections import page_text
    from sim.show.words.sensitivity import sensitivity_page
    from sim.study import sensitivity as study
    from sim.study.inputs import parse_inputs, usual_inputs

    path = find_scenario(scenario)
    target = out or free_folder(f"{path.stem}-sensitivity")
    refuse_existing(target, force=force)
    if method != "tornado":
        study.need_salib()
    site = load(path)
    inputs = parse_inputs(ranges, site) if ranges else usual_inputs(site)
    count = replications or site.replications
    with progress_told("run") as tell:
        found: study.Tornado | study.Indices
        if method == "tornado":
            found = study.tornado(site, inputs, outcome, replications=count, workers=workers, progress=tell)
        else:
            found = study.find_indices(
                site,
                inputs,
                outcome,
                method,
                samples=samples,
                replications=count,
                workers=workers,
                progress=tell,
            )
    logs = study.log_size(site, log_to, replications=count)
    page = sensitivity_page(site, found, logs, count, tuple(find_notices(site)))
    write_sensitivity(site, found, logs, page, target, force=force)
    written(target)
    if as_json:
        tell_json(sensitivity_json(site, found, logs, page))
    else:
        click.echo(page_text(page))
    say_where(target, as_json=as_json)
