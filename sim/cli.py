"""The command line: with the `commands/` beside it the only files that print; it alone sets exit codes.

Comes in: words from a terminal.  Goes out: calls to `study`, text, a results folder.  Heavy libraries are
imported inside the commands, so that `--help` and `check` start at once.
Exit codes: 0 done, 1 a bug, 2 bad input or usage, 3 some points failed, 4 the machine, 130 interrupted.
"""

from __future__ import annotations

import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sim.commands.ask import compare, explain
from sim.commands.data import fit, quality, replay
from sim.commands.decide import recommend, sweep
from sim.commands.film import film
from sim.commands.new import new
from sim.commands.page import estimate, page
from sim.commands.proof import verify, worksheet
from sim.commands.sensitivity import sensitivity
from sim.commands.shared import (
    JSON_ASKED,
    WRITTEN,
    complete_scenarios,
    complete_sites,
    draw,
    json_option,
    say,
    say_where,
    tell_json,
    written,
)
from sim.commands.site import handover, skylight
from sim.commands.study import study
from sim.errors import AislewakeError, InputError, MachineError
from sim.terminal import (
    CONTEXT,
    ReaderGoneError,
    forget_output,
    free_folder,
    open_streams,
    progress_bar,
    streams_told,
)

if TYPE_CHECKING:
    from sim.floor.layout import Layout
    from sim.replication import Engine
    from sim.results import Result
    from sim.scenario.schema import Scenario

__all__ = ["aislewake", "main"]


def _show_version(context: click.Context, _: click.Parameter, is_asked: bool) -> None:
    """Print the version, also of a folder that was never installed."""
    if is_asked:
        from sim.provenance import package_version

        click.echo(f"aislewake, version {package_version()}")
        context.exit()


class _Commands(click.Group):
    """A group whose failing streams are told apart before click ends the process on its own."""

    def make_context(self, *words: Any, **settings: Any) -> click.Context:
        """Read the words; help and version print here."""
        with streams_told():
            return super().make_context(*words, **settings)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; where JSON was asked for, what went wrong is told as JSON too."""
        try:
            with streams_told():
                return super().invoke(ctx)
        except AislewakeError as error:
            if ctx.meta.get(JSON_ASKED):
                from sim.show.as_json.site import fault_summary

                with streams_told():
                    tell_json(fault_summary(ctx.invoked_subcommand or "", error))
            raise
        except (KeyboardInterrupt, click.Abort):
            at_terminal = sys.stderr.isatty()
            _say("\n" * at_terminal + _interruption(ctx))  # the terminal shows ^C where the cursor stands
            ctx.exit(130)


def _interruption(context: click.Context) -> str:
    """Say what an interruption left behind."""
    written = context.meta.get(WRITTEN)
    if written is not None:
        return f"interrupted; {written} is complete"
    if context.invoked_subcommand == "study":
        return "interrupted; rows that the store holds are kept: the same command goes on"
    return "interrupted; nothing was written"


@click.group(cls=_Commands, context_settings=CONTEXT)
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_show_version,
    help="Show the version and exit.",
)
def aislewake() -> None:
    """Forklift traffic against aisle dimming: energy, service and switching.

    \b
    Examples:
      aislewake run
      aislewake check my-site.toml
    """


def _finish(result: Result, out: Path, force: bool, as_json: bool) -> None:
    """Write the results and print the short answer."""
    from sim.show.folders.run import summary, write_results

    write_results(result, out, force=force)
    written(out)
    if as_json:
        tell_json(summary(result))
    else:
        from sim.show.words.bars import run_picture
        from sim.show.words.tables import headline_table

        click.echo(headline_table(result))
        draw(partial(run_picture, result))
    say_where(out, as_json=as_json)


@aislewake.command(context_settings=CONTEXT, short_help="Simulate a site and write a results folder.")
@click.argument("scenario", required=False, shell_complete=complete_scenarios)
@click.option("--seed", type=click.IntRange(min=0), help="Seed instead of the scenario's.")
@click.option("--replications", type=click.IntRange(min=1), help="Exactly so many replications.")
@click.option("--replication", type=click.IntRange(min=0), help="Only this one, by its number from 0.")
@click.option(
    "--workers",
    type=click.IntRange(min=1, max=256),
    default=1,
    show_default=True,
    help="Processes; the figures do not depend on it.",
)
@click.option(
    "--engine",
    type=click.Choice(["auto", "replay", "live"]),
    default="auto",
    show_default=True,
    help="Lights after the traffic (replay) or inside it (live); auto: live where drivers react.",
)
@click.option("--out", type=click.Path(path_type=Path), help="Results folder; by default NAME-results here.")
@click.option("--force", is_flag=True, help="Replace an earlier results folder.")
@json_option
def run(
    scenario: str | None,
    seed: int | None,
    replications: int | None,
    replication: int | None,
    workers: int,
    engine: Engine,
    out: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Simulate SCENARIO (a file, or a packaged site's name) and write a results folder.

    Without SCENARIO the packaged demonstration site is run. --json prints what summary.json holds.

    \b
    Examples:
      aislewake run --replications 3
      aislewake run my-site.toml --workers 2 --out week-12
      aislewake run my-site.toml --json > summary.json
    """
    from sim.scenario.demos import find_scenario
    from sim.scenario.toml import load

    path = find_scenario(scenario)
    target = out or free_folder(path.stem)
    from sim.show.folders.run import refuse_existing

    refuse_existing(target, force=force)
    site = load(path)
    from sim.study.replications import replicate

    tell, close = progress_bar()
    try:
        result = replicate.run(
            site,
            seed=seed,
            replications=replications,
            replication=replication,
            workers=workers,
            engine=engine,
            progress=tell,
        )
    finally:
        close()
    _finish(result, target, force, as_json)


