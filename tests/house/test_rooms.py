"""Data runs one way: each room imports only rooms above it, and no module is imported in a circle.

This table is the order that the house really has. Two packages are spread over several rooms, for the
reasons given; everything else is one room per package.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from tests.house.source import imported_rooms, module_paths, parse

ROOMS: tuple[tuple[str, tuple[str, ...], str], ...] = (
    (
        "ground",
        (
            "errors",
            "units",
            "wording",
            "rounding",
            "notebook",
            "randomness",
            "provenance",
            "records",
            "logs",
            "outcome.names",
            "scenario.demos",
            "scenario.positions",
        ),
        "words, units and columns that every room shares; where files lie; the names of the outcomes",
    ),
    (
        "form",
        (
            "scenario.schema",
            "scenario.tables",
            "scenario.truck_types",
            "scenario.holiday_dates",
            "scenario.jsonschema",
            "scenario.parts",
            "scenario.faults",
        ),
        "what may be said, and how a wrong word is told",
    ),
    (
        "geometry and week",
        (
            "floor",
            "lighting.timetable",
            "lighting.power",
            "lighting.dali",
            "lighting.daylight",
            "lighting.weather",
        ),
        "places and hours as arrays: pure functions of the form, so that what is checked is what is run",
    ),
    ("results", ("results",), "what a run gives back; holds a layout and programs"),
    ("checks and files", ("scenario",), "contradictions use geometry and week; then the file's reader"),
    ("traffic", ("traffic",), "trucks at work, or visits from a log"),
    ("sensing", ("sensing",), "what the sensors see of the visits, or detections from a log"),
    ("lighting", ("lighting",), "the lights' answer"),
    ("outcome", ("outcome",), "the books"),
    ("replication", ("replication",), "the only file that knows the order of the rooms above"),
    ("study", ("study",), "many replications, many settings"),
    ("verification", ("verification",), "predicted against measured"),
    ("show", ("show",), "tables, pictures, report, folder"),
    (
        "command",
        ("cli", "commands", "terminal", "__main__", ""),
        "the door; `sim` itself only hands names out",
    ),
)
"""Name, modules, reason. A package stands for all its modules that are named nowhere else."""

Graph = Mapping[str, set[str]]


def find_room(module: str) -> int:
    """Return the number of a module's room: the longest prefix in the table decides; -1 for none."""
    best, found = -1, -1
    for number, (_, members, _) in enumerate(ROOMS):
        for member in members:
            is_inside = module == member or (member != "" and module.startswith(member + "."))
            if is_inside and len(member) > best:
                best, found = len(member), number
    return found


def read_graph(*, inside_functions: bool) -> dict[str, set[str]]:
    """Return who imports whom."""
    known = module_paths()
    return {
        name: imported_rooms(parse(path), known, inside_functions=inside_functions)
        for name, path in known.items()
    }


def wrong_ways(graph: Graph) -> list[str]:
    """Return every import that runs against the order of the rooms."""
    return [
        f"{module} in {ROOMS[find_room(module)][0]!r} imports {other}, in {ROOMS[find_room(other)][0]!r}"
        for module, others in graph.items()
        for other in sorted(others)
        if find_room(other) > find_room(module)
    ]


def find_circle(graph: Graph) -> list[str]:
    """Return modules that import each other in a circle, [] where there is none."""
    done: set[str] = set()

    def follow(module: str, way: list[str]) -> list[str]:
        if module in way:
            return [*way[way.index(module) :], module]
        if module in done:
            return []
        for other in sorted(graph.get(module, ())):
            circle = follow(other, [*way, module])
            if circle:
                return circle
        done.add(module)
        return []

    return next((circle for module in sorted(graph) if (circle := follow(module, []))), [])


def test_every_module_has_a_room() -> None:
    homeless = [name for name in module_paths() if find_room(name) < 0]
    assert not homeless, f"give them a room in this file's table: {homeless}"


def test_each_room_imports_only_rooms_above_it() -> None:
    """Also inside functions: an import that is late is an import."""
    assert wrong_ways(read_graph(inside_functions=True)) == []


def test_no_module_is_imported_in_a_circle() -> None:
    assert find_circle(read_graph(inside_functions=True)) == []


def test_packages_are_empty_inside() -> None:
    """A package's `__init__` runs with every module in it, so it must import nothing."""
    for name, path in module_paths().items():
        if path.name == "__init__.py" and name:
            assert not imported_rooms(parse(path), module_paths(), inside_functions=True), name


def test_a_wrong_import_and_a_circle_would_be_seen() -> None:
    assert wrong_ways({"traffic.world": {"outcome.account"}})
    assert wrong_ways({"scenario.schema": {"scenario.toml"}})
    assert not wrong_ways({"outcome.account": {"traffic.world"}})
    assert find_circle({"a": {"b"}, "b": {"c"}, "c": {"a"}}) == ["a", "b", "c", "a"]
    assert find_circle({"a": {"b", "c"}, "b": {"c"}}) == []


@pytest.mark.parametrize("path", module_paths().values(), ids=lambda path: path.name)
def test_a_file_has_at_most_400_lines(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400
