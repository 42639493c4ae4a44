"""The hour looked at closely: places of trucks, light at trucks, the choice of hour and aisles."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.records import Detections, Moves, Visits
from sim.results import Levels, Result
from sim.show.numbers.hour import hour_numbers
from sim.show.numbers.pick import MOST_STRIPS
from sim.show.numbers.tracks import is_dim_at, level_at, tracks_within
from tests.show.made_results import make_result, make_scenario, without_bays


def one_visit(result: Result, **changes: object) -> Visits:
    """A visit to A01 from 1000 s: 40 m in at 2 m/s, 60 s there, 40 m out; 1 m/s2 unless changed."""
    # 40 m with 1 m/s2 to 2 m/s: 40/2 + 2/1 = 22 s each way
    values = {
        "aisle": np.array([0]), "truck": np.array([0]),
        "enter": np.array([1000.0]), "leave": np.array([1104.0]),
        "bay_m": np.array([40.0]), "task": np.array([0]), "enters_back": np.array([False]),
        "leaves_back": np.array([False]), "arrive": np.array([1000.0]), "run_in_m": np.zeros(1),
        "run_before_m": np.zeros(1), "run_speed": np.zeros(1), "run_acceleration": np.zeros(1),
        "truck_names": ("reach-01",), "task_names": ("retrieve",), "drives": None,
        "moves": Moves(
            visit=np.array([0, 0]), start=np.array([1000.0, 1082.0]), from_m=np.array([0.0, 40.0]),
            to_m=np.array([40.0, 0.0]), speed=np.array([2.0, 2.0]), acceleration=np.array([1.0, 1.0]),
        ),
    }
    return Visits(**{**values, **changes})  # type: ignore[arg-type]


def lights(*rows: tuple[float, float, float, float]) -> Levels:
    """Pieces (start, end, level at start, level at end) with the occupied level at 1."""
    start, end, first, last = (np.array(column) for column in zip(*rows, strict=True))
    return Levels(start, end, first, last, last, np.ones(len(rows)), last == 1.0)


def with_look(
    result: Result, visits: Visits | None, *levels: Levels, detections: Detections | None = None
) -> Result:
    """The result with other visits and lights; missing zones take the last lights given."""
    zones = len(result.layout.zones)
    lit = tuple(levels[min(zone, len(levels) - 1)] for zone in range(zones))
    look = replace(
        result.close_look, visits=visits, levels=lit, detections=detections or result.close_look.detections
    )
    return replace(result, close_look=look)


ALWAYS = lights((0.0, 86_400.0, 1.0, 1.0))


def test_level_runs_straight_within_a_piece():
    light = lights((0.0, 100.0, 1.0, 1.0), (100.0, 110.0, 1.0, 0.3), (110.0, 200.0, 0.3, 0.3))
    levels = level_at(light, np.array([50.0, 105.0, 110.0, 250.0]))
    assert levels.tolist() == pytest.approx([1.0, 0.65, 0.3, 0.3])
    assert is_dim_at(light, np.array([99.0, 101.0])).tolist() == [False, True]


def test_a_truck_is_where_its_moves_put_it():
    result = make_result()
    result = with_look(result, one_visit(result), ALWAYS)
    (track,) = tracks_within(result, 0, 0.0, 3600.0)
    # after 2 s of 1 m/s2: 2 m; then 2 m/s; it stands from 1022 to 1082 at 40 m
    # a run is drawn in 8 straight pieces, so that between corners the place is off by some decimetres
    at = np.interp([1000.0, 1002.0, 1011.0, 1050.0, 1104.0], track.time_s, track.position_m)
    assert at.tolist() == pytest.approx([0.0, 2.0, 20.0, 40.0, 0.0], abs=0.35)
    corners = np.interp([1011.0, 1022.0, 1082.0], track.time_s, track.position_m)
    assert corners.tolist() == pytest.approx([20.0, 40.0, 40.0])
    assert track.truck == "reach-01"


def test_places_notice_a_wrong_speed():
    result = make_result()
    moves = one_visit(result).moves
    assert moves is not None
    slow = one_visit(result, moves=replace(moves, speed=np.array([1.0, 2.0])))
    (track,) = tracks_within(with_look(result, slow, ALWAYS), 0, 0.0, 3600.0)
    assert np.interp(1011.0, track.time_s, track.position_m) != pytest.approx(20.0, abs=5.0)


def test_a_visit_is_cut_to_the_span_and_to_its_end():
    result = make_result()
    result = with_look(result, one_visit(result, leave=np.array([1093.0])), ALWAYS)
    (track,) = tracks_within(result, 0, 1011.0, 2000.0)
    assert track.time_s[[0, -1]].tolist() == [1011.0, 1093.0]
    assert track.position_m[[0, -1]].tolist() == pytest.approx([20.0, 20.0])  # half-way in, half-way out
    assert tracks_within(result, 0, 1200.0, 2000.0) == ()
    assert tracks_within(result, 1, 0.0, 3600.0) == ()


def test_dim_pieces_are_those_below_the_occupied_level():
    result = make_result()
    light = lights((0.0, 1010.0, 0.3, 0.3), (1010.0, 1060.0, 1.0, 1.0), (1060.0, 86_400.0, 0.3, 0.3))
    (track,) = tracks_within(with_look(result, one_visit(result), light), 0, 0.0, 3600.0)
    dim_s = float(np.diff(track.time_s)[track.is_dim].sum())
    assert dim_s == pytest.approx(10.0 + 44.0)
    (bright,) = tracks_within(with_look(result, one_visit(result), ALWAYS), 0, 0.0, 3600.0)
    assert not bright.is_dim.any()


def test_light_is_that_of_the_zone_where_the_truck_is():
    floor = {"aisles": 2, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0, "zones_per_aisle": 2}
    result = make_result(make_scenario(floor=floor))
    dark = lights((0.0, 86_400.0, 0.3, 0.3))
    visits = one_visit(result)
    (track,) = tracks_within(with_look(result, visits, ALWAYS, dark), 0, 0.0, 3600.0)
    # beyond 30 m from 1016 s (half the way at 11 s, 10 m more at 2 m/s) to 1088 s
    assert float(np.diff(track.time_s)[track.is_dim].sum()) == pytest.approx(72.0, abs=0.3)


def test_the_hour_is_busy_but_not_the_busiest():
    result = make_result()
    counts = [1, 2, 3, 4, 5]  # visits in hours 1 to 5; three quarters of the way up the list stands 4
    enter = np.concatenate([hour * 3600.0 + 10.0 * np.arange(n) for hour, n in enumerate(counts, start=1)])
    count = len(enter)
    visits = one_visit(
        result, aisle=np.zeros(count, dtype=np.int64), enter=enter, leave=enter + 5.0, moves=None,
        truck=np.zeros(count, dtype=np.int64), bay_m=np.full(count, 20.0),
    )
    numbers = hour_numbers(with_look(result, visits, ALWAYS))
    assert numbers.start_s == 4 * 3600.0
    assert "4 visits, the busiest has 5" in numbers.hour_reason
    assert [strip.count for strip in numbers.strips] == [4]
    assert [track.position_m.tolist() for track in numbers.strips[0].tracks] == [[20.0, 20.0]] * 4


def test_aisles_are_chosen_from_busiest_to_quietest():
    floor = {"aisles": 30, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0}
    numbers = hour_numbers(make_result(make_scenario(floor=floor), per_hour=200.0))
    counts = [strip.count for strip in numbers.strips]
    assert len(counts) == MOST_STRIPS
    assert counts[0] == max(counts)
    assert min(counts) >= 1
    assert "evenly by rank" in numbers.aisle_reason


def test_motion_alone_still_gives_a_picture():
    numbers = hour_numbers(make_result(with_visits=False))
    assert not numbers.knows_visits
    assert numbers.strips
    assert all(strip.tracks == () and strip.seen for strip in numbers.strips)


def test_nothing_at_all_still_gives_a_picture():
    nothing = Detections(np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0))
    result = with_look(make_result(), None, ALWAYS, detections=nothing)
    numbers = hour_numbers(result)
    assert numbers.start_s == 0.0
    assert "no detections" in numbers.hour_reason
    assert len(numbers.strips) == 3


def test_unknown_places_do_not_overlap():
    result = without_bays(make_result(per_hour=60.0))
    for strip in hour_numbers(result).strips:
        assert not any(track.knows_position for track in strip.tracks)
        for first in strip.tracks:
            for second in strip.tracks:
                overlap = first.time_s[0] < second.time_s[-1] and second.time_s[0] < first.time_s[-1]
                assert first is second or not overlap or first.position_m[0] != second.position_m[0]


def test_shades_cover_the_hour_and_borders_are_marked():
    numbers = hour_numbers(make_result(make_scenario(days=1 / 24, start="2027-03-03T21:20")))
    for strip in numbers.strips:
        assert float((strip.shade.end_s - strip.shade.start_s).sum()) == pytest.approx(3600.0)
        assert strip.border_s == (2400.0,)
        assert strip.reach_m == ((0.0, 12.0), (48.0, 60.0))  # luminaires at 3 m and 57 m, 9 m each way
