"""The live floor where little happens seldom: dead sensors, settings that change on the way, small blocks.

Expected figures are those of the replay, or worked by hand from the scenario's own numbers.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import simpy

import sim.lighting.live_legs
from sim.lighting.live import LiveZone
from sim.lighting.live_book import VisitBook
from sim.lighting.live_legs import Leg, VisitPlan
from sim.lighting.timetable import place_programs
from sim.replication import Site, prepare_site, simulate_and_light, simulate_live
from sim.scenario.toml import parse_scenario
from sim.sensing.online import BLIND, OnlineSensors
from sim.traffic.profile import Profile
from tests.lighting.test_live_floor import ONE_MOVE, SPEED, TEXT, make_site

DEAD = """
[[override]]
aisles = ["A02"]
dead_sensors = "all"
[[override]]
aisles = ["A03"]
dead_sensors = [1]
"""


def test_dead_sensors_are_dead_on_a_live_floor_too() -> None:
    """Nobody is slowed (factor 1), so all is the replay's; an aisle without a working sensor stays high."""
    work = '[[work]]\nname = "in"\nkind = "putaway"\nper_hour = 60\naisle_skew = 0.5\n'
    keys = "dim_speed_factor = 1.0"
    values: dict[str, Any] = {"aisles": 4, "count": 3, "sensors": "latency_s = 2.0"}
    energy = {}
    for name, overrides in (("dead", DEAD), ("sound", "")):
        apart, live = (make_site(one, work + overrides, **values) for one in ("", keys))
        replayed, lived = (simulate_and_light(site, 0)[1] for site in (apart, live))
        for outcome, value in replayed.total.items():
            assert math.isclose(value, lived.total[outcome], rel_tol=1e-9, abs_tol=1e-5), outcome
        energy[name] = lived.zones["energy_kwh"]
    full_kwh = 12 * 0.1 * 12.0
    fade_kwh = 12 * 0.1 * (1.0 - 0.2) * (2.0 + 1.0) / 3600.0  # 2 s of latency, 2 s of fade from 20 %
    assert energy["dead"][1] == pytest.approx(full_kwh - fade_kwh, rel=1e-12)
    assert energy["sound"][1] < 0.9 * full_kwh
    assert energy["dead"][2] != pytest.approx(energy["sound"][2], rel=1e-3), "one sensor sees less"
    assert energy["dead"][0] == pytest.approx(energy["sound"][0], rel=1e-9)


def lone_site(border: str) -> Site:
    """One aisle, one truck, a quarter as fast in the dark; from a border on the full level is asked for."""
    settings = """[lighting.settings.early]
occupied_level = 0.6
unoccupied_level = 0.2
timeout_s = 120
fade_up_s = 20
[lighting.settings.late]
unoccupied_level = 0.2
timeout_s = 120
fade_up_s = 20
"""
    rows = (
        f'[[timetable]]\nfrom = "00:00"\nto = "{border}"\nsettings = "early"\n'
        f'[[timetable]]\nfrom = "{border}"\nto = "24:00"\nsettings = "late"\n'
    )
    first, last = TEXT.index("[lighting"), TEXT.index("[[trucks]]")
    text = (TEXT[:first] + settings + rows + TEXT[last:]).format(
        days=0.5, aisles=1, zones=1, capacity=1, at='"ends"', range_m=59.0, count=1, acceleration=0.0,
        doors=1, keys="dim_speed_factor = 0.25", sensors="",
    )
    return prepare_site(parse_scenario(text + ONE_MOVE))


def first_visit(border: str) -> tuple[float, float, float]:
    """Entry, bay and stay of the first visit."""
    visits = simulate_live(lone_site(border), 0).traffic.visits
    assert visits is not None
    return float(visits.enter[0]), float(visits.bay_m[0]), float(visits.leave[0] - visits.enter[0])


def test_settings_that_change_on_the_way_ask_for_more_light() -> None:
    """Light for the old settings is not enough under the new ones, and the driver stays slow.

    The fade from 0.2 to 0.6 takes 20 s.  A border 5 s and a bit after the entry begins another one, to 1.0,
    of 20 s from there: slow until its end, also past the instant at which 0.6 is there.
    """
    enter, bay, stay = first_visit("23:59")
    assert bay > 0.25 * SPEED * 26.0, "still on the way in"
    assert stay == pytest.approx(2.0 * bay / SPEED + 30.0 + 0.75 * 20.0, abs=1e-6)
    at = math.ceil(enter + 5.0)
    again, same_bay, longer = first_visit(f"{at // 3600:02d}:{at // 60 % 60:02d}:{at % 60:02d}")
    assert (again, same_bay) == (enter, bay)
    assert longer == pytest.approx(2.0 * bay / SPEED + 30.0 + 0.75 * (at - enter + 20.0), abs=1e-6)


