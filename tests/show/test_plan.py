"""The site plan: numbers by hand, every thing on the floor once, a picture for every size, `check --plan`."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.collections import PolyCollection
from matplotlib.colors import to_hex

from sim.cli import aislewake
from sim.errors import InputError, MachineError
from sim.floor.layout import lay_out
from sim.scenario.schema import Scenario
from sim.scenario.toml import load_scenario
from sim.show.figures.plan import draw_plan, plan_picture
from sim.show.figures.style import INK, LAMP, style
from sim.show.numbers.plan import MOST_A_ROW, MOST_ROWS, PlanNumbers, plan_numbers
from sim.show.words.captions_floor import plan_words
from tests.show.made_results import make_scenario

DEMOS = sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))
FLOOR = {"aisles": 3, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0, "dock_doors": 2, "staging_depth_m": 10.0}


def plan_of(scenario: Scenario) -> PlanNumbers:
    """The plan of a scenario."""
    return plan_numbers(scenario, lay_out(scenario))


def make_plan(**floor: Any) -> PlanNumbers:
    """The plan of the small site with another floor."""
    return plan_of(make_scenario(floor={**FLOOR, **floor}))


def test_numbers_by_hand() -> None:
    override = [
        {"aisles": ["A02"], "per_aisle": 4, "fixed_on": 1, "at": [5.0, 50.0], "range_m": 8.0,
         "approach_m": 3.0}
    ]
    numbers = plan_of(make_scenario(floor=FLOOR, override=override))
    assert (numbers.depth_m, numbers.staging_m, numbers.aisles, numbers.left_out) == (60.0, 10.0, 3, 0)
    assert (numbers.luminaires, numbers.sensors, numbers.zones_per_aisle) == (24, 6, 1)
    (row,) = numbers.rows
    assert row.doors == ((1, 3.75), (2, 11.25))  # a floor 15 m wide
    first, second, _ = row.aisles
    assert (second.left_m, second.right_m, second.length_m, second.cut_m) == (5.0, 10.0, 60.0, ())
    assert second.dimmed_m.tolist() == [7.5, 22.5, 37.5]
    assert second.fixed_m.tolist() == [52.5]
    reaches = [(one.at_m, one.from_m, one.to_m) for one in second.sensors]
    assert reaches == [(5.0, 0.0, 13.0), (50.0, 42.0, 58.0)]
    assert (second.front_m, second.back_m, first.front_m) == (3.0, 3.0, 0.0)
    # 12 m of 60 m at either end of the two others, 13 + 16 m in the second
    assert f"{100 * (24 + 29 + 24) / 180:.0f} % of the aisles' length" in plan_words(numbers)


def test_a_sensor_reaches_to_the_border_of_its_zone() -> None:
    sensors = {"at": [15.0, 28.0, 45.0], "range_m": 10.0}
    numbers = plan_of(make_scenario(floor={**FLOOR, "zones_per_aisle": 2}, sensors=sensors))
    aisle = numbers.rows[0].aisles[0]
    assert aisle.cut_m == (30.0,)
    assert [(one.from_m, one.to_m) for one in aisle.sensors] == [(5.0, 25.0), (18.0, 30.0), (35.0, 55.0)]


def test_dead_sensors_and_one_way_aisles_are_marked() -> None:
    override = [{"aisles": ["A01"], "dead_sensors": [1]}]
    sensors = {"at": "ends", "range_m": 9.0, "approach_m": 3.0}
    numbers = plan_of(make_scenario(floor={**FLOOR, "one_way": ["A02"]}, sensors=sensors, override=override))
    first, second, _ = numbers.rows[0].aisles
    assert [one.is_dead for one in first.sensors] == [True, False]
    assert (first.front_m, first.back_m) == (0.0, 3.0)  # a dead sensor sees nobody turn in
    assert (first.direction, second.direction) == (0, 1)
    assert numbers.cross_m == ()


def test_directions_and_middle_cross_aisles_are_drawn() -> None:
    floor = {**FLOOR, "one_way": "alternating", "cross_aisles_m": [40.0, 20.0]}
    numbers = plan_of(make_scenario(floor=floor))
    assert [aisle.direction for aisle in numbers.rows[0].aisles] == [1, -1, 1]
    assert numbers.cross_m == (20.0, 40.0)


@settings(max_examples=60, deadline=None)
@given(aisles=st.integers(1, 300), doors=st.integers(1, 400), pitch=st.floats(2.0, 12.0))
def test_every_aisle_and_door_stands_in_one_row(aisles: int, doors: int, pitch: float) -> None:
    numbers = make_plan(aisles=aisles, dock_doors=doors, aisle_pitch_m=pitch)
    names = [aisle.name for row in numbers.rows for aisle in row.aisles]
    assert names == [f"A{number:02d}" for number in range(1, len(names) + 1)]
    assert len(names) + numbers.left_out == aisles
    assert max(len(row.aisles) for row in numbers.rows) <= MOST_A_ROW
    assert len(numbers.rows) <= MOST_ROWS
    found = [number for row in numbers.rows for number, _ in row.doors]
    assert found == list(range(1, len(found) + 1))
    if not numbers.left_out:
        assert len(found) == doors
    for row in numbers.rows:
        assert all(row.left_m - 1e-6 <= at <= row.right_m + 1e-6 for _, at in row.doors)
        assert all(
            before.right_m == pytest.approx(after.left_m)
            for before, after in zip(row.aisles, row.aisles[1:], strict=False)
        )


SITES: dict[str, dict[str, Any]] = {
    "one aisle": {"aisles": 1, "dock_doors": 1},
    "two aisles": {"aisles": 2},
    "40 aisles": {"aisles": 40},
    "41 aisles": {"aisles": 41},
    "200 aisles": {"aisles": 200, "dock_doors": 60},
    "more than a page": {"aisles": 300},
    "long names": {"aisles": [f"Reserve hall north {number}" for number in range(30)]},
    "cut": {"zones_per_aisle": 5},
    "cut fine": {"zones_per_aisle": 10},
    "no staging": {"staging_depth_m": 0.0},
    "deep staging": {"staging_depth_m": 200.0},
    "lengths": {"aisle_length_m": [20.0, 60.0, 180.0]},
    "widths": {"aisle_pitch_m": [3.0, 5.0, 15.0]},
    "short": {"aisle_length_m": 3.0},
    "long": {"aisle_length_m": 900.0},
}


@pytest.mark.parametrize("floor", SITES.values(), ids=SITES.keys())
def test_a_picture_for_every_site(floor: dict[str, Any]) -> None:
    scenario = make_scenario(floor={**FLOOR, **floor}, sensors={"at": "every", "range_m": 9.0})
    numbers = plan_of(scenario)
    with style():
        figure = draw_plan(numbers)
        figure.draw_without_rendering()
    assert figure.get_figheight() < 11.0
    (axes,) = figure.axes
    shown = [aisle for row in numbers.rows for aisle in row.aisles]
    boxes = {
        to_hex(one.get_facecolor()[0]): len(one.get_paths())
        for one in axes.collections
        if isinstance(one, PolyCollection) and len(one.get_paths())
    }
    assert boxes[LAMP] == sum(len(aisle.dimmed_m) for aisle in shown)
    texts = {text.get_text() for text in axes.texts}
    if all(len(aisle.name) <= 14 for aisle in shown):
        assert {aisle.name for aisle in shown} <= texts
    else:
        assert len({text for text in texts if text.startswith("Rese..")}) == len(shown)
    assert (f"and {numbers.left_out} more aisles" in texts) is (numbers.left_out > 0)


def test_nothing_overlaps_by_scale() -> None:
    """Widths keep their proportion within a row, lengths everywhere."""
    numbers = make_plan(aisles=2, aisle_pitch_m=[4.0, 8.0], aisle_length_m=[30.0, 60.0])
    with style():
        (axes,) = draw_plan(numbers).axes
    floors = next(
        one for one in axes.collections if isinstance(one, PolyCollection) and len(one.get_paths()) == 2
        and to_hex(one.get_facecolor()[0]) == "#ffffff"
    )
    sizes = [np.ptp(path.vertices, axis=0) for path in floors.get_paths()]
    assert sizes[1] == pytest.approx(2.0 * sizes[0])


def test_fixed_luminaires_are_dark_and_in_the_key() -> None:
    luminaires = {"per_aisle": 10, "full_w": 100.0, "fixed_on": 2}
    with style():
        (axes,) = draw_plan(plan_of(make_scenario(floor=FLOOR, luminaires=luminaires))).axes
        (plain,) = draw_plan(make_plan()).axes
    dark = [one for one in axes.collections if isinstance(one, PolyCollection) and len(one.get_paths()) == 6]
    assert any(to_hex(one.get_facecolor()[0]) == INK for one in dark)
    legend, other = (one.get_legend() for one in (axes, plain))
    assert legend is not None
    assert other is not None
    assert "never dims" in [text.get_text() for text in legend.get_texts()]
    assert "never dims" not in [text.get_text() for text in other.get_texts()]


@pytest.mark.parametrize("path", DEMOS, ids=[path.stem for path in DEMOS])
def test_every_demo_has_a_plan(path: Path) -> None:
    numbers = plan_of(load_scenario(path))
    svg = plan_picture(numbers, "svg")
    ElementTree.fromstring(svg)
    for row in numbers.rows:
        for aisle in row.aisles:
            assert re.search(rb">" + aisle.name.encode() + rb"<", svg)
    assert svg == plan_picture(numbers, "svg")


def test_check_draws_the_plan(tmp_path: Path) -> None:
    for name, start in (("plan.svg", b"<?xml"), ("plan.PNG", b"\x89PNG")):
        done = CliRunner().invoke(aislewake, ["check", "cross-dock", "--plan", str(tmp_path / name)])
        assert done.exit_code == 0
        assert f"Plan: {tmp_path / name}" in done.output
        assert (tmp_path / name).read_bytes().startswith(start)


def test_check_refuses_what_it_cannot_draw(tmp_path: Path) -> None:
    done = CliRunner().invoke(aislewake, ["check", "cross-dock", "--plan", str(tmp_path / "plan.pdf")])
    assert isinstance(done.exception, InputError)
    assert "must end in .svg or .png" in str(done.exception)
    done = CliRunner().invoke(aislewake, ["check", "cross-dock", "--plan", str(tmp_path / "no" / "plan.svg")])
    assert isinstance(done.exception, MachineError)
    assert list(tmp_path.iterdir()) == []
