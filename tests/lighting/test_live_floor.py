"""Trucks and lights in one simulation: nobody slowed is the replay, slow drivers by formula, waits by hand.

Where both draw (misses, pulses, passers-by) their means agree: k = 4 standard errors of the difference.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from sim.errors import InputError
from sim.records import Visits
from sim.replication import (
    Site,
    Traffic,
    drivers_react,
    prepare_site,
    run_replication,
    sense_visits,
    simulate_and_light,
    simulate_live,
    simulate_traffic,
)
from sim.scenario.toml import parse_scenario
from sim.study.replications.replicate import run

LENGTH_M, SPEED, DEPTH_M = 60.0, 2.0, 40.0
TEXT = """
format = 1
start = 2027-03-01
days = {days}
seed = 3
replications = 2
[floor]
aisles = {aisles}
aisle_length_m = 60.0
aisle_pitch_m = 5.0
zones_per_aisle = {zones}
aisle_capacity = {capacity}
staging_depth_m = 15.0
dock_doors = {doors}
[luminaires]
per_aisle = 12
full_w = 100.0
[sensors]
at = {at}
range_m = {range_m}
{sensors}
[lighting.settings.day]
unoccupied_level = 0.2
timeout_s = 120
fade_up_s = 2.0
fade_down_s = 10.0
[[timetable]]
from = "00:00"
to = "24:00"
settings = "day"
[[trucks]]
name = "reach"
count = {count}
speed_laden_m_per_s = 2.0
speed_empty_m_per_s = 2.0
acceleration_m_per_s2 = {acceleration}
handling_mean_s = 30
{keys}
[[shifts]]
trucks = "reach"
from = "00:00"
to = "24:00"
crew = {count}
"""
WORK = """
[[work]]
name = "in"
kind = "putaway"
per_hour = 60
aisle_skew = 0.5
[[work]]
name = "out"
kind = "retrieve"
per_hour = 60
aisle_skew = 0.5
[[work]]
name = "over"
kind = "replenish"
per_hour = 20
aisle_skew = 0.5
"""


def make_site(keys: str = "", work: str = WORK, sensors: str = "", **values: object) -> Site:
    """Prepare a site of eight aisles and six trucks."""
    usual = {
        "days": 0.5,
        "aisles": 8,
        "zones": 1,
        "capacity": 1,
        "at": '"ends"',
        "range_m": 9.0,
        "count": 6,
        "acceleration": 0.5,
        "doors": 4,
    }
    text = TEXT.format(**(usual | values), keys=keys, sensors=sensors) + work
    return prepare_site(parse_scenario(text, "test"))


def in_order(visits: Visits) -> np.ndarray:
    """Order visits by aisle, then entry."""
    return np.lexsort((visits.enter.round(4), visits.aisle))


@pytest.mark.parametrize("zones", [1, 4])
@pytest.mark.parametrize(
    "sensors", ["latency_s = 5.0", "approach_m = 3.0\npassing_trigger = 1.0\npassing_range_m = 3.0"]
)
def test_where_nobody_is_slowed_it_is_the_replay(zones: int, sensors: str) -> None:
    """A factor of 1 goes through the live floor: the same visits to a microsecond, the same outcomes."""
    values: dict[str, object] = {
        "zones": zones,
        "at": '"ends"' if zones == 1 else '"every"',
        "sensors": sensors,
    }
    apart, live = make_site(**values), make_site("dim_speed_factor = 1.0", **values)
    assert not drivers_react(apart.scenario)
    assert drivers_react(live.scenario)
    traffic, replayed, _ = simulate_and_light(apart, 0)
    lived_traffic, lived, _ = simulate_and_light(live, 0)
    assert traffic.visits is not None
    assert lived_traffic.visits is not None
    ours, theirs = in_order(traffic.visits), in_order(lived_traffic.visits)
    assert len(ours) == len(theirs) > 500
    for name in ("aisle", "truck", "task"):
        assert (getattr(traffic.visits, name)[ours] == getattr(lived_traffic.visits, name)[theirs]).all(), (
            name
        )
    for name in ("arrive", "enter", "leave", "bay_m"):
        mine, other = getattr(traffic.visits, name)[ours], getattr(lived_traffic.visits, name)[theirs]
        assert np.abs(mine - other).max() < 1e-6, name
    for name, value in replayed.total.items():
        assert math.isclose(value, lived.total[name], rel_tol=1e-9, abs_tol=1e-5), name
    assert lived.total["light_lost_min"] == 0.0
    if "latency_s" in sensors:  # negative control: slow drivers do not make the same visits
        slow = run_replication(make_site("dim_speed_factor = 0.2", **values), 0)[0]
        assert not math.isclose(slow.total["energy_kwh"], replayed.total["energy_kwh"], rel_tol=1e-9)


ONE_MOVE = """
[[work]]
name = "in"
kind = "putaway"
per_hour = 0.2
aisle_skew = 0.5
"""


BLIND: dict[str, object] = {"at": [60.0], "range_m": 0.01}
"""The only sensor looks at the back wall, where no truck stands."""


def lone_visit(keys: str, **values: object) -> tuple[float, float, float]:
    """Return bay, stay in the aisle and driver-minutes lost of the first visit on an empty floor."""
    site = make_site(keys, ONE_MOVE, aisles=1, count=1, **values)
    made = simulate_live(site, 0)
    visits = made.traffic.visits
    assert visits is not None
    stay = float(visits.leave[0] - visits.enter[0])
    return float(visits.bay_m[0]), stay, made.loss.slowed_s / len(visits)


def test_a_blind_aisle_slows_the_whole_way() -> None:
    """No light ever comes, no acceleration: both ways take 1/f as long."""
    for factor in (0.25, 0.5, 1.0):
        bay, stay, _ = lone_visit(f"dim_speed_factor = {factor}", acceleration=0.0, **BLIND)
        assert stay == pytest.approx(2.0 * bay / (SPEED * factor) + 30.0, abs=1e-6)


def test_light_that_comes_up_ends_the_slow_drive() -> None:
    """Seen from the mouth on: slow for latency + fade-up (1 + 2 s), then at full speed, in and out.

    Without acceleration: bay / v + 3 s (1 - f) in; the way out is lit, as the timeout outlasts the handling.
    """
    for factor in (0.25, 0.5):
        bay, stay, lost = lone_visit(
            f"dim_speed_factor = {factor}", range_m=59.0, acceleration=0.0, sensors="latency_s = 1.0"
        )
        assert bay > SPEED * factor * 3.0
        assert stay == pytest.approx(2.0 * bay / SPEED + 3.0 * (1.0 - factor) + 30.0, abs=1e-6)
        assert lost == pytest.approx(3.0 * (1.0 - factor), abs=1e-6)


def test_slow_drive_with_acceleration() -> None:
    """In the dark throughout a run is the usual trapezium at f v: d / (f v) + f v / a each way."""
    bay, stay, _ = lone_visit("dim_speed_factor = 0.5", **BLIND)
    slow = 0.5 * SPEED
    assert bay > slow**2 / 0.5
    assert stay == pytest.approx(2.0 * (bay / slow + slow / 0.5) + 30.0, abs=1e-6)


def waits(keys: str, sensors: str) -> tuple[float, int, int]:
    """Return the wait at the mouth of a lone first visit, how many waited and how many gave up."""
    site = make_site(keys, ONE_MOVE, aisles=1, count=1, doors=1, sensors=sensors)
    made = simulate_live(site, 0)
    assert made.traffic.visits is not None
    visits = made.traffic.visits
    return float(visits.enter[0] - visits.arrive[0]), made.loss.waits, made.loss.gave_up


def test_wait_for_light_by_hand() -> None:
    """Seen 1 m before the mouth, braking at 0.5 m/s2: sqrt(2 * 1 / 0.5) = 2 s before; then 3 s of latency.

    The fade from 0.2 to 1 takes 2 s, so 0.8 is reached 0.75 * 2 = 1.5 s into it: 3 + 1.5 - 2 = 2.5 s of wait.
    """
    seen = "approach_m = 1.0\nlatency_s = 3.0"
    wait, stopped, gave_up = waits("wait_for_light = 0.8", seen)
    assert wait == pytest.approx(2.5, abs=1e-9)
    assert stopped > 0
    assert gave_up == 0
    # negative control: another level, another wait
    assert waits("wait_for_light = 1.0", seen)[0] == pytest.approx(3.0, abs=1e-9)


def test_a_truck_that_nobody_sees_gives_up() -> None:
    wait, stopped, gave_up = waits("wait_for_light = 0.8\nwait_at_most_s = 12.0", "approach_m = 0.0")
    assert wait == pytest.approx(12.0, abs=1e-9)
    assert gave_up == stopped > 0
    missed = waits("wait_for_light = 0.8", "approach_m = 3.0\nmiss = 1.0")
    assert missed[0] == pytest.approx(30.0, abs=1e-9), "the stated default"
    assert missed[2] == missed[1]


def test_what_drivers_lose_is_reported_for_eight_hours_on_duty() -> None:
    """Six trucks on duty for 12 h are 72 driver-hours, nine shifts of 8 h."""
    total = run_replication(make_site("dim_speed_factor = 0.5", sensors="latency_s = 5.0"), 0)[0].total
    assert total["light_lost_min"] > 1.0
    assert total["light_lost_min_per_shift"] == pytest.approx(total["light_lost_min"] / 9.0)


def test_what_drivers_lose_is_told_by_zone() -> None:
    """A farther zone that is dark throughout, no acceleration: (1/f - 1) / v s a metre there, in and out."""
    factor = 0.5
    site = make_site(
        f"dim_speed_factor = {factor}",
        ONE_MOVE.replace("per_hour = 0.2", f"per_hour = {[3] * 10 + [0] * 14}"),
        aisles=1,
        count=1,
        acceleration=0.0,
        zones=2,
        at=[29.9, 60.0],  # the first one wakes the nearer zone, the other looks at the back wall
        range_m=0.01,
    )
    made = simulate_live(site, 0)
    assert made.traffic.visits is not None
    beyond_m = np.maximum(made.traffic.visits.bay_m - 30.0, 0.0)
    assert (beyond_m > 0.0).sum() > 5
    wanted = 2.0 * beyond_m.sum() * (1.0 / factor - 1.0) / SPEED
    assert made.loss.zone_lost_s[1] == pytest.approx(wanted, abs=1e-6)
    assert sum(made.loss.zone_lost_s) == pytest.approx(made.loss.slowed_s, abs=1e-6)
    assert made.loss.zone_lost_s[0] > 0.0
    # negative control: the metres of the nearer zone
    nearer_m = np.minimum(made.traffic.visits.bay_m, 30.0)
    assert made.loss.zone_lost_s[1] != pytest.approx(wanted * nearer_m.sum() / beyond_m.sum(), abs=1e-3)


@pytest.mark.parametrize("keys", ["dim_speed_factor = 0.5", "dim_speed_factor = 0.4\nwait_for_light = 0.8"])
def test_losses_of_the_zones_add_up(keys: str) -> None:
    outcomes = run_replication(make_site(keys, sensors="latency_s = 5.0", zones=3, at='"every"'), 0)[0]
    for name in ("light_lost_min", "light_waits", "light_waits_given_up"):
        total, zones = outcomes.total[name], outcomes.zones[name]
        assert len(zones) == 24
        assert math.isclose(math.fsum(zones), total, rel_tol=1e-9, abs_tol=1e-9), name
        assert name == "light_lost_min" or "wait" not in keys or total > 0.0
    # trucks wait at the front mouths, and at the back ones where they come by the back
    assert (outcomes.zones["light_waits"][1::3] == 0.0).all()
    assert (outcomes.zones["light_lost_min"] >= -1e-9).all()


def test_an_aisle_is_never_overfull_and_serves_in_order() -> None:
    made = simulate_live(make_site("dim_speed_factor = 0.3", aisles=2), 0)
    visits = made.traffic.visits
    assert visits is not None
    for aisle in range(2):
        mine = visits.aisle == aisle
        order = np.argsort(visits.arrive[mine], kind="stable")
        enter, leave = visits.enter[mine][order], visits.leave[mine][order]
        assert (enter[1:] >= leave[:-1]).all(), "capacity 1, first come first served"
    assert (visits.enter > visits.arrive).sum() > 20, "some queued, or the check says nothing"


def test_one_seed_gives_one_result_for_any_number_of_workers() -> None:
    scenario = make_site("dim_speed_factor = 0.5\nwait_for_light = 0.8", sensors="miss = 0.1").scenario
    once = run(scenario, replications=3)
    twice = run(scenario, replications=3, workers=2)
    assert [one.total for one in once.outcomes] == [one.total for one in twice.outcomes]
    assert once.outcomes[0].total != once.outcomes[1].total
    assert any("new simulation" in notice for notice in once.notices)
    assert list(once.replications_frame().columns)[-4:] == [
        "light_lost_min",
        "light_lost_min_per_shift",
        "light_waits",
        "light_waits_given_up",
    ]


def test_a_replay_of_drivers_who_react_is_refused() -> None:
    site = make_site("dim_speed_factor = 0.5")
    with pytest.raises(InputError, match="react to the light"):
        run(site.scenario, engine="replay")
    with pytest.raises(InputError, match="react to the light"):
        simulate_traffic(site, 0)


def test_live_without_reaction_is_the_replay_of_the_same_traffic() -> None:
    site = make_site(
        sensors="approach_m = 3.0\nmiss = 0.1\nstill_rate_per_min = 2.0\ndead_share = 0.3",
        zones=4,
        at='"every"',
    )
    replayed, lived = run(site.scenario, engine="replay"), run(site.scenario, engine="live")
    for one, other in zip(replayed.outcomes, lived.outcomes, strict=True):
        for name, value in one.total.items():
            assert math.isclose(value, other.total[name], rel_tol=1e-9, abs_tol=1e-6), name


def mean_gap(one: Site, other: Site, outcome: str, replications: int = 8) -> float:
    """Return the mean difference of an outcome between two sites, in standard errors of itself."""
    gaps = np.array(
        [
            run_replication(one, number)[0].total[outcome] - run_replication(other, number)[0].total[outcome]
            for number in range(replications)
        ]
    )
    return float(abs(gaps.mean()) / (gaps.std(ddof=1) / math.sqrt(replications)))


DRAWN = (
    "approach_m = 3.0\nmiss = {miss}\nstill_rate_per_min = 2.0\npassing_trigger = 0.2\npassing_range_m = 3.0"
)


@pytest.mark.slow
@pytest.mark.parametrize("outcome", ["energy_kwh", "switch_ups", "dim_truck_s"])
def test_what_is_drawn_on_the_way_has_the_same_means(outcome: str) -> None:
    usual = make_site(sensors=DRAWN.format(miss=0.3))
    assert mean_gap(usual, make_site("dim_speed_factor = 1.0", sensors=DRAWN.format(miss=0.3)), outcome) < 4.0
    # negative control: sensors that miss more are seen to
    assert mean_gap(usual, make_site("dim_speed_factor = 1.0", sensors=DRAWN.format(miss=0.6)), outcome) > 4.0


MANY_KINDS = """
[[trucks]]
name = "turret"
type = "turret"
count = 3
turn_s = 4.0
not_with = ["counter"]
aisle_capacity = 1
[[trucks]]
name = "counter"
kind = "walker"
count = 3
[[trucks]]
name = "robot"
type = "order-picker"
count = 3
seen = false
service_weight = 0.0
turn_s = 1.0
[[shifts]]
trucks = "turret"
crew = 3
from = "00:00"
to = "24:00"
[[shifts]]
trucks = "counter"
crew = 3
from = "06:00"
to = "20:00"
[[shifts]]
trucks = "robot"
crew = 3
from = "00:00"
to = "24:00"
[[work]]
name = "walk"
kind = "walk"
per_hour = 15
dwell_mean_s = 100
dwell_cv = 1
aisle_skew = 1.0
through = true
[[inbound]]
name = "trailers"
per_hour = 1
pallets = 8
pallet_s = 60
aisle_skew = 1.0
"""
TOURS = """
[[work]]
name = "tour"
kind = "tour"
per_hour = 15
lines_per_tour = 6
aisle_skew = 1.0
trucks = ["turret", "robot"]
"""


ANY_WAY = (
    "tiers = 3\ntier_height_m = 1.8\ncross_aisles_m = [20.0, 37.0]\nzones_per_aisle = 3\nlead_zones = 1\n"
)


@pytest.mark.parametrize(
    ("work", "floor"),
    [
        (WORK + MANY_KINDS + TOURS, "zones_per_aisle = 3\nlead_zones = 1\ntiers = 5\ntier_height_m = 1.8"),
        (MANY_KINDS, 'zones_per_aisle = 1\none_way = ["A01", "A03"]'),
        (WORK + MANY_KINDS + TOURS, 'zones_per_aisle = 1\none_way = "alternating"'),
        (WORK + MANY_KINDS + TOURS, 'zones_per_aisle = 1\none_way = "back-to-front"'),
        (WORK + MANY_KINDS + TOURS + 'routing = "shortest"\n', ANY_WAY),
        (
            WORK + MANY_KINDS + TOURS + 'routing = "shortest"\n',
            ANY_WAY + 'one_way = ["A01", "A04"]\none_way_from_back = ["A02", "A07"]\n',
        ),
        (
            WORK + TOURS.replace(', "robot"', "").replace("turret", "reach"),
            ANY_WAY + 'one_way = "alternating"',
        ),
    ],
    ids=["tours", "one-way", "alternating", "from the back", "cross-aisles", "both", "tours by the ends"],
)
def test_every_kind_of_traffic_goes_through_the_live_floor(work: str, floor: str) -> None:
    """Tours, walkers, trailers, masts, turns, groups kept apart, any ways: as the replay, to 1e-6 s.

    The floor is at work to the very end: who comes to a mouth as the run ends is seen by both.
    """
    sensors = "approach_m = 3.0\npassing_trigger = 1.0\npassing_range_m = 3.0"
    sites = []
    for keys in ("", "dim_speed_factor = 1.0"):
        usual = {"days": 0.5, "aisles": 8, "capacity": 3, "at": '"every"', "range_m": 4.0, "count": 6}
        text = TEXT.format(**usual, zones=1, acceleration=0.5, doors=4, keys=keys, sensors=sensors)
        text = text.replace("zones_per_aisle = 1", floor).replace("timeout_s = 120", "timeout_s = 40") + work
        sites.append(prepare_site(parse_scenario(text, "test")))
    traffic, replayed, _ = simulate_and_light(sites[0], 0)
    lived_traffic, lived, _ = simulate_and_light(sites[1], 0)
    assert traffic.visits is not None
    assert lived_traffic.visits is not None
    assert np.array_equal(np.bincount(traffic.visits.task), np.bincount(lived_traffic.visits.task))
    for name in ("arrive", "enter", "leave"):
        ours, theirs = np.sort(getattr(traffic.visits, name)), np.sort(getattr(lived_traffic.visits, name))
        assert np.abs(ours - theirs).max() < 1e-6, name
    for name, value in replayed.total.items():
        assert math.isclose(value, lived.total[name], rel_tol=1e-9, abs_tol=1e-5), name
    assert replayed.total["switch_ups"] > 100.0
    assert motion_apart(traffic, lived_traffic) < 1e-5


@pytest.mark.parametrize("queues", [False, True], ids=["on the way", "in the queue"])
def test_who_comes_as_the_run_ends_is_seen(queues: bool) -> None:
    """The run ends while a truck comes to a mouth, or queues there: seen from 3 m outside on, by both.

    A brake of 0.5 m/s2 from 3 m to rest takes sqrt(2 * 3 / 0.5) s (the truck is slower than 2 m/s by then).
    """
    sensors = "approach_m = 3.0\npassing_trigger = 1.0\npassing_range_m = 3.0"
    for number in range(200):
        days = 0.1 + number / 86_400.0
        end_s, usual = days * 86_400.0, make_site(sensors=sensors, days=days)
        traffic = simulate_traffic(usual, 0)
        assert traffic.visits is not None
        assert traffic.seen is not None
        coming = traffic.visits.coming
        if coming is None:
            continue
        late_s = coming.arrive - end_s
        low, high = (-9.0, -0.5) if queues else (0.5, 2.0)
        rows = np.flatnonzero((late_s > low) & (late_s < high))
        if len(rows):
            break
    lived = simulate_live(make_site("dim_speed_factor = 1.0", sensors=sensors, days=days), 0).traffic
    assert motion_apart(traffic, lived) < 1e-5
    start, end = traffic.seen.of_zone(int(coming.aisle[rows[0]]))
    arrive = float(coming.arrive[rows[0]])
    seen_from = arrive - math.sqrt(2.0 * 3.0 / 0.5)
    assert ((start <= seen_from + 1e-6) & (end >= min(end_s, arrive) - 1e-6)).any()
    # negative control: without those who were on their way
    seen = sense_visits(usual, replace(traffic.visits, coming=None), 0)
    assert motion_apart(replace(traffic, seen=seen), lived) > 0.5


def motion_apart(one: Traffic, other: Traffic) -> float:
    """Return for how long in all zones two traffics differ in whether the sensors see motion [s]."""
    assert one.seen is not None
    assert other.seen is not None
    apart = 0.0
    for zone in range(int(max(one.seen.zone.max(), other.seen.zone.max())) + 1):
        edges, change = [], []
        for seen, sign in ((one.seen, 1), (other.seen, -1)):
            start, end = seen.of_zone(zone)
            edges += [start, end]
            change += [np.full(len(start), sign), np.full(len(end), -sign)]
        time = np.concatenate(edges)
        order = np.argsort(time, kind="stable")
        state = np.cumsum(np.concatenate(change)[order])
        apart += float((np.diff(time[order]) * np.abs(state[:-1])).sum())
    return apart
