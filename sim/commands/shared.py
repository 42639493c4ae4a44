"""What the command files share: options, `--json`, what was written, pictures, what a shell may complete.

Comes in: nothing.  Goes out: options, functions that print.  Before: `terminal`; after: the other
`commands/` and `cli`.  Heavy libraries are imported inside the functions.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from sim.terminal import columns_for_pictures, shows_letters

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

    from sim.show.words.bars import Ink

__all__ = [
    "JSON_ASKED",
    "WRITTEN",
    "complete_inputs",
    "complete_limits",
    "complete_outcomes",
    "complete_scenarios",
    "complete_sites",
    "complete_varied",
    "draw",
    "json_option",
    "say",
    "say_where",
    "study_options",
    "tell_json",
    "written",
]

JSON_ASKED = "sim.json"
"""Key of a context's `meta`: whether one JSON document was asked for."""
WRITTEN = "sim.written"
"""Key of a context's `meta`: what was written whole, for whoever interrupts what comes after."""

Command = Callable[..., Any]
Completer = Callable[[click.Context, click.Parameter, str], "list[CompletionItem]"]


def _note(context: click.Context, _: click.Parameter, is_asked: bool) -> bool:
    """Keep for the end of the process that JSON was asked for: faults are then told as JSON too."""
    context.meta[JSON_ASKED] = is_asked
    return is_asked


def json_option(command: Command) -> Command:
    """Add `--json` to a command, which gets it as `as_json`."""
    return click.option(
        "--json",
        "as_json",
        is_flag=True,
        callback=_note,
        help="Print one JSON document, and nothing else, on standard output.",
    )(command)


def study_options(replications: str) -> Callable[[Command], Command]:
    """Add the options that every study has.

    Parameters
    ----------
    replications : help of that option
    """

    def add(command: Command) -> Command:
        for option in (
            json_option,
            click.option("--force", is_flag=True, help="Replace an earlier results folder."),
            click.option("--out", type=click.Path(path_type=Path), help="Results folder."),
            click.option(
                "--workers",
                type=click.IntRange(min=1, max=256),
                default=1,
                show_default=True,
                help="Processes; the figures do not depend on it.",
            ),
            click.option("--replications", type=click.IntRange(min=1), help=replications),
        ):
            command = option(command)
        return command

    return add


def say(text: str, *, as_json: bool = False) -> None:
    """Print for people: to standard error where standard output carries JSON."""
    click.echo(text, err=as_json)


def tell_json(content: Any) -> None:
    """Print one JSON document, in letters that every pipe can carry."""
    from sim.show.as_json.text import json_text

    click.echo(json_text(content, only_ascii=True), nl=False)


def say_where(folder: Path, *, as_json: bool = False, page: str = "report.html") -> None:
    """Say where the results are."""
    say(f"\nResults: {folder}{os.sep}   open {folder / page}", as_json=as_json)


def written(path: Path) -> None:
    """Keep what was written, whole, for the message of an interruption that comes later."""
    click.get_current_context().meta[WRITTEN] = path


def draw(picture: Callable[[int, Ink], Sequence[str]]) -> None:
    """Print a small picture where there is a terminal that can take it.

    Parameters
    ----------
    picture : its lines, for so many columns and what to draw with
    """
    width = columns_for_pictures()
    if width is None:
        return
    from sim.show.words.bars import ASCII, BLOCKS, NARROWEST

    if width < NARROWEST:
        return
    letters = "".join((BLOCKS.across, BLOCKS.up, BLOCKS.axis, BLOCKS.front, BLOCKS.other))
    lines = picture(width, BLOCKS if shows_letters(letters) else ASCII)
    if lines:
        click.echo("\n" + "\n".join(lines))


def _completes(words: Callable[[click.Context], Iterable[str]]) -> Completer:
    """Return a completer that offers words which begin as the typed one; it is silent about any trouble."""

    def complete(context: click.Context, _: click.Parameter, incomplete: str) -> list[CompletionItem]:
        """Offer the words that begin as what is typed."""
        from click.shell_completion import CompletionItem

        try:
            return [CompletionItem(word) for word in words(context) if word.startswith(incomplete)]
        except Exception:  # a half-typed line may name a file with faults, or none
            return []

    return complete


def complete_scenarios(
    context: click.Context, parameter: click.Parameter, incomplete: str
) -> list[CompletionItem]:
    """Offer packaged sites and scenario files; where none begins so, whatever file the shell finds."""
    from click.shell_completion import CompletionItem

    from sim.scenario.demos import demo_paths

    names = [name for name in demo_paths() if name.startswith(incomplete)]
    folder = Path(incomplete).parent if not incomplete.endswith(("/", os.sep)) else Path(incomplete)
    prefix = "" if str(folder) == "." and not incomplete.startswith(".") else f"{folder}{os.sep}"
    files = [f"{prefix}{path.name}" for path in sorted(folder.glob("*.toml"))] if folder.is_dir() else []
    found = [*names, *(file for file in files if file.startswith(incomplete))]
    return [CompletionItem(word) for word in found] or [CompletionItem(incomplete, type="file")]


def _outcome_names(context: click.Context) -> Iterable[str]:
    """Every outcome."""
    from sim.outcome.names import OUTCOMES

    return OUTCOMES


def _limit_words(context: click.Context) -> Iterable[str]:
    """What a limit may be set on, ready for its value."""
    from sim.study.decide.measures import measure_names

    return (f"{name}=" for name in measure_names())


def _varied_words(context: click.Context) -> Iterable[str]:
    """Keys of the scenario that was typed, else of the default one, ready for their values."""
    from sim.scenario.toml import load
    from sim.study.sweeping.vary import keys_to_vary

    # click leaves arguments aside where the option that is being completed has no value yet
    site = context.params.get("scenario") or next(iter(context.args), None)
    return (f"{key}=" for key in keys_to_vary(load(site).content()))


def _input_words(context: click.Context) -> Iterable[str]:
    """The same, and the factors on what the scenario states."""
    from sim.study.stress import FACTORS

    return (*(f"{name}=" for name in FACTORS), *_varied_words(context))


def _site_names(context: click.Context) -> Iterable[str]:
    """Packaged sites."""
    from sim.scenario.demos import demo_paths

    return demo_paths()


complete_outcomes = _completes(_outcome_names)
complete_limits = _completes(_limit_words)
complete_varied = _completes(_varied_words)
complete_inputs = _completes(_input_words)
complete_sites = _completes(_site_names)
