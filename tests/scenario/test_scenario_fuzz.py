"""Whatever the text, only an InputError leaves; whatever is accepted can be laid out and written back."""

from __future__ import annotations

import copy
import math
import tomllib
from pathlib import Path
from typing import Any

import tomli_w
from hypothesis import example, given, settings
from hypothesis import strategies as st

from sim.errors import Fault, InputError
from sim.floor.layout import lay_out
from sim.lighting.timetable import place_programs
from sim.scenario.checks.contradictions import find_notices
from sim.scenario.toml import dump_scenario, parse_scenario

GOOD = sorted((Path(__file__).parents[1] / "corpus" / "scenarios" / "good").glob("*.toml"))
TEXTS = [path.read_text(encoding="utf-8") for path in GOOD]


def check_text(text: str) -> None:
    """Read a text and use what comes out of it."""
    faults: tuple[Fault, ...] | None = None
    try:
        scenario = parse_scenario(text, "fuzz.toml")
    except InputError as error:
        faults = error.faults
    if faults is not None:
        assert faults
        assert all(fault.message and str(fault).isprintable() for fault in faults)
        return
    assert parse_scenario(dump_scenario(scenario)) == scenario
    layout = lay_out(scenario)
    assert layout.dimmed.min() >= 0
    assert set(layout.sensor_zone.tolist()) == set(range(layout.zones_in_aisles))
    if scenario.days <= 30:
        for program in place_programs(scenario):
            assert program.border[0] == 0.0
            assert program.end_s == scenario.duration_s
    assert all(sentence.endswith((".", "?")) for sentence in find_notices(scenario))


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=200))
@example("a = [" + "[" * 400 + "]" * 401)
@example("[lighting.settings.'']\n")
@example("timetable = 3\ntrucks = {}\nwork = [1]\nshifts = [[]]\noverride = 'x'\nlighting = []\nfloor = 1")
def test_any_text(text: str) -> None:
    check_text(text)


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(TEXTS), st.data())
def test_a_scenario_with_damaged_lines(text: str, data: st.DataObject) -> None:
    lines = text.split("\n")
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(lines) - 1))
        kind = data.draw(st.sampled_from(["drop", "double", "cut", "swap", "insert"]))
        if kind == "drop":
            lines[at] = ""
        elif kind == "double":
            lines.insert(at, lines[at])
        elif kind == "cut":
            lines[at] = lines[at][: data.draw(st.integers(0, 30))]
        elif kind == "swap":
            other = data.draw(st.integers(0, len(lines) - 1))
            lines[at], lines[other] = lines[other], lines[at]
        else:
            place = data.draw(st.integers(0, len(lines[at])))
            lines[at] = lines[at][:place] + data.draw(st.text(max_size=3)) + lines[at][place:]
    check_text("\n".join(lines))


NUMBERS = st.sampled_from([0, 1, 2, 3, 7, 40, 1e-9, 0.5, 1e7, -1, 2**63, 10**30, math.inf, math.nan, 5e-324])
WORDS = st.sampled_from(["ends", "every", "Mon", "24:00", "00:00", "06:00", "day", "A01", "reach", "", "=x"])
KEYS = st.sampled_from(["aisles", "at", "crew", "settings", "to"])
LEAVES = NUMBERS | WORDS | st.booleans() | st.dates() | st.times() | st.datetimes()
ANYTHING = LEAVES | st.lists(LEAVES, max_size=3) | st.dictionaries(WORDS, LEAVES, max_size=2)


def every_place(value: Any) -> list[tuple[Any, Any]]:
    """Every (container, key) of a nested value."""
    steps: Any = value if isinstance(value, dict) else range(len(value)) if isinstance(value, list) else ()
    return [place for step in list(steps) for place in [(value, step), *every_place(value[step])]]


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(TEXTS), st.data())
def test_a_scenario_with_other_values(text: str, data: st.DataObject) -> None:
    content = copy.deepcopy(tomllib.loads(text))
    for _ in range(data.draw(st.integers(1, 3))):
        places = every_place(content)
        if not places:
            break
        container, step = places[data.draw(st.integers(0, len(places) - 1))]
        if data.draw(st.booleans()):
            container[step] = data.draw(ANYTHING)
        elif isinstance(container, dict):
            container[data.draw(KEYS)] = container[step]
        else:
            container.append(copy.deepcopy(container[step]))
    check_text(tomli_w.dumps(content))
