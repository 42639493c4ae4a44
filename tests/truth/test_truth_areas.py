"""Open areas: people who dwell, chords by hand, nobody lost between aisles and areas, a twin in small steps.

People alone in an area are a queue with as many servers as needed (M/G/infinity, sources in
`truth_formulas`). A truck's run from rest to rest is elementary kinematics.  Every second of a task is
spent in an aisle or on the open floor, so areas that cover the floor and the aisles' visits add up to the
time of the tasks.
"""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

import sim
from sim.errors import InputError
from sim.floor.areas import lay_areas, spread_evenly
from sim.records import OpenRuns
from sim.replication import (
    Site,
    light_traffic,
    prepare_site,
    replay_site,
    simulate_live,
    simulate_traffic,
)
from sim.scenario.toml import load_scenario
from sim.sensing.area_stays import spans_in_area, spans_in_circle
from sim.sensing.areas import sense_areas
from sim.study.ages.evaluate import ADDITIVE, evaluate_settings
from sim.study.replications.replicate import replay
from sim.traffic.batteries import battery_changes
from sim.traffic.open_runs import open_runs
from sim.traffic.paths import log_paths
from sim.traffic.work import draw_tasks
from sim.traffic.world import Log, simulate_floor
from tests.naive_areas import STEP_S, legs_of, steps_inside
from tests.truth.truth_formulas import Law, Light
from tests.truth.truth_scenes import agrees, equals, plain_visits, scenario, site, spoilt

PEOPLE_PER_H, DWELL_MIN, DELAY_MIN = 6.0, 4.0, 5.0


def area(name: str, across: tuple[float, float], along: tuple[float, float], **more: object) -> dict:
    """An area with ten luminaires and a sensor in its middle."""
    middle = [0.5 * sum(across), 0.5 * sum(along)]
    return {
        "name": name, "across_m": list(across), "along_m": list(along), "luminaires": 10,
        "sensors_at_m": [middle], "radius_m": 5.0,
    } | more


# ---- people


def check_people(
    *, timeout_s: float = 60.0 * DELAY_MIN, dwell_min: float = DWELL_MIN, cv: float = 1.0
) -> None:
    """60 packing areas without trucks, an hour to warm up: shares and energy of M/G/infinity."""
    count, hours = 60, 25.0
    areas = [
        area(f"P{k:02d}", (5.0 * k, 5.0 * k + 5.0), (-10.0, 0.0), people_per_hour=PEOPLE_PER_H,
             dwell_mean_s=60.0 * dwell_min, dwell_cv=cv)
        for k in range(count)
    ]
    place = site(
        aisles=count, hours=hours, day={"timeout_s": timeout_s}, floor={"staging_depth_m": 10.0}, area=areas
    )
    traffic = simulate_traffic(place, 0)
    outcomes, look = replay_site(place, traffic)
    law = Law.of((stats.expon(scale=DWELL_MIN) if cv else stats.uniform(DWELL_MIN, 1e-12)).ppf)
    light = Light(PEOPLE_PER_H / 60.0, DWELL_MIN, DELAY_MIN, law)
    person = Light(PEOPLE_PER_H / 60.0, DWELL_MIN, 0.0, law)
    window, root = 60.0 * (hours - 1.0), math.sqrt(count)
    first = place.layout.zones_in_aisles
    low = occupied = 0.0
    for zone in range(first, first + count):
        levels, inside = look.levels[zone], look.stays.of_zone(zone)
        length = np.minimum(levels.end, 3600.0 * hours) - np.maximum(levels.start, 3600.0)
        low += float(np.maximum(length, 0.0)[~levels.is_high].sum())
        start, end = traffic.detections.of_zone(zone)
        # a person is seen all the time, so what is seen is when somebody is there
        occupied += float(np.maximum(0.0, np.minimum(end, 3600.0 * hours) - np.maximum(start, 3600.0)).sum())
        assert len(inside.zone) == len(inside.enter)
    share = 60.0 * window * count
    agrees(low / share, light.low, light.low_sd(window) / window / root, "share low")
    agrees(occupied / share, person.occupied, person.low_sd(window) / window / root, "share with people")
    equals(float(outcomes.zones["visits"].sum()), 0.0, 0.0, "visits to aisles")


@pytest.mark.parametrize("cv", [1.0, 0.0])
def test_people_in_a_packing_area_are_a_queue_without_waiting(cv: float) -> None:
    check_people(cv=cv)
    with spoilt("timeout 4 min"):
        check_people(timeout_s=240.0, cv=cv)
    with spoilt("people stay 30 % longer"):
        check_people(dwell_min=1.3 * DWELL_MIN, cv=cv)


