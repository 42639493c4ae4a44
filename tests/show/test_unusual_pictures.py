"""Pictures of what is rare: nobody known, one aisle, an odd number of panels, a folded floor, dead sensors.

Comes in: results and numbers made by hand.  What is drawn is read off the axes.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure

from sim.floor.layout import lay_out
from sim.results import Result
from sim.scenario.schema import Scenario
from sim.show.figures.film import draw_frame
from sim.show.figures.fit import draw_fit_gaps
from sim.show.figures.gaps import draw_gaps
from sim.show.figures.plan import draw_plan
from sim.show.figures.style import style
from sim.show.numbers.film import film_numbers
from sim.show.numbers.gaps import gap_numbers
from sim.show.numbers.motion import distance_at, place_at
from sim.show.numbers.plan import PlanNumbers, plan_numbers
from sim.show.words.captions_floor import plan_words
from sim.study.from_logs import goodness as fitted
from tests.show.made_results import make_result, make_scenario, without_bays
from tests.show.test_hour import ALWAYS, one_visit, with_look

SAME = fitted.Test("gaps", 0.0, 1.0, "10 gaps each")


def test_a_film_of_motion_alone_has_light_and_no_trucks() -> None:
    film = film_numbers(make_result(with_visits=False), 36_000.0, 39_600.0, 12)
    assert film.dots == ((),) * 12
    assert film.unplaced == 0
    assert film.level.shape == (12, 3)
    assert any(film_numbers(make_result(), 36_000.0, 39_600.0, 12).dots)


def frames_of(result: Result) -> tuple[int, int]:
    """Dots of all frames of a film around the one visit, and visits without a place."""
    film = film_numbers(result, 990.0, 1110.0, 120)
    return sum(map(len, film.dots)), film.unplaced


def test_a_visit_that_nobody_can_place_is_counted_once() -> None:
    """104 s in an aisle are 104 frames of a second; without a place none, and one visit is counted."""
    result = with_look(make_result(), one_visit(make_result()), ALWAYS)
    assert frames_of(result) == (104, 0)
    assert frames_of(without_bays(result)) == (0, 1)


@pytest.mark.parametrize(("enters_back", "place"), [(False, 0.0), (True, 72.0)])
def test_a_truck_that_has_not_moved_yet_stands_at_its_mouth(enters_back: bool, place: float) -> None:
    """In the aisle of 72 m from 1000 s, its first run begins at 1010 s."""
    visits = one_visit(make_result(), enters_back=np.array([enters_back]))
    assert visits.moves is not None
    late = replace(visits, moves=replace(visits.moves, start=np.array([1010.0, 1092.0])))
    assert place_at(late, 0, 1005.0, 72.0) == place
    assert place_at(late, 0, 1012.0, 72.0) == pytest.approx(2.0)  # 1 m/s2 for 2 s, from the run's own start


def test_a_way_of_no_length_is_done() -> None:
    """A run of 0 m takes no time; there is nothing to divide by."""
    assert distance_at(1.0, 0.0, 2.0, 1.0) == 0.0
    assert distance_at(1.0, 10.0, 2.0, 1.0) == 0.5


def test_the_line_of_the_doors_is_drawn_where_trucks_are_known_outside() -> None:
    """12 m of staging before the front cross-aisle: a line across the plan at -12 m, none without it."""
    result = make_result()
    film = film_numbers(result, 36_000.0, 36_600.0, 1)
    with style():
        figure = draw_frame(replace(film, depth_m=12.0), result.scenario.start_datetime, 0)
    figure.canvas.draw()
    pixels = np.asarray(figure.canvas.buffer_rgba())[..., :3].astype(int)  # type: ignore[attr-defined]
    plan = figure.axes[-1]
    assert plan.get_ylim()[0] < -12.0
    left, right = (int(plan.transData.transform((across, 0.0))[0]) for across in plan.get_xlim())
    darkest = []
    for along in (-12.0, -6.0):
        row = len(pixels) - plan.transData.transform((0.0, along))[1]
        band = pixels[int(row) - 1:int(row) + 2, left + 2:right - 2].sum(axis=2)
        darkest.append(band.min(axis=0).max())
    # between doors and aisles there is nothing but paper
    assert darkest[0] < 600 < darkest[1]
    with style():
        bare = draw_frame(film, result.scenario.start_datetime, 0).axes[-1]
    assert bare.get_ylim()[0] > -12.0


def repeating(aisles: int) -> fitted.Goodness:
    """A fit that repeats its log: gaps of 60, 120, ... 600 s in each aisle."""
    gaps = 60.0 * np.arange(1.0, 11.0)
    names = [f"A{number + 1:02d}" for number in range(aisles)]
    every = np.sort(np.tile(gaps, aisles))
    return fitted.Goodness(
        replications=1,
        aisles=tuple(fitted.AisleGoodness(name, 11.0, 11.0, 0.1, 0.1, 330.0, 330.0, SAME) for name in names),
        tests=(SAME,), week_visits=np.zeros(168), simulated_week_visits=np.zeros(168),
        gaps_s=every, simulated_gaps_s=every, aisle_gaps_s=(gaps,) * aisles,
        simulated_aisle_gaps_s=(gaps,) * aisles,
    )


def shown(figure: Figure) -> list[Axes]:
    """The panels that can be seen."""
    return [axes for axes in figure.axes if axes.get_visible()]


@pytest.mark.parametrize(("aisles", "panels"), [(1, 1), (2, 3)])
def test_one_aisle_is_the_whole_site(aisles: int, panels: int) -> None:
    """All aisles together, and each by itself where there is more than one."""
    floor = {"aisles": aisles, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0}
    with style():
        figure = draw_fit_gaps(make_scenario(floor=floor), repeating(aisles))
    assert len(shown(figure)) == panels
    told = [text.get_text() for axes in shown(figure) for text in axes.texts]
    assert f"all aisles: {10 * aisles} gaps measured" in told
    assert ("A01: 10 gaps measured" in told) == (aisles > 1)


@pytest.mark.parametrize("count", [1, 2, 3])
def test_panels_of_gaps_leave_no_empty_frame(count: int) -> None:
    """Two in a row: of three panels the fourth place stays empty."""
    numbers = gap_numbers(make_result())
    panels = (*numbers.panels, *numbers.panels)[:count]
    with style():
        figure = draw_gaps(replace(numbers, panels=panels))
    assert len(shown(figure)) == count
    assert len(figure.axes) == (4 if count == 3 else count)
    assert all(axes.lines for axes in shown(figure))


def plan_of(scenario: Scenario) -> PlanNumbers:
    """The plan of a scenario."""
    return plan_numbers(scenario, lay_out(scenario))


def test_a_dead_sensor_is_drawn_without_its_reach() -> None:
    """Six sensors, one of which sees nothing: five reaches, and a mark of its own for the sixth."""
    override = [{"aisles": ["A01"], "dead_sensors": [1]}]
    counts, reaches = [], []
    for scenario in (make_scenario(override=override), make_scenario()):
        with style():
            (axes,) = draw_plan(plan_of(scenario)).axes
        lines = [one for one in axes.collections if isinstance(one, LineCollection)]
        reaches.append([len(one.get_segments()) for one in lines])
        legend = axes.get_legend()
        assert legend is not None
        names = [text.get_text() for text in legend.get_texts()]
        counts.append(any("dead" in name or "sees nothing" in name for name in names))
    assert counts == [True, False]
    assert max(reaches[0]) == 5
    assert max(reaches[1]) == 6
    seen, all_seen = (plan_words(plan_of(one)) for one in (make_scenario(override=override), make_scenario()))
    # ends see 12 m each of 60 m: 72 of 180 m, 60 of them with one dead
    assert "33 % of the aisles' length" in seen
    assert "40 % of the aisles' length" in all_seen


def test_an_area_lies_in_the_rows_of_a_folded_floor_that_it_reaches() -> None:
    """80 aisles of 5 m in two rows of 200 m: 10 to 60 m is in the first, 190 to 260 m in both."""

    def area(name: str, left: float, right: float) -> dict[str, object]:
        return {
            "name": name, "across_m": [left, right], "along_m": [-8.0, -2.0], "luminaires": 2,
            "sensors_at_m": [[left + 5.0, -5.0]], "radius_m": 4.0,
        }

    floor = {"aisles": 80, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0, "staging_depth_m": 10.0}
    areas = [area("near", 10.0, 60.0), area("middle", 190.0, 260.0)]
    numbers = plan_of(make_scenario(floor=floor, area=areas))
    found = [[(one.name, one.left_m, one.right_m) for one in row.areas] for row in numbers.rows]
    assert found == [[("near", 10.0, 60.0), ("middle", 190.0, 200.0)], [("middle", 200.0, 260.0)]]
    assert [len(row.areas[-1].eyes) for row in numbers.rows] == [1, 0]
    assert "The floor is folded into 2 rows, to be read from the top." in plan_words(numbers)
    assert "folded" not in plan_words(plan_of(make_scenario()))
