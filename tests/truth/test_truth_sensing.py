"""What end sensors see, by closed form: intervals of a single trip, approach, passers-by, misses, pulses, blindness.

One truck at a time: 72 m, end sensors at 3 and 69 m that reach 9 m, so they cover 0..12 and 60..72 m.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from sim.records import Detections
from sim.replication import Site, prepare_site, sense_visits, simulate_traffic
from sim.sensing.coverage import unite
from sim.traffic.work import draw_tasks
from tests.truth.truth_scenes import TRUCK, agrees, equals, holds, scenario, spoilt

LENGTH, REACH, NEAR, FAR = 72.0, 9.0, 12.0, 60.0
EMPTY, LADEN = 2.5, 2.0


def quiet_site(
    hours: float = 100.0, per_hour: float = 6.0, ramp: float = 0.0, kind: str = "retrieve", aisles: int = 1,
    floor: dict | None = None, truck: dict | None = None, **sensors: object,
) -> Site:
    """Return a site with end sensors and trucks that never wait."""
    trucks = TRUCK | {"speed_empty_m_per_s": EMPTY, "speed_laden_m_per_s": LADEN, "acceleration_m_per_s2": ramp}
    return prepare_site(
        scenario(
            aisles=aisles, hours=hours, floor={"aisle_length_m": LENGTH, "staging_depth_m": 30.0} | (floor or {}),
            luminaires={"per_aisle": 12}, sensors={"at": "ends", "range_m": REACH} | sensors,
            trucks=[trucks | {"handling_mean_s": 40.0} | (truck or {})],
            work=[{"name": "work", "kind": kind, "per_hour": per_hour}],
        )
    )


def passed(distance: float, length: float, speed: float, ramp: float) -> float:
    """Time after the start when a run from rest to rest has come so far; ramp 0: constant speed."""
    if ramp == 0.0:
        return distance / speed
    top = min(speed, math.sqrt(ramp * length))
    whole = top / ramp + length / top
    up_m = top**2 / (2.0 * ramp)
    if distance <= up_m:
        return math.sqrt(2.0 * distance / ramp)
    if distance >= length - up_m:
        return whole - math.sqrt(2.0 * max(0.0, length - distance) / ramp)
    return top / ramp + (distance - up_m) / top


def intervals_by_hand(enter: float, bay: float, ramp: float, approach: float) -> list[tuple[float, float]]:
    """What the two end sensors see of one retrieval: in empty, 40 s at the bay, out laden."""
    arrive_bay = enter + passed(bay, bay, EMPTY, ramp)
    away = arrive_bay + 40.0
    leave = away + passed(bay, bay, LADEN, ramp)
    # on its last metres before the mouth the truck brakes on a run of 30 m; braking mirrors speeding up
    begin = enter - passed(approach, 30.0, EMPTY, ramp)
    seen = [(begin, enter + passed(min(bay, NEAR), bay, EMPTY, ramp))]
    if bay > FAR:
        seen.append((enter + passed(FAR, bay, EMPTY, ramp), arrive_bay))
        seen.append((away, away + passed(bay - FAR, bay, LADEN, ramp)))
    seen.append((away + passed(max(0.0, bay - NEAR), bay, LADEN, ramp), leave))
    return seen


def check_trips(ramp: float, approach: float, *, assumed_ramp: float | None = None, assumed_approach: float | None = None) -> None:
    """Every detection of every trip."""
    place = quiet_site(ramp=ramp, approach_m=approach)
    traffic = simulate_traffic(place, 0)
    visits = traffic.visits
    alone = np.flatnonzero((visits.enter == visits.arrive) & (visits.leave < place.scenario.duration_s))
    by_hand = [
        interval
        for row in alone.tolist()
        for interval in intervals_by_hand(
            float(visits.enter[row]), float(visits.bay_m[row]),
            ramp if assumed_ramp is None else assumed_ramp, approach if assumed_approach is None else assumed_approach,
        )
    ]
    start, end = (np.array(column) for column in zip(*by_hand, strict=True))
    inside = start < place.scenario.duration_s
    wanted = unite(np.zeros(inside.sum(), np.int64), start[inside], end[inside])
    equals(len(traffic.detections.start), len(wanted.start), 0.0, "number of detections")
    equals(traffic.detections.start, wanted.start, 1e-6, "starts")
    equals(traffic.detections.end, wanted.end, 1e-6, "ends")


@pytest.mark.parametrize("approach", [0.0, 5.0])
@pytest.mark.parametrize("ramp", [0.0, 0.5])
def test_end_sensors_by_closed_form(ramp, approach):
    check_trips(ramp, approach)
    with spoilt("another acceleration"):
        check_trips(ramp, approach, assumed_ramp=0.5 - ramp)
    with spoilt("approach 1 m longer"):
        check_trips(ramp, approach, assumed_approach=approach + 1.0)


def check_approach(approach: float, ahead_s: float) -> None:
    """Constant speed: the first detection of a trip starts approach / v before its entry."""
    place = quiet_site(hours=400.0, per_hour=1.0, approach_m=approach)
    traffic = simulate_traffic(place, 0)
    enter = traffic.visits.enter
    alone = enter[np.diff(enter, prepend=-1e4) > 200.0]
    first = np.searchsorted(traffic.detections.end, alone)
    equals(alone - traffic.detections.start[first], np.full(len(alone), ahead_s), 1e-6, "seen before the mouth [s]")


def test_approach_starts_so_long_before_the_entry():
    check_approach(5.0, 2.0)
    check_approach(0.0, 0.0)
    with spoilt("approach 4 m"):
        check_approach(4.0, 2.0)


def check_passing(trigger: float, *, reach: float = 3.0, assumed_trigger: float = 0.3, assumed_reach: float = 3.0) -> None:
    """A truck that passes mouths on its way to the last aisle: share seen, and for how long.

    All work is in aisle 3, the door before aisle 1: each trip passes the mouths of aisles 1 and 2 twice.
    Binomial; at constant speed a pass is seen for 2 x 3 m / v, centred at the mouth.
    """
    place = prepare_site(
        scenario(
            aisles=3, hours=400.0, floor={"aisle_pitch_m": 20.0, "dock_doors": 1}, seed=2,
            sensors={"at": "ends", "range_m": REACH, "passing_trigger": trigger, "passing_range_m": reach},
            trucks=[TRUCK | {"speed_laden_m_per_s": LADEN}],
            work=[{"name": "out", "kind": "retrieve", "per_hour": 10.0, "aisle_shares": [0.0, 0.0, 1.0]}],
        )
    )
    traffic = simulate_traffic(place, 0)
    drives, found = traffic.visits.drives, traffic.detections
    # the only door lies at the middle aisle: aisle 2's mouth is where trips begin and end
    equals(place.layout.door_m, [30.0], 0.0, "the door")
    holds(found.zone != 0, "the far side is not passed")
    first = np.minimum(drives.start, drives.start + 20.0 / drives.speed)
    start, end = found.of_zone(1)
    # from rest at the mouth of aisle 2 (constant speed): within reach during the first or last 3 m
    out = drives.to_aisle == 2
    begin = np.where(out, first, first + (20.0 - assumed_reach) / drives.speed)
    finish = np.where(out, first + assumed_reach / drives.speed, first + 20.0 / drives.speed)
    inside = begin < place.scenario.duration_s
    seen = np.array([np.any((start <= b + 1e-6) & (e - 1e-6 <= end)) for b, e in zip(begin[inside], finish[inside], strict=True)])
    count = int(inside.sum())
    # two passes that overlap are seen as one where either is: rare at 10 an hour, and left to the 4th sd
    agrees(
        seen.mean(), assumed_trigger, math.sqrt(assumed_trigger * (1.0 - assumed_trigger) / count), "share of passers seen"
    )
    alone = np.array([
        np.sum((begin[inside] < e + 5.0) & (finish[inside] > b - 5.0)) == 1
        for b, e in zip(begin[inside], finish[inside], strict=True)
    ])
    for b, e in zip(begin[inside][seen & alone].tolist(), finish[inside][seen & alone].tolist(), strict=True):
        row = int(np.searchsorted(end, e - 1e-6))
        equals((start[row], end[row]), (b, e), 1e-6, "a passer is seen for as long as it is near")


def test_trucks_that_only_pass():
    check_passing(0.3)
    with spoilt("share 0.34"):
        check_passing(0.34)
    with spoilt("passing range 4 m"):
        check_passing(0.3, reach=4.0)


def check_through_passers(reach: float) -> None:
    """A truck that drives past the middle mouth is seen over 2 x 3 m of its way."""
    place = prepare_site(
        scenario(
            aisles=5, hours=50.0, floor={"aisle_pitch_m": 20.0, "dock_doors": 1},
            sensors={"at": "ends", "range_m": REACH, "passing_trigger": 1.0, "passing_range_m": reach},
            trucks=[TRUCK], work=[{"name": "out", "kind": "retrieve", "per_hour": 2.0, "aisle_shares": [0, 0, 0, 0, 1.0]}],
        )
    )
    traffic = simulate_traffic(place, 0)
    start, end = traffic.detections.of_zone(3)
    drives = traffic.visits.drives
    # the door at 50 m, the mouth of aisle 4 at 70 m, that of aisle 5 at 90 m: the middle of every drive
    middle = np.sort(drives.start + 20.0 / 2.5)
    middle = middle[middle + reach < place.scenario.duration_s]
    wanted = unite(np.zeros(len(middle), np.int64), middle - 3.0 / 2.5, middle + 3.0 / 2.5)
    equals(len(start), len(wanted.start), 0.0, "number of passes")
    equals(start, wanted.start, 1e-6, "from 3 m before the mouth")
    equals(end, wanted.end, 1e-6, "to 3 m after it")


def test_a_passer_is_seen_within_the_passing_range():
    check_through_passers(3.0)
    with spoilt("2 m"):
        check_through_passers(2.0)


def visits_with_bays(bays: np.ndarray, **keys: object):
    """Trips one an hour to given depths, through the program's own trucks; site, traffic and which visits."""
    place = quiet_site(hours=4000.0, per_hour=3.0, **keys)
    traffic = simulate_traffic(place, 0)
    visits = traffic.visits
    gap_before = np.diff(visits.enter, prepend=-1e6) > 400.0
    gap_after = np.diff(visits.enter, append=1e12) > 400.0
    deep = (visits.bay_m >= bays[0]) & (visits.bay_m <= bays[1])
    rows = np.flatnonzero(gap_before & gap_after & deep & (visits.leave < place.scenario.duration_s - 400.0))
    return place, traffic, rows