def check_pulses(per_min: float, rate_told: float) -> None:
    """One pulse on coming, then Poisson: E N = n + rate x sum of stays, sd the root of the second part."""
    table = area("pack", (0.0, 5.0), (-10.0, 0.0), people_per_hour=2.0, dwell_mean_s=300.0,
                 people_pulses_per_min=per_min)
    place = site(hours=2000.0, floor={"staging_depth_m": 10.0}, area=[table])
    traffic = simulate_traffic(place, 0)
    inside = traffic.stays.of_zone(1)
    start, end = traffic.detections.of_zone(1)
    assert np.array_equal(start, end)
    expected = len(inside.zone) + rate_told / 60.0 * float((inside.leave - inside.enter).sum())
    # pulses at one instant are united, which has no chance here
    agrees(len(start), expected, math.sqrt(expected - len(inside.zone)), "pulses")


def test_people_who_are_seen_by_pulses() -> None:
    check_pulses(3.0, 3.0)
    with spoilt("twice the rate"):
        check_pulses(6.0, 3.0)


# ---- chords by hand


def one_run(origin: tuple[float, float], goal: tuple[float, float]) -> OpenRuns:
    """A run at 2 m/s with 0.5 m/s2 that begins at 100 s; 4 m and 4 s of ramp at either end."""
    length = math.dist(origin, goal)
    times = 100.0, 100.0 + length / 2.0 + 4.0
    columns = (*times, origin[0], origin[1], goal[0], goal[1], 2.0, 0.5)
    zero = np.zeros(1, dtype=np.int64)
    return OpenRuns(zero, zero, *(np.array([value]) for value in columns), np.array([True]))


def check_chords(speed_up: float) -> None:
    """20 m in 14 s: 5 m at 4 + 1/2 s, 12 m at 4 + 8/2 s, 18 m at 14 - sqrt(2 x 2 / 0.5) s."""
    (open_area,) = lay_areas(scenario(aisles=8, area=[area("a", (5.0, 12.0), (-2.0, 1.0))]), 40.0)
    for runs, begin, end in (
        (one_run((0.0, 0.0), (20.0, 0.0)), 4.5, 8.0),
        (one_run((20.0, 0.0), (0.0, 0.0)), 6.0, 9.5),
        (one_run((7.0, -18.0), (7.0, 2.0)), 10.0, 14.0 - math.sqrt(4.0)),
    ):
        row, enter, leave = spans_in_area(replace(runs, speed=runs.speed * speed_up), open_area).stays()
        equals((len(row), enter[0], leave[0]), (1, 100.0 + begin, 100.0 + end), 1e-9, "rectangle")
    # a circle of 5 m round (10, 3): half a chord of 4 m, 6 to 14 m; the end of the run lies in the second one
    for place, begin, end in (((10.0, 3.0), 5.0, 9.0), ((20.0, 0.0), 4.0 + (15.0 - 4.0) / 2.0, 14.0)):
        runs = one_run((0.0, 0.0), (20.0, 0.0))
        row, enter, leave = spans_in_circle(replace(runs, speed=runs.speed * speed_up), *place, 5.0).stays()
        equals((len(row), enter[0], leave[0]), (1, 100.0 + begin, 100.0 + end), 1e-9, "circle")


def test_chords_of_a_straight_run_by_hand() -> None:
    check_chords(1.0)
    with spoilt("a truck that cruises faster"):
        check_chords(1.1)


@pytest.mark.parametrize(
    ("line", "across", "along", "is_met"),
    [
        (0.0, (0.0, 40.0), (-6.0, 0.0), False),
        (0.0, (0.0, 40.0), (0.0, 3.0), True),
        (-6.0, (0.0, 40.0), (-6.0, 0.0), True),
        (1.0, (25.0, 40.0), (0.0, 3.0), False),
    ],
)
def test_borders_belong_to_the_far_side(line, across, along, is_met) -> None:
    (open_area,) = lay_areas(scenario(aisles=8, area=[area("a", across, along)]), 40.0)
    runs = one_run((0.0, line), (20.0, line))
    assert spans_in_area(runs, open_area).entries == int(is_met)


def test_the_outer_side_of_the_floor_is_in_its_area() -> None:
    """Trucks drive round the floor exactly on its side, at 40 m."""
    for across, is_met in (((20.0, 40.0), True), ((20.0, 39.0), False)):
        (open_area,) = lay_areas(scenario(aisles=8, area=[area("a", across, (0.0, 60.0))]), 40.0)
        assert spans_in_area(one_run((40.0, 60.0), (40.0, 0.0)), open_area).entries == int(is_met)