@pytest.mark.parametrize("kept", [1, 3])
def test_plans_in_small_blocks_are_the_same_plans(kept: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """However few are kept at a time, and however often they are made anew."""
    site = make_site("dim_speed_factor = 0.5", days=0.1, sensors="latency_s = 5.0")
    usual = simulate_live(site, 0).traffic.visits
    made: list[tuple[int, int]] = []
    make = sim.lighting.live_legs._make_block

    def counted(planned: Any, block: int) -> list[VisitPlan]:
        made.append((id(planned), block))
        return make(planned, block)

    monkeypatch.setattr(sim.lighting.live_legs, "BLOCK", 8)
    monkeypatch.setattr(sim.lighting.live_legs, "KEPT_BLOCKS", kept)
    monkeypatch.setattr(sim.lighting.live_legs, "_make_block", counted)
    found = simulate_live(site, 0).traffic.visits
    assert usual is not None
    assert found is not None
    assert len(found) > 8 * kept
    assert len(made) > kept, "or nothing was ever dropped"
    for name in ("aisle", "truck", "task", "arrive", "enter", "leave", "bay_m"):
        assert (getattr(found, name) == getattr(usual, name)).all(), name


def test_pieces_of_a_run_tile_its_way() -> None:
    """A look at the very instant of another one makes no piece without length."""
    book = VisitBook()
    plan = VisitPlan(0, 20.0, 1, False, False, (), 0.0, 0.0, 2.0, 0.0, 0.0, 0, 0)
    leg = Leg(30.0, 10.0, 2.0, 0.0, 0.0)
    visit = book.enter(0, plan, 0, 0.0, 0.0, 0.0, 0.0)
    number = book.begin_run(visit, leg, 1.0, 100.0)
    book.end_run(number, leg, [(100.0, 0.0), (104.0, 4.0), (104.0, 4.0)], 112.0)
    book.leave(visit, 112.0)
    moves = book.visits(("T01",), (1.0,), (True,), 200.0).moves
    assert moves is not None
    # 4 m in 4 s, then 16 m in 8 s, towards the front
    assert moves.start.tolist() == [100.0, 104.0]
    assert (moves.from_m.tolist(), moves.to_m.tolist()) == ([30.0, 26.0], [26.0, 10.0])
    assert moves.speed.tolist() == [1.0, 2.0]


@pytest.mark.parametrize("rate", [0.0, 0.5])
def test_a_run_is_over_at_its_end_and_not_begun_before_it(rate: float) -> None:
    """12.5 m at 2.5 m/s: 5 s, or 10 s where both ramps take 5 s at 0.5 m/s2; then at rest for ever."""
    run = Profile(0.0, 12.5, 2.5, rate)
    end_s = 10.0 if rate else 5.0
    assert run.duration_s == end_s
    assert [run.time_at(metres) for metres in (-1.0, 0.0, 12.5, 20.0)] == [0.0, 0.0, end_s, end_s]
    assert [run.state_at(time) for time in (end_s, end_s + 60.0)] == [(12.5, 0.0)] * 2
    halfway = run.state_at(0.5 * end_s)
    assert halfway == (pytest.approx(6.25), pytest.approx(2.5))
    assert run.time_at(6.25) == pytest.approx(0.5 * end_s)


def test_a_policy_may_ask_what_is_commanded_and_when_light_comes() -> None:
    """From 20 % to full in 2 s after 3 s of latency: half of the light is there 3.75 s after the motion."""
    program = place_programs(make_site(sensors="latency_s = 3.0", aisles=1).scenario)[0]
    env = simpy.Environment()
    zone = LiveZone(env, "A01", program)
    reached: list[tuple[str, float]] = []

    def note(name: str, event: simpy.Event) -> simpy.events.ProcessGenerator:
        yield event
        reached.append((name, env.now))

    def walk() -> simpy.events.ProcessGenerator:
        yield env.timeout(10.0)
        assert zone.command() == (False, 0.2)
        env.process(note("there", zone.reaches(0.2)))
        env.process(note("half", zone.reaches(0.5)))
        zone.pulse()
        yield env.timeout(4.0)
        assert zone.command() == (True, 1.0)

    env.process(walk())
    env.run(until=60.0)
    assert reached == [("there", 10.0), ("half", pytest.approx(13.75))]


def test_who_crosses_an_aisle_is_seen_by_chance() -> None:
    """By all sensors in reach of the middle cross-aisle or by none; without a trigger nothing is drawn."""
    text = "passing_trigger = 0.5\npassing_range_m = 3.0"
    layout = make_site(sensors=text, aisles=2, at=[10.0, 28.0, 33.0], range_m=4.0, zones=2).layout
    blind = make_site(sensors="passing_range_m = 3.0", aisles=2, at=[10.0, 28.0, 33.0], range_m=4.0, zones=2)
    draws: list[int] = []

    def chance(value: float) -> Any:
        return lambda truck: draws.append(truck) or value

    assert OnlineSensors(layout, None, chance(0.49)).crosses(7, 1, 30.0) == (2, 3)
    assert OnlineSensors(layout, None, chance(0.5)).crosses(7, 1, 30.0) == ()
    dead = np.array([False] * 4 + [True, False])
    assert OnlineSensors(layout, dead, chance(0.49)).crosses(7, 1, 30.0) == (3,)
    assert draws == [7, 7, 7]
    assert OnlineSensors(blind.layout, None, chance(0.0)).crosses(7, 1, 30.0) == ()
    assert draws == [7, 7, 7]


def test_nothing_is_seen_of_who_cannot_be_seen() -> None:
    """A watcher for unseen trucks answers every question of the floor, and always with nothing."""
    assert BLIND.approach(0, 0, False) is None
    assert BLIND.passes(0, 0, False) is None
    assert list(BLIND.run(0, 0, 0.0, 60.0, is_first=True, is_last=True)) == []
    assert BLIND.crosses(0, 0, 30.0) == ()
    assert BLIND.stand(0, 0, 30.0) == BLIND.wait(0, 0, False) == ((), 0.0)