@aislewake.command(context_settings=CONTEXT, short_help="Validate a scenario and print the resolved site.")
@click.argument("scenario", shell_complete=complete_scenarios)
@click.option("--plan", type=click.Path(path_type=Path), help="Also draw the site plan: a .svg or .png file.")
@json_option
def check(scenario: str, plan: Path | None, as_json: bool) -> None:
    """Validate SCENARIO and print the resolved site in a screenful.

    Every fault is told at once, with file, line, key and what is allowed; exit code 2 then. --json prints
    the site's main facts and notices, or the faults as a list.

    \b
    Examples:
      aislewake check my-site.toml
      aislewake check cross-dock --plan plan.svg
      aislewake check my-site.toml --json
    """
    from sim.floor.layout import lay_out
    from sim.lighting.timetable import place_programs
    from sim.scenario.checks.contradictions import find_notices
    from sim.scenario.toml import load

    if plan is not None and plan.suffix.lower() not in (".svg", ".png"):
        raise InputError(f"--plan {plan}: the file's name must end in .svg or .png")
    site = load(scenario)
    layout = lay_out(site)
    programs, notices = place_programs(site), find_notices(site)
    if plan is not None:
        _draw_plan(site, layout, plan)
        written(plan)
    if as_json:
        from sim.show.as_json.site import check_summary

        borders = max(len(program.border) - 2 for program in programs)
        tell_json(check_summary(scenario, site, layout, notices, borders))
    else:
        from sim.show.words.tables import site_table

        click.echo(site_table(site, layout, programs, notices))
    if plan is not None:
        say(f"\nPlan: {plan}", as_json=as_json)


def _draw_plan(site: Scenario, layout: Layout, plan: Path) -> None:
    """Write the site plan."""
    from sim.show.figures.plan import plan_picture
    from sim.show.numbers.plan import plan_numbers

    picture = plan_picture(plan_numbers(site, layout), plan.suffix.lower().removeprefix("."))
    try:
        plan.write_bytes(picture)
    except OSError as error:
        raise MachineError(f"{plan}: {error.strerror or error}") from error