def test_luminaires_are_spread_over_the_rectangle() -> None:
    across, along = spread_evenly(7, 30.0, 10.0)
    assert sorted(set(along.tolist())) == [2.5, 7.5]
    assert across.tolist() == [5.0, 15.0, 25.0, 3.75, 11.25, 18.75, 26.25]


# ---- whole floors

TRUCKS = [
    {"name": "reach", "count": 3, "speed_laden_m_per_s": 2.0, "speed_empty_m_per_s": 2.5,
     "acceleration_m_per_s2": 0.5, "handling_mean_s": 30.0, "handling_cv": 0.5}
]
WORK = [
    {"name": "in", "kind": "putaway", "per_hour": 20.0, "aisle_skew": 0.5},
    {"name": "out", "kind": "retrieve", "per_hour": 15.0, "aisle_skew": 0.5},
]
MORE_WORK = [
    *WORK,
    {"name": "move", "kind": "replenish", "per_hour": 6.0, "aisle_skew": 0.5},
    {"name": "tour", "kind": "tour", "per_hour": 4.0, "lines_per_tour": 6, "aisle_skew": 0.5},
]
FLOOR = {
    "aisle_length_m": [60.0, 40.0, 60.0, 50.0], "staging_depth_m": 12.0, "dock_doors": 3, "aisle_capacity": 1
}
WHOLE = [
    area("front", (0.0, 20.0), (-12.0, 0.0), sensors_at_m=[[4.0, -11.0], [10.0, -1.0]], radius_m=4.0),
    area("behind", (0.0, 20.0), (0.0, 70.0), sensors_at_m=[[10.0, 1.0], [17.5, 58.0]], radius_m=4.0),
]


def floor_site(**keys: object) -> Site:
    """Four aisles of three lengths, one truck in each at a time, areas all over; work ends before the run."""
    hours = [{"trucks": "reach", "from": "00:00", "to": "08:00", "crew": 3}]
    work = [dict(one, per_hour=[one["per_hour"]] * 4 + [0.0] * 20) for one in keys.pop("work", WORK)]
    return site(
        aisles=4, hours=10.0, floor=FLOOR | keys.pop("more_floor", {}), trucks=TRUCKS, shifts=hours,
        work=work, area=keys.pop("area", WHOLE), sensors={"still_rate_per_min": 2.0}, **keys,
    )


def log_of(place: Site) -> tuple[Log, OpenRuns]:
    """The log of replication 0, and the runs outside the aisles."""
    site_keys, end_s = place.scenario, place.scenario.duration_s
    tasks = draw_tasks(site_keys, place.layout, 0)
    changes = battery_changes(site_keys, place.fleet, 0)
    log = simulate_floor(place.layout, site_keys.trucks, place.may_do, place.fleet, tasks, end_s, changes)
    visits = log_paths(place.layout, site_keys.trucks, place.fleet, tasks, log, end_s)
    return log, open_runs(place.layout, site_keys.trucks, place.fleet, log, visits, end_s)


def check_conservation(areas: list[dict], **floor: object) -> None:
    """Seconds of all tasks = seconds in aisles + seconds in areas that cover the rest."""
    place = floor_site(work=MORE_WORK, area=areas, more_floor=floor)
    log, runs = log_of(place)
    assert np.isfinite(log.finish).all()
    assert len(log.finish) > 100
    traffic = simulate_traffic(place, 0)
    stays = traffic.stays
    assert stays is not None
    assert (runs.end > runs.start).all()
    equals(
        float((stays.leave - stays.enter).sum()), float((log.finish - log.begin).sum()), 1e-9, "truck-seconds"
    )


def test_no_second_of_a_truck_is_lost_between_aisles_and_areas() -> None:
    check_conservation(WHOLE)
    with spoilt("an area that leaves out the last aisle's mouths"):
        check_conservation([WHOLE[0], area("behind", (0.0, 17.0), (0.0, 70.0))])
    with spoilt("no area before the aisles"):
        check_conservation([WHOLE[1]])


@pytest.mark.parametrize(
    "floor",
    [{"cross_aisles_m": [25.0]}, {"one_way": "alternating"}, {"cross_aisles_m": [30.0], "one_way": ["A02"]}],
    ids=["middle", "alternating", "both"],
)
def test_no_second_is_lost_on_middle_cross_aisles_and_round_the_side(floor: dict) -> None:
    check_conservation(WHOLE, **floor)
    with spoilt("an area that ends before the side of the floor"):
        check_conservation([WHOLE[0], area("behind", (0.0, 17.0), (0.0, 70.0))], **floor)


