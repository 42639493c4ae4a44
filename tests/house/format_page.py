"""The tables of scenarios/README.md, made from the schema and the list of outcomes.

`python -m tests.house.format_page` writes them into the page, between the marks; a test compares.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

from pydantic.fields import FieldInfo

from sim.outcome.names import OUTCOMES
from sim.scenario.jsonschema import allowed_text
from sim.scenario.schema import Luminaires, Override, Scenario, Sensors
from sim.units import WEEKDAYS
from tests.house.source import ROOT

PAGE = ROOT / "scenarios" / "README.md"
BLOCK = re.compile(
    r"(<!-- begin (\w+): made by tests/house/format_page\.py -->\n).*?(<!-- end \2 -->)", re.DOTALL
)


def _part_of(annotation: Any) -> type[Any] | None:
    """Return the model inside an annotation: of a table, a list of tables or a table of tables."""
    if isinstance(annotation, type) and hasattr(annotation, "model_fields"):
        return annotation
    return next((part for inner in get_args(annotation) if (part := _part_of(inner))), None)


def find_tables() -> Iterator[tuple[str, str, tuple[str | int, ...], type[Any]]]:
    """Yield heading, meaning, path and model of every table of the format, the top of the file first."""
    yield "Top of the file, before the first table", "", (), Scenario
    for key, field in Scenario.model_fields.items():
        part = _part_of(field.annotation)
        if part is None:
            continue
        is_list = "tuple" in repr(field.annotation)
        path: tuple[str | int, ...] = (key, 0) if is_list else (key,)
        heading = f"[[{key}]]" if is_list else f"[{key}]"
        inner = [(name, _part_of(one.annotation)) for name, one in part.model_fields.items()]
        nested = next(((name, model) for name, model in inner if model), None)
        if nested is not None:
            name, model = nested
            yield (
                f"[{key}.{name}.NAME]",
                "One table for each set, NAME being its name.",
                (key, name, "NAME"),
                model,
            )
        else:
            yield heading, (part.__doc__ or "").partition("\n")[0], path, part


def default_text(field: FieldInfo) -> str:
    """Return a key's default as it would be written."""
    if field.is_required():
        return "required"
    value = field.get_default(call_default_factory=True)
    if value is None:
        return "absent"
    if isinstance(value, str):
        return f'`"{value}"`'
    if value in ((), {}):
        return "none"
    if isinstance(value, tuple):
        return "every day" if len(value) == 7 else f"`{list(value)}`"
    return f"`{value:g}`" if isinstance(value, float) else f"`{value}`"


def short_text(allowed: str) -> str:
    """Return what a key may hold in fewer words: names and weekdays are explained once on the page."""
    days = " or ".join(f'"{day}"' for day in WEEKDAYS)
    name = re.compile("a name in quotes: .*?at most [0-9]+")
    return (
        name.sub("a name", allowed).replace(f"a list, each {days}", "a list of weekdays").replace("|", "\\|")
    )


def key_rows(path: tuple[str | int, ...], model: type[Any]) -> Iterator[str]:
    """Yield a row for each key of a table; overrides repeat only what is theirs."""
    repeated = {*Luminaires.model_fields, *Sensors.model_fields} if model is Override else set()
    for name, field in model.model_fields.items():
        key = field.alias or name
        if name in repeated or (model is Scenario and _part_of(field.annotation)):
            continue
        allowed = short_text(allowed_text((*path, key)))
        yield f"| `{key}` | {allowed} | {default_text(field)} | {field.description} |"
    if repeated:
        yield "| any key of `[luminaires]`, `[sensors]` | as there | as there | what differs in them |"


def keys_text() -> str:
    """Return the tables of all keys."""
    parts = []
    for heading, meaning, path, model in find_tables():
        name = heading if path == () else f"`{heading}`"
        rows = "\n".join(key_rows(path, model))
        said = f"{meaning}\n\n" if meaning else ""
        parts.append(f"### {name}\n\n{said}| key | may be | default | meaning |\n|---|---|---|---|\n{rows}\n")
    return "\n".join(parts)


def outcomes_text() -> str:
    """Return the table of all outcomes."""
    rows = [
        f"| `{one.name}` | {one.unit} | {one.meaning} | {'yes' if one.is_additive else 'no'} | "
        f"{'yes' if one.needs_visits else 'no'} |"
        for one in OUTCOMES.values()
    ]
    head = "| column | unit | meaning | adds up | needs visits |\n|---|---|---|---|---|\n"
    return head + "\n".join(rows) + "\n"


def fill(page: str) -> str:
    """Return the page with every block made anew."""
    texts = {"keys": keys_text(), "outcomes": outcomes_text()}
    return BLOCK.sub(lambda found: f"{found[1]}\n{texts[found[2]]}\n{found[3]}", page)


def write(page: Path = PAGE) -> None:
    """Write the blocks into the page."""
    page.write_text(fill(page.read_text(encoding="utf-8")), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    write()
