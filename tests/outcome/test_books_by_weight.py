"""Who counts how much in the books of a zone, and what each visit met.

A truck's dim time counts by its weight, so the books of many trucks must be the sums of the books of each
truck by itself times its weight; presence counts everybody, false-offs and dim spells everybody whose weight
is not 0.  The books of one truck are compared with a slow twin in `tests/lighting`.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import numpy as np
import pytest

from sim.lighting.power import PowerCurve
from sim.lighting.replay import command_zone, run_fades
from sim.lighting.timetable import Program
from sim.outcome.account import ZoneBooks, keep_books
from sim.outcome.clock import cut_run
from sim.records import Stays
from sim.sensing.coverage import unite
from tests.lighting.engines import run_program, site

END_S = 9000.0
BINS = cut_run(dt.datetime(2027, 3, 1, 0, 10), END_S)
CURVE = PowerCurve(np.array([0.0, 0.5, 1.0]), np.array([1.0, 60.0, 100.0]))
BY_WEIGHT = ("dim_truck_s", "shortfall_truck_s", "dim_entries")
PROGRAM = Program(
    border=np.array([0.0, 4000.0, END_S]), names=("a", "b"), delay_s=np.array([90.0, 200.0]),
    second_s=np.array([np.inf, 100.0]), occupied=np.array([1.0, 0.8]), unoccupied=np.array([0.3, 0.4]),
    second=np.array([0.3, 0.0]), fade_up_s=np.array([20.0, 4.0]), fade_down_s=np.array([60.0, 30.0]),
    latency_s=2.0,
)


def books(number: int, stays: Stays | None) -> ZoneBooks:
    """Books of a zone with drawn motion."""
    rng = np.random.default_rng([number, 1])
    start = np.floor(rng.uniform(0.0, END_S, 25))
    end = np.minimum(start + np.floor(rng.exponential(40.0, 25)), END_S)
    seen = unite(np.zeros(25, np.int64), start, end)
    commands = command_zone(seen.start, seen.end, PROGRAM)
    return keep_books(commands, run_fades(commands, PROGRAM), stays, CURVE, 7, 3, BINS)


def drawn_stays(number: int) -> Stays:
    """Forty stays at whole seconds, of weights 0, 0.25 and 1."""
    rng = np.random.default_rng([number, 2])
    enter = np.sort(np.floor(rng.uniform(0.0, END_S - 1.0, 40)))
    leave = np.minimum(enter + 1.0 + np.floor(rng.exponential(150.0, 40)), END_S)
    weight = rng.choice([0.0, 0.25, 1.0], 40)
    return Stays(np.zeros(40, np.int64), np.arange(40), enter, leave, weight)


def rows_of(stays: Stays, rows: list[int]) -> Stays:
    """Some of the stays, all counting fully."""
    return Stays(stays.zone[rows], stays.visit[rows], stays.enter[rows], stays.leave[rows])


@pytest.mark.parametrize("number", range(4))
def test_weights_are_factors(number: int) -> None:
    stays = drawn_stays(number)
    assert stays.weight is not None
    found = books(number, stays)
    alone = [books(number, rows_of(stays, [row])) for row in range(40)]
    everybody = books(number, rows_of(stays, list(range(40))))
    counted = books(number, rows_of(stays, np.flatnonzero(stays.weight > 0.0).tolist()))
    for name in BY_WEIGHT:
        wanted = sum(weight * one.hours[name] for weight, one in zip(stays.weight, alone, strict=True))
        # seconds up to some ten thousands, whose order of adding differs: rounding alone
        assert found.hours[name].tolist() == pytest.approx(wanted.tolist(), abs=1e-6), name
        assert found.hours[name].sum() < everybody.hours[name].sum()
    for name in set(found.hours) - {*BY_WEIGHT, "false_offs"}:
        assert found.hours[name].tolist() == everybody.hours[name].tolist(), name
    assert found.hours["false_offs"].tolist() == counted.hours["false_offs"].tolist()
    assert found.false_off_times.tolist() == counted.false_off_times.tolist()
    assert found.spells is not None
    assert counted.spells is not None
    for ours, theirs in zip(vars(found.spells).values(), vars(counted.spells).values(), strict=True):
        assert ours.tolist() == theirs.tolist()
    nobody = books(number, replace(stays, weight=np.zeros(40)))
    assert nobody.spells is not None
    assert len(nobody.spells.visit) == 0
    assert all(nobody.hours[name].sum() == 0.0 for name in (*BY_WEIGHT, "false_offs"))


def test_books_without_visits_know_no_trucks() -> None:
    """What needs no trucks is the same; what needs them is not there."""
    without, with_stays = books(0, None), books(0, drawn_stays(0))
    assert without.spells is None
    assert without.false_off_times.tolist() == []
    assert set(with_stays.hours) - set(without.hours) == {
        "lit_empty_h", "occupied_h", "dim_truck_s", "shortfall_truck_s", "dim_entries", "false_offs",
    }
    for name, column in without.hours.items():
        assert column.tolist() == pytest.approx(with_stays.hours[name].tolist(), rel=1e-12), name
    assert without.quarter_j.tolist() == pytest.approx(with_stays.quarter_j.tolist(), rel=1e-12)
    assert len(without.quarter_j) == 11  # from ten past the hour: 5 min, nine quarters, 10 min
    assert without.always_on_quarter_j.tolist() == pytest.approx([1000.0 * s for s in (300, *[900] * 9, 600)])


AREA = {
    "name": "yard", "across_m": [0.0, 5.0], "along_m": [-3.0, 0.0], "luminaires": 2, "full_w": 50.0,
    "sensors_at_m": [[1.0, -1.0]], "radius_m": 3.0,
}


def test_what_each_visit_met() -> None:
    """A01 is lit from 100 to 170 s, A02 never; each visit's dim seconds and whether the light fell on it.

    A visit that leaves as the light falls is not met by it, one that enters then is.  People in the yard
    are nobody's visit.
    """
    scenario = site(
        {"unoccupied_level": 0.5, "timeout_s": 60.0}, floor={"aisles": 2, "staging_depth_m": 5.0},
        area=[AREA],
    )
    visits = [
        ("A02", 0.0, 50.0, 0.0), ("A01", 90.0, 150.0, 80.0), ("A01", 140.0, 170.0, 140.0),
        ("A01", 160.0, 200.0, 160.0), ("A01", 170.0, 180.0, 170.0),
    ]
    stays = [(aisle, number, enter, leave) for number, (aisle, enter, leave, _) in enumerate(visits)]
    stays.append(("yard", 5, 10.0, 500.0))
    motion = [("A01", 100.0, 110.0), ("yard", 20.0, 40.0)]
    outcomes, look = run_program(scenario, motion, visits, stays)
    assert look.dim_visit_s is not None
    assert look.false_off_visits is not None
    assert look.dim_visit_s.tolist() == pytest.approx([50.0, 10.0, 0.0, 30.0, 10.0])
    assert look.false_off_visits.tolist() == [False, False, False, True, True]
    assert outcomes.total["false_offs"] == 2.0  # A01's and the yard's
    assert outcomes.zones["visits"].tolist() == [4.0, 1.0, 0.0]
    assert outcomes.zones["mouth_wait_s"].tolist() == [10.0, 0.0, 0.0]
    assert outcomes.zones["mouth_wait_mean_s"].tolist() == [2.5, 0.0, 0.0]
    # 4320 s, so the second hour lasts 720 s
    for name, total, hours in (
        ("visits", 5.0, [5.0, 0.0]), ("visits_per_h", 5.0 / 1.2, [5.0, 0.0]),
        ("mouth_wait_s", 10.0, [10.0, 0.0]), ("mouth_wait_mean_s", 2.0, [2.0, 0.0]),
    ):
        assert outcomes.total[name] == pytest.approx(total)
        assert outcomes.hours[name].tolist() == pytest.approx(hours)
    later = run_program(scenario, [("A01", 101.0, 111.0)], visits, stays)[1]
    assert later.dim_visit_s is not None
    assert later.dim_visit_s.tolist() == pytest.approx([50.0, 11.0, 0.0, 29.0, 9.0])


def test_a_visit_across_a_cut() -> None:
    """80 s through two dark zones are one spell of the visit, 30 and 50 s of the zones."""
    scenario = site(floor={"zones_per_aisle": 2})
    stays = [("A01.1", 0, 0.0, 30.0), ("A01.2", 0, 30.0, 80.0), ("A01.1", 1, 200.0, 210.0)]
    visits = [("A01", 0.0, 80.0, 0.0), ("A01", 200.0, 210.0, 190.0)]
    outcomes, look = run_program(scenario, [], visits, stays)
    assert look.dim_visit_s is not None
    assert look.dim_visit_s.tolist() == pytest.approx([80.0, 10.0])
    assert outcomes.total["dim_spell_max_s"] == pytest.approx(80.0)
    assert outcomes.total["dim_spell_p95_s"] == pytest.approx(10.0 + 0.95 * 70.0)
    assert outcomes.zones["dim_spell_max_s"].tolist() == pytest.approx([30.0, 50.0])
    assert outcomes.zones["visits"].tolist() == [2.0, 0.0]
    nobody, unknown = run_program(scenario, [], None, None)
    assert (unknown.dim_visit_s, unknown.false_off_visits) == (None, None)
    assert np.isnan(nobody.total["dim_truck_s"])
    assert np.isnan(nobody.zones["visits"]).all()