DEEP = Path(__file__).parents[1] / "corpus" / "scenarios" / "good" / "deep-floor.toml"


@pytest.mark.parametrize("name", ["small", "one way", "deep floor", "pallet-reserve", "narrow-aisles"])
def test_a_way_has_no_gaps_and_no_jumps(name: str) -> None:
    """Also with pairs, walks through, tours, batteries and trailers."""
    place = floor_site(work=MORE_WORK, more_floor={"one_way": "alternating"} if name == "one way" else {})
    if name not in {"small", "one way"}:
        whole = load_scenario(DEEP) if name == "deep floor" else sim.load(name)
        place = prepare_site(whole.model_copy(update={"days": 2.0}))
    _, runs = log_of(place)
    same = np.diff(runs.trip) == 0
    assert same.sum() > 100
    equals(runs.start[1:][same], runs.end[:-1][same], 1e-9, "times")
    for name in ("across_m", "along_m"):
        begin, end = getattr(runs, f"from_{name}"), getattr(runs, f"to_{name}")
        equals(begin[1:][same], end[:-1][same], 1e-12, name)


def check_twin(*, shift_m: float = 0.0) -> None:
    """Time in a rectangle and under way in a circle, by exact chords and in steps of 0.05 s."""
    rectangle = area("bay", (3.0, 11.0), (-9.0, 2.0), sensors_at_m=[[8.0, -1.0]], radius_m=5.0)
    place = floor_site(area=[rectangle])
    scene, end_s = place.scenario, place.scenario.duration_s
    tasks = draw_tasks(scene, place.layout, 0)
    log, runs = log_of(place)
    legs = list(legs_of(scene, place.layout, tasks, log))

    def in_bay(x: float, y: float) -> bool:
        return 3.0 <= x + shift_m < 11.0 and -9.0 <= y < 2.0

    def in_circle(x: float, y: float) -> bool:
        return (x + shift_m - 8.0) ** 2 + (y + 1.0) ** 2 <= 25.0

    stays = spans_in_area(runs, place.layout.areas[0])
    row, enter, leave = stays.stays()
    assert len(row) > 100
    total = steps_inside(legs, in_bay, end_s)[0]
    agrees(float((leave - enter).sum()), total, 0.5 * STEP_S * math.sqrt(len(stays.row)), "s in the bay")
    spans = spans_in_circle(runs, 8.0, -1.0, 5.0)
    length, moves = spans.leave - spans.enter, runs.is_moving[spans.row]
    _, under_way, standing = steps_inside(legs, in_circle, end_s)
    error = 0.5 * STEP_S * math.sqrt(len(length))
    agrees(float(length[moves].sum()), under_way, error, "s under way in the circle")
    agrees(float(length[~moves].sum()), standing, error, "s standing in the circle")


def test_a_twin_that_walks_in_steps_agrees() -> None:
    check_twin()
    with spoilt("the twin looks half a metre aside"):
        check_twin(shift_m=0.5)


# ---- sensing


def seen_share(**keys: object) -> tuple[float, int]:
    """Share of passages of a gate that are seen, and how many there were: a trip crosses staging twice."""
    gate = area("gate", (0.0, 5.0), (-8.0, -4.0), sensors_at_m=[[2.5, -6.0]], radius_m=1.0, **keys)
    trucks = [dict(TRUCKS[0], count=1, **{k: v for k, v in keys.items() if k == "seen"})]
    work = [{"name": "out", "kind": "retrieve", "per_hour": 10.0}]
    place = site(hours=400.0, floor={"staging_depth_m": 12.0}, trucks=trucks, work=work, area=[gate])
    traffic = simulate_traffic(place, 0)
    start, _ = traffic.detections.of_zone(1)
    count = len(traffic.stays.of_zone(1).zone)
    return len(start) / count, count


def check_miss(miss: float) -> None:
    """Each passage is missed with the stated chance 0.3, by itself."""
    share, count = seen_share(miss=miss)
    agrees(share, 0.7, math.sqrt(0.21 / count), "share seen")


def test_a_passage_is_missed_as_often_as_stated() -> None:
    check_miss(0.3)
    with spoilt("miss 0.4"):
        check_miss(0.4)


