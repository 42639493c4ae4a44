"""The command that writes a first scenario: `aislewake new`.

Comes in: words from a terminal, a list of aisles.  Goes out: a scenario file.  Before: `scenario/questions`,
`scenario/new_site`; after: `cli`, which registers it.  It asks only where there is a terminal, so that it
never waits for an answer that cannot come.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import click

from sim.commands.shared import written
from sim.errors import Fault, InputError, MachineError
from sim.scenario.questions import (
    QUESTIONS,
    AisleRow,
    Answers,
    Question,
    Value,
    fill_in,
    listed_keys,
    usual_answer,
)
from sim.terminal import CONTEXT

__all__ = ["new"]

_WIDTH = 78

def _read(question: Question, text: str) -> Value:
    """Turn a text into an answer, or say what is allowed."""
    try:
        return question.read(text)
    except ValueError as error:
        raise click.BadParameter(str(error)) from None


def _questions_as_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add an option for every question."""
    for question in reversed(QUESTIONS):
        notes = [", ".join(question.choices), f"usually {_text(question.default)}"]
        unit = f" [{question.unit}]" if question.unit else ""
        metavar = "TEXT" if question.least is None else "NUMBER"
        command = click.option(
            question.option, metavar=metavar,
            callback=lambda _, __, text, one=question: None if text is None else _read(one, text),
            help=f"{question.words}{unit}" + "".join(f"; {note}" for note in notes if note) + ".",
        )(command)
    return command


def _text(value: Value | None) -> str:
    """A usual answer as a person would write it."""
    if value is None:
        return "by the other answers"
    return f"{value:g}" if isinstance(value, float) else str(value)


@click.command(context_settings=CONTEXT, short_help="Write a first scenario from a few answers.")
@click.option(
    "--out", type=click.Path(path_type=Path), default="my-site.toml", show_default=True,
    help="Scenario file to write; an existing one is never overwritten.",
)
@click.option("--yes", "is_quiet", is_flag=True, help="Ask nothing: usual answers where no option is given.")
@click.option(
    "--aisles-csv", type=click.Path(path_type=Path),
    help="List of aisles: name,length[,luminaires,watts,circuit,zone], metres and watts.",
)
@_questions_as_options
def new(out: Path, is_quiet: bool, aisles_csv: Path | None, **options: Value | None) -> None:
    """Ask about a site and write a scenario file with comments, ready to run.

    Each question has an option; what an option answers is not asked. Where there is no terminal, or with
    --yes, the usual answers are taken, marked ASSUMED in the file.

    \b
    Examples:
      aislewake new --out north-hall.toml
      aislewake new --yes --aisles 24 --aisle-length-m 72 --trucks 10 \\
          --shifts "Mon-Fri 06:00-14:00 14:00-22:00; Sat 06:00-12:00"
    """
    if out.exists():
        raise InputError(f"{out}: exists already; it is not overwritten; choose another --out")
    given = {key: value for key, value in options.items() if value is not None}
    rows = _read_list(aisles_csv, given)
    known = {*given, *listed_keys(rows)}
    open_questions = [one for one in QUESTIONS if one.is_asked and one.key not in known]
    if open_questions and not is_quiet and _is_terminal():
        given |= _ask(open_questions, given, rows)
    elif open_questions and not is_quiet:
        click.echo("There is no terminal to ask on: the usual answers are taken.")
    answers = fill_in(given, rows)
    _write(answers, out)
    written(out)
    _tell(answers, out)


def _is_terminal() -> bool:
    """Whether somebody is there to answer."""
    return sys.stdin.isatty() and sys.stdout.isatty()


def _read_list(path: Path | None, given: Mapping[str, Value]) -> tuple[AisleRow, ...]:
    """Read the list of aisles; what it says must not be said by an option too."""
    if path is None:
        return ()
    from sim.scenario.aisle_list import read_aisle_list

    rows = read_aisle_list(path)
    faults = [
        Fault("", None, question.option, f"stands beside --aisles-csv, which says it already ({path})")
        for question in QUESTIONS
        if question.key in listed_keys(rows) and question.key in given
    ]
    if faults:
        raise InputError(faults)
    return rows


def _ask(
    questions: Sequence[Question], given: Mapping[str, Value], rows: Sequence[AisleRow]
) -> dict[str, Value]:
    """Ask; return the answers that differ from the usual ones.

    With a list, luminaires in an aisle count as answered: else they would follow from each aisle's length.
    """
    click.echo("Enter takes the answer in brackets; Ctrl-C leaves without a file.\n")
    answers = dict(given)
    for question in questions:
        usual = usual_answer(question.key, answers, rows)
        note = ", ".join(question.choices) or question.unit
        words = f"{question.words} ({note})" if note else question.words
        if len(words) + len(_text(usual)) + 5 > _WIDTH:
            words = f"{question.words}\n  ({note})"
        answer = click.prompt(words, default=_text(usual), value_proc=partial(_read, question))
        if answer != usual or (rows and question.key == "per_aisle"):
            answers[question.key] = answer
    click.echo()
    return answers


def _write(answers: Answers, out: Path) -> None:
    """Write the file; a text that did not load would be a bug, and is not written."""
    from sim.scenario.new_site import write_site
    from sim.scenario.toml import parse_scenario
    from sim.show.folders.whole import put_text

    text = write_site(answers)
    parse_scenario(text, str(out))
    try:
        put_text(out, text)
    except OSError as error:
        raise MachineError(f"{out}: {error.strerror or error}") from error


def _tell(answers: Answers, out: Path) -> None:
    """Say what was written and what to look at first."""
    from sim.scenario.first_load import busy_trucks, strains
    from sim.scenario.new_site import zones_of_list
    from sim.show.words.amounts import count_of, wrapped

    assumed, busy = len(answers.assumed), busy_trucks(answers)
    aisles = count_of(len(answers.rows), "aisle")
    click.echo(f"Wrote {out}: {aisles}, about {busy:.1f} of {answers.trucks} trucks busy.")
    if assumed:
        click.echo(f"{assumed} of {len(QUESTIONS)} answers are the usual ones, marked ASSUMED in the file.")
    notes = list(strains(answers))
    left = ", ".join(zones_of_list(answers)[1])
    if left:
        notes.append(
            "These zones of the list stand in the file as a comment, each of their aisles is a zone of its "
            f"own: {left} (the aisles differ in watts, or the name cannot be a zone's)."
        )
    for note in notes:
        click.echo("\n".join(wrapped(f"! {note}", "  ")))
    click.echo(f"Next: aislewake check {out}, then aislewake run {out}")