def seen_between(found: Detections, begin: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Number of detections that touch each of some stretches of time."""
    return np.searchsorted(found.start, end, side="right") - np.searchsorted(found.end, begin, side="left")


def check_misses(miss: float, assumed: float) -> None:
    """Bays of 20..50 m lie between the sensors: each trip enters the near stretch twice, on its own each time.

    Share of trips seen on the way in, on the way out, both: (1 - m), (1 - m), (1 - m)^2, binomial.
    """
    _, traffic, rows = visits_with_bays(np.array([20.0, 50.0]), miss=miss)
    visits, found = traffic.visits, traffic.detections
    enter, leave = visits.enter[rows], visits.leave[rows]
    come = seen_between(found, enter - 1.0, enter + 1.0) > 0
    go = seen_between(found, leave - 1.0, leave + 1.0) > 0
    count = len(rows)
    for name, share, expected in (
        ("way in", come.mean(), 1.0 - assumed), ("way out", go.mean(), 1.0 - assumed),
        ("both", np.mean(come & go), (1.0 - assumed) ** 2),
    ):
        agrees(float(share), expected, math.sqrt(expected * (1.0 - expected) / count), f"seen on the {name}")


def test_misses_once_per_entry():
    check_misses(0.2, 0.2)
    with spoilt("miss 0.25"):
        check_misses(0.25, 0.2)


def check_whole_passage(miss: float, assumed: float, still_rate: float = 30.0) -> None:
    """Bays within the near stretch: one entry to the last, so a missed trip gives nothing at all, pulses neither."""
    _, traffic, rows = visits_with_bays(np.array([1.0, 11.0]), miss=miss, still_rate_per_min=still_rate)
    visits, found = traffic.visits, traffic.detections
    count = seen_between(found, visits.enter[rows] - 1e-6, visits.leave[rows] + 1e-6)
    none = float(np.mean(count == 0))
    agrees(none, assumed, math.sqrt(assumed * (1.0 - assumed) / len(rows)), "trips of which nothing is seen")
    # a trip is seen on the way in if and only if on the way out
    come = seen_between(found, visits.enter[rows], visits.enter[rows] + 0.1) > 0
    go = seen_between(found, visits.leave[rows] - 0.1, visits.leave[rows]) > 0
    holds(come == go, "seen to the end or not at all")


def test_a_missed_passage_gives_no_pulses():
    check_whole_passage(0.3, 0.3)
    with spoilt("miss 0.36"):
        check_whole_passage(0.36, 0.3)
    with spoilt("a draw on each way: 0.3 x 0.3 are missed altogether"):
        check_whole_passage(0.09, 0.3)


def check_pulses(rate_per_min: float, assumed: float = 2.0) -> None:
    """Standing 40 s in reach: pulses are Poisson with 2 a minute x 40 s; mean = variance = 4/3, and uniform in time.

    Only visits alone in the aisle; sd of the variance of a Poisson law: sqrt((2 m^2 + m)/n).
    """
    _, traffic, rows = visits_with_bays(np.array([2.0, 11.0]), still_rate_per_min=rate_per_min)
    visits, found = traffic.visits, traffic.detections
    begin = visits.enter[rows] + visits.bay_m[rows] / EMPTY
    is_pulse = found.start == found.end
    pulses = found.start[is_pulse]
    count = np.searchsorted(pulses, begin + 40.0) - np.searchsorted(pulses, begin)
    mean = assumed * 40.0 / 60.0
    agrees(count.mean(), mean, math.sqrt(mean / len(rows)), "pulses of a stop")
    agrees(np.var(count, ddof=1), mean, math.sqrt((2.0 * mean**2 + mean) / len(rows)), "variance of the pulses")
    place = np.searchsorted(begin, pulses, side="right") - 1
    into = pulses - begin[np.maximum(place, 0)]
    own = into[(into >= 0.0) & (into < 40.0)]
    agrees(own.mean(), 20.0, 40.0 / math.sqrt(12.0 * len(own)), "when in the stop")


def test_pulses_of_a_standing_truck():
    check_pulses(2.0)
    with spoilt("1.8 a minute"):
        check_pulses(1.8)


def check_blind(reach: float) -> None:
    """Bays between the stretches: a truck that stands there is not seen, however many pulses it would give."""
    _, traffic, rows = visits_with_bays(np.array([13.0, 59.0]), still_rate_per_min=60.0, range_m=reach)
    visits, found = traffic.visits, traffic.detections
    begin = visits.enter[rows] + NEAR / EMPTY
    end = visits.leave[rows] - NEAR / LADEN
    holds(seen_between(found, begin + 1e-6, end - 1e-6) == 0, "nothing is seen between the stretches")


def test_a_truck_that_stands_out_of_range_is_not_seen():
    check_blind(REACH)
    with spoilt("range 12 m"):
        check_blind(12.0)


def check_queue_pulses(approach: float, assumed_rate: float = 6.0) -> None:
    """A truck that waits at a full aisle's mouth stands in the view of the sensor that looks out: pulses."""
    place = quiet_site(
        hours=300.0, per_hour=25.0, floor={"aisle_capacity": 1}, truck={"handling_mean_s": 40.0},
        approach_m=approach, range_m=0.5, still_rate_per_min=6.0, at=[30.0],
    )
    traffic = simulate_traffic(place, 0)
    visits, found = traffic.visits, traffic.detections
    pulses = np.sum((found.start == found.end))
    # the only sensor is at 30 m and reaches half a metre: stops there are rare, cut them out by their place
    waits = float((visits.enter - visits.arrive).sum())
    near = np.abs(visits.bay_m - 30.0) <= 0.5
    stops = 40.0 * float(near.sum())
    mean = assumed_rate / 60.0 * (waits * (approach > 0.0) + stops)
    assert waits > 3600.0, "nobody waits"
    return pulses, mean


def test_a_queue_at_the_mouth_gives_pulses():
    """Pulses hidden within other motion are lost, so between no queue seen at all and all of it."""
    found, mean = check_queue_pulses(3.0)
    silent, _ = check_queue_pulses(0.0)
    assert 0.5 * mean < found <= mean + 4.0 * math.sqrt(mean)
    assert silent < 0.1 * found


def check_own_zone(zones: int) -> None:
    """A sensor serves only its own zone, wherever the truck is: 2 sensors, 3 zones would leave the middle blind.

    With 2 zones of 36 m the first sensor's zone is the first: a trip to 50 m is never seen in the second zone
    (its sensor covers 60..72), and one to 70 m is seen there from 60 m on.
    """
    place = quiet_site(hours=1000.0, per_hour=2.0, floor={"zones_per_aisle": zones}, range_m=REACH)
    visits = simulate_traffic(place, 0).visits
    found = sense_visits(place, visits, 0)
    start, end = found.of_zone(1)
    assert zones == 2 or not len(start)
    deep = visits.bay_m > FAR
    begin = visits.enter[deep] + FAR / EMPTY
    finish = visits.leave[deep] - FAR / LADEN
    inside = finish < place.scenario.duration_s
    by_hand = unite(
        np.zeros(2 * int(inside.sum()), np.int64),
        np.concatenate([begin[inside], begin[inside] + (visits.bay_m[deep][inside] - FAR) / EMPTY + 40.0]),
        np.concatenate([begin[inside] + (visits.bay_m[deep][inside] - FAR) / EMPTY, finish[inside]]),
    )
    late = place.scenario.duration_s - 300.0
    early = start < late
    equals(len(start[early]), np.sum(by_hand.start < late), 0.0, "detections of the second zone")
    equals(start[early], by_hand.start[by_hand.start < late], 1e-6, "starts")
    equals(end[early], by_hand.end[by_hand.start < late], 1e-6, "ends")


def test_a_sensor_serves_its_own_zone():
    check_own_zone(2)


def test_sensing_asks_for_positions():
    """Visits without runs cannot be looked at."""
    import dataclasses

    place = quiet_site(hours=10.0)
    visits = dataclasses.replace(simulate_traffic(place, 0).visits, moves=None)
    with pytest.raises(ValueError, match="positions"):
        sense_visits(place, visits, 0)
    assert len(draw_tasks(place.scenario, place.layout, 0))