def check_stand(on_foot: bool, told_per_min: float) -> None:
    """Who stands in a circle for 1000 h is seen by Poisson pulses; people by others than trucks."""
    hours = 1000.0
    place = site(
        hours=hours, sensors={"still_rate_per_min": 2.0, "still_rate_person_per_min": 7.0},
        floor={"staging_depth_m": 10.0}, area=[area("dock", (0.0, 5.0), (-10.0, 0.0))],
    )
    zero, nothing = np.zeros(1, dtype=np.int64), np.zeros(1)
    here = [np.array([value]) for value in (2.5, -5.0, 2.5, -5.0, 1.0, 0.0)]
    runs = OpenRuns(zero, zero, nothing, np.array([3600.0 * hours]), *here, np.array([False]))
    visits = replace(plain_visits(zero[:0], nothing[:0], nothing[:0], 1.0), truck_on_foot=(on_foot,))
    seen = sense_areas(place.scenario, place.layout, runs, [(nothing[:0], nothing[:0])], visits, 0).seen
    expected = told_per_min * 60.0 * hours
    agrees(len(seen.start), expected, math.sqrt(expected), "pulses")


def test_pulses_of_who_stands() -> None:
    check_stand(False, 2.0)
    check_stand(True, 7.0)
    with spoilt("a person taken for a truck"):
        check_stand(True, 2.0)


def test_dead_sensors_and_unseen_trucks() -> None:
    dead = floor_site(area=[dict(WHOLE[0], dead_sensors="all"), WHOLE[1]])
    _, look = replay_site(dead, simulate_traffic(dead, 0))
    assert look.levels[4].is_high[-1]
    assert (look.levels[4].start == 0.0).sum() == 1
    blind = [dict(TRUCKS[0], seen=False, service_weight=0.0)]
    hours = [{"trucks": "reach", "from": "00:00", "to": "08:00", "crew": 3}]
    place = site(aisles=4, hours=10.0, floor=FLOOR, trucks=blind, shifts=hours, work=WORK, area=WHOLE)
    traffic = simulate_traffic(place, 0)
    outcomes, _ = replay_site(place, traffic)
    assert len(traffic.stays.of_zone(4).zone) > 50
    assert len(traffic.detections.zone) == 0
    assert (outcomes.zones["occupied_h"][4:] > 0.0).all()
    assert (outcomes.zones["dim_truck_s"] == 0.0).all()


# ---- the rest of the program


def test_areas_leave_the_aisles_as_they_are() -> None:
    """To the last bit, and a second area leaves the first one as it is."""
    plain = sim.load("pallet-reserve").model_copy(update={"days": 1.0})
    rows = []
    for count in (0, 1, 2):
        tables = scenario(aisles=24, floor={"staging_depth_m": 18.0}, area=WHOLE).area[:count] or None
        place = prepare_site(plain.model_copy(update={"area": tables}))
        outcomes, _ = replay_site(place, simulate_traffic(place, 0))
        rows.append(outcomes.zones)
    for name, column in rows[0].items():
        for other in rows[1:]:
            assert np.array_equal(column, other[name][:24], equal_nan=True), name
        assert np.array_equal(rows[1][name][24:25], rows[2][name][24:25], equal_nan=True), name


def test_every_engine_and_the_age_view_agree_on_areas() -> None:
    people = {"people_per_hour": 5.0, "dwell_mean_s": 200.0, "people_weight": 0.5}
    slow = {"unoccupied_level": 0.1, "timeout_s": 200.0, "fade_up_s": 2.0, "fade_down_s": 8.0}
    place = floor_site(
        work=MORE_WORK,
        area=[dict(WHOLE[0], settings={"day": "slow"}, hold_s=20.0, latency_s=1.0), dict(WHOLE[1], **people)],
        lighting={"settings": {"day": {"unoccupied_level": 0.2, "timeout_s": 300.0}, "slow": slow}},
    )
    traffic = simulate_traffic(place, 0)
    outcomes, look = replay_site(place, traffic)
    for (_, levels), wanted in zip(light_traffic(place, traffic), look.levels, strict=True):
        equals(levels.start, wanted.start, 0.0, "turns")
    fast = evaluate_settings(place, traffic, [place.scenario.lighting.settings], by_zone=True)
    for name in ADDITIVE:
        equals(fast[name][:, 0], outcomes.zones[name], 1e-9, name)
    for name in ADDITIVE:
        equals(outcomes.zones[name].sum(), outcomes.total[name], 1e-9, f"zones of {name} add up")


def test_what_areas_do_not_go_with_is_said() -> None:
    place = floor_site()
    with pytest.raises(InputError, match="ways outside the aisles are not kept"):
        simulate_live(place, 0)
    with pytest.raises(InputError, match="does not say where trucks are outside the aisles"):
        replay(place.scenario, visits="visits.csv")