@aislewake.command(context_settings=CONTEXT, short_help="List the packaged sites, or copy one out.")
@click.argument("name", required=False, shell_complete=complete_sites)
@click.option("--out", type=click.Path(path_type=Path), help="File to write; by default NAME.toml here.")
def demo(name: str | None, out: Path | None) -> None:
    """List the packaged sites, or copy the one called NAME out to start from.

    \b
    Examples:
      aislewake demo
      aislewake demo narrow-aisles --out my-site.toml
    """
    from sim.scenario.demos import DEFAULT_DEMO, demo_paths

    paths = demo_paths()
    if name is None:
        for stem, path in paths.items():
            mark = " (the default)" if stem == DEFAULT_DEMO else ""
            click.echo(f"{stem}{mark}\n    {_first_comment(path)}")
        return
    if name not in paths:
        raise InputError(f"{name}: no such packaged site; there are {', '.join(paths)}")
    target = out or Path(f"{name}.toml")
    if target.exists():
        raise InputError(f"{target}: exists already; it is not overwritten")
    try:
        target.write_bytes(paths[name].read_bytes())
    except OSError as error:
        raise MachineError(f"{target}: {error.strerror or error}") from error
    click.echo(f"Wrote {target}. Next: aislewake check {target}")


def _first_comment(path: Path) -> str:
    """The sentence a packaged site says about itself in its first plain comment line."""
    lines = path.read_text(encoding="utf-8").splitlines()
    return next((line[2:] for line in lines if line.startswith("# ")), "")


@aislewake.command(context_settings=CONTEXT, short_help="Write the scenario file's JSON Schema.")
@click.option("--out", type=click.Path(path_type=Path), help="File to write; by default the terminal.")
@click.option("--study", "is_study", is_flag=True, help="Of the study file instead.")
def schema(out: Path | None, is_study: bool) -> None:
    """Write the JSON Schema of the scenario file, for editors that check as you type.

    \b
    Examples:
      aislewake schema
      aislewake schema --out scenario.schema.json
    """
    if is_study:
        from sim.study.batch.schema import study_schema as json_schema
    else:
        from sim.scenario.jsonschema import json_schema

    text = json_schema()
    if out is None:
        click.echo(text, nl=False)
        return
    try:
        out.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        raise MachineError(f"{out}: {error.strerror or error}") from error


aislewake.add_command(replay)
aislewake.add_command(quality)
aislewake.add_command(fit)
aislewake.add_command(new)
aislewake.add_command(sweep)
aislewake.add_command(recommend)
aislewake.add_command(sensitivity)
aislewake.add_command(compare)
aislewake.add_command(explain)
aislewake.add_command(page)
aislewake.add_command(film)
aislewake.add_command(estimate)
aislewake.add_command(verify)
aislewake.add_command(worksheet)
aislewake.add_command(handover)
aislewake.add_command(skylight)
aislewake.add_command(study)


def main(arguments: list[str] | None = None) -> Any:
    """Run the command and end the process with its exit code."""
    open_streams()
    try:
        code = aislewake.main(args=arguments, prog_name="aislewake", standalone_mode=False)
        with streams_told():
            sys.stdout.flush()
        sys.exit(code if isinstance(code, int) else 0)
    except (click.Abort, KeyboardInterrupt):  # before or after the command itself
        _say("interrupted")
        sys.exit(130)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except ReaderGoneError:
        forget_output()  # the reader of our output has gone: that is its right
        sys.exit(0)
    except AislewakeError as error:
        _say(str(error))
        if isinstance(error, InputError) and len(error.faults) > 1:
            _say(f"{len(error.faults)} faults; nothing was written.")
        sys.exit(error.exit_code)
    except MemoryError:
        _say("not enough memory for this scenario: fewer days or aisles, or a larger machine")
        sys.exit(4)


def _say(text: str) -> None:
    """Print a message for people to standard error, whatever its encoding can show."""
    click.echo(text, err=True)

