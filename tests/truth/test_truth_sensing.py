"""What end sensors see, by closed form: trips, approach, passers-by, misses, pulses, blindness.

One truck at a time: 72 m, end sensors at 3 and 69 m that reach 9 m, so they cover 0..12 and 60..72 m.
"""

from __future__ import annotations

import dataclasses
import math
from functools import partial

import numpy as np
import pytest

from sim.randomness import random_stream
from sim.records import Detections
from sim.replication import Site, prepare_site, sense_visits, simulate_traffic
from sim.sensing.coverage import sense, unite
from tests.truth.truth_scenes import TRUCK, agrees, equals, holds, plain_visits, scenario, spoilt

LENGTH, REACH, NEAR, FAR = 72.0, 9.0, 12.0, 60.0
EMPTY, LADEN = 2.5, 2.0


def quiet_site(
    hours: float = 100.0,
    per_hour: float = 6.0,
    ramp: float = 0.0,
    kind: str = "retrieve",
    aisles: int = 1,
    floor: dict | None = None,
    truck: dict | None = None,
    **sensors: object,
) -> Site:
    """Return a site with end sensors and trucks that never wait."""
    trucks = TRUCK | {
        "speed_empty_m_per_s": EMPTY,
        "speed_laden_m_per_s": LADEN,
        "acceleration_m_per_s2": ramp,
    }
    return prepare_site(
        scenario(
            aisles=aisles,
            hours=hours,
            floor={"aisle_length_m": LENGTH, "staging_depth_m": 30.0} | (floor or {}),
            luminaires={"per_aisle": 12},
            sensors={"at": "ends", "range_m": REACH} | sensors,
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


def check_trips(
    ramp: float, approach: float, *, model_ramp: float | None = None, model_approach: float | None = None
) -> None:
    """Every detection of every trip; the model may be given other keys than the closed form."""
    place = quiet_site(
        ramp=ramp if model_ramp is None else model_ramp,
        approach_m=approach if model_approach is None else model_approach,
    )
    traffic = simulate_traffic(place, 0)
    visits = traffic.visits
    by_hand = [
        interval
        for row in range(len(visits))
        for interval in intervals_by_hand(float(visits.enter[row]), float(visits.bay_m[row]), ramp, approach)
    ]
    start, end = (np.array(column) for column in zip(*by_hand, strict=True))
    inside = start < place.scenario.duration_s
    end = np.minimum(end, place.scenario.duration_s)
    wanted = unite(np.zeros(inside.sum(), np.int64), start[inside], end[inside])
    equals(len(traffic.detections.start), len(wanted.start), 0.0, "number of detections")
    equals(traffic.detections.start, wanted.start, 1e-6, "starts")
    equals(traffic.detections.end, wanted.end, 1e-6, "ends")


@pytest.mark.parametrize("approach", [0.0, 5.0])
@pytest.mark.parametrize("ramp", [0.0, 0.5])
def test_end_sensors_by_closed_form(ramp, approach):
    check_trips(ramp, approach)
    with spoilt("another acceleration"):
        check_trips(ramp, approach, model_ramp=0.5 - ramp)
    with spoilt("approach 1 m longer"):
        check_trips(ramp, approach, model_approach=approach + 1.0)


def check_approach(approach: float, ahead_s: float) -> None:
    """Constant speed: the first detection of a trip starts approach / v before its entry."""
    place = quiet_site(hours=400.0, per_hour=1.0, approach_m=approach)
    traffic = simulate_traffic(place, 0)
    enter = traffic.visits.enter
    alone = enter[np.diff(enter, prepend=-1e4) > 200.0]
    first = np.searchsorted(traffic.detections.end, alone)
    equals(
        alone - traffic.detections.start[first],
        np.full(len(alone), ahead_s),
        1e-6,
        "seen before the mouth [s]",
    )


def test_approach_starts_so_long_before_the_entry():
    check_approach(5.0, 2.0)
    check_approach(0.0, 0.0)
    with spoilt("approach 4 m"):
        check_approach(4.0, 2.0)


def check_passing(trigger: float, reach: float) -> None:
    """Trucks pass the mouth of aisle 4 on their way from a door at aisle 3 to aisle 5 and back: 0.3 are seen.

    Binomial; at constant speed a pass is seen from 3 m before the mouth to 3 m after it, v = 2.5 m/s.
    """
    place = prepare_site(
        scenario(
            aisles=5,
            hours=600.0,
            floor={"aisle_pitch_m": 20.0, "dock_doors": 1},
            sensors={"at": "ends", "range_m": REACH, "passing_trigger": trigger, "passing_range_m": reach},
            trucks=[TRUCK],
            work=[
                {
                    "name": "out",
                    "kind": "retrieve",
                    "per_hour": 4.0,
                    "aisle_shares": [0.0, 0.0, 0.0, 0.0, 1.0],
                }
            ],
        )
    )
    traffic = simulate_traffic(place, 0)
    found, drives = traffic.detections, traffic.visits.drives
    equals([*place.layout.door_m, *place.layout.aisle_m[3:]], [50.0, 70.0, 90.0], 0.0, "door and mouths")
    holds(found.zone >= 2, "mouths on the other side of the door are not passed")
    middle = np.sort(drives.start + 20.0 / 2.5)
    middle = middle[middle + 10.0 < place.scenario.duration_s]
    start, end = found.of_zone(3)
    row = np.minimum(np.searchsorted(end, middle), len(end) - 1)
    seen = (start[row] <= middle) & (middle <= end[row])
    agrees(seen.mean(), 0.3, math.sqrt(0.3 * 0.7 / len(middle)), "share of passers seen")
    lonely = seen & (np.bincount(row[seen], minlength=len(end))[row] == 1)
    equals(start[row[lonely]], middle[lonely] - 3.0 / 2.5, 1e-6, "seen from 3 m before the mouth")
    equals(end[row[lonely]], middle[lonely] + 3.0 / 2.5, 1e-6, "to 3 m after it")
    equals(np.sum(seen) - np.sum(lonely), 0.0, 0.01 * len(middle), "passes that overlap are rare")


def test_trucks_that_only_pass():
    check_passing(0.3, 3.0)
    with spoilt("share 0.36"):
        check_passing(0.36, 3.0)
    with spoilt("passing range 2.5 m"):
        check_passing(0.3, 2.5)


def check_passing_behind_a_blind_mouth(blind: str) -> None:
    """A mouth that nobody is seen at keeps no other mouth from seeing: `passing_trigger` 1 is every passer.

    Trucks of one door, at 50 m, go to aisle 5, at 90 m, and pass aisle 4, at 70 m; some mouth is blind.
    """
    place = prepare_site(
        scenario(
            aisles=5,
            hours=100.0,
            floor={"aisle_pitch_m": 20.0, "dock_doors": 1},
            sensors={"at": "ends", "range_m": REACH, "passing_trigger": 1.0, "passing_range_m": 3.0},
            trucks=[TRUCK],
            work=[{"name": "out", "kind": "retrieve", "per_hour": 4.0, "aisle_shares": [0.0] * 4 + [1.0]}],
            override=[{"aisles": (blind,), "passing_range_m": 0.0}],
        )
    )
    traffic = simulate_traffic(place, 0)
    middle = np.sort(traffic.visits.drives.start + 20.0 / 2.5)
    middle = middle[middle + 10.0 < place.scenario.duration_s]
    start, end = traffic.detections.of_zone(3)
    assert len(middle) > 500
    holds(len(start) > 0, "somebody is seen")
    row = np.minimum(np.searchsorted(end, middle), len(end) - 1)
    holds((start[row] <= middle) & (middle <= end[row]), "every passer is seen")


def test_a_blind_mouth_blinds_no_other():
    check_passing_behind_a_blind_mouth("A01")
    with spoilt("the passed mouth itself is blind"):
        check_passing_behind_a_blind_mouth("A04")


def check_first_instant(shift_s: float, model_shift_s: float) -> None:
    """Motion is cut at second 0 only: of a truck that enters at t, max(t, 0) is the first motion."""
    place = quiet_site(hours=10.0, per_hour=2.0)
    visits = simulate_traffic(place, 0).visits
    late = float(visits.enter[0]) + model_shift_s
    moved = dataclasses.replace(
        visits,
        enter=visits.enter - late,
        leave=visits.leave - late,
        arrive=visits.arrive - late,
        moves=dataclasses.replace(visits.moves, start=visits.moves.start - late),
        drives=None,
        coming=None,
    )
    found = sense_visits(place, moved, 0)
    equals(found.start[0], max(-shift_s, 0.0), 1e-9, "first motion")


@pytest.mark.parametrize("shift_s", [-0.25, 0.5])
def test_motion_is_cut_at_the_first_instant(shift_s):
    check_first_instant(shift_s, shift_s)
    with spoilt("the truck comes a second later"):
        check_first_instant(shift_s, shift_s - 1.0)


def visits_with_bays(bays: np.ndarray, **keys: object):
    """Return traffic and the visits to given depths that have the aisle to themselves, 400 s around."""
    place = quiet_site(hours=4000.0, per_hour=3.0, **keys)
    traffic = simulate_traffic(place, 0)
    visits = traffic.visits
    gap_before = np.diff(visits.enter, prepend=-1e6) > 400.0
    gap_after = np.diff(visits.enter, append=1e12) > 400.0
    deep = (visits.bay_m >= bays[0]) & (visits.bay_m <= bays[1])
    rows = np.flatnonzero(gap_before & gap_after & deep & (visits.leave < place.scenario.duration_s - 400.0))
    return traffic, rows


def seen_between(found: Detections, begin: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Number of detections that touch each of some stretches of time."""
    return np.searchsorted(found.start, end, side="right") - np.searchsorted(found.end, begin, side="left")


def check_misses(miss: float, assumed: float) -> None:
    """Bays of 20..50 m lie between the stretches: each trip enters the near one twice, each time with a draw.

    Share of trips seen on the way in, on the way out, both: (1 - m), (1 - m), (1 - m)^2, binomial.
    """
    traffic, rows = visits_with_bays(np.array([20.0, 50.0]), miss=miss)
    visits, found = traffic.visits, traffic.detections
    enter, leave = visits.enter[rows], visits.leave[rows]
    come = seen_between(found, enter - 1.0, enter + 1.0) > 0
    go = seen_between(found, leave - 1.0, leave + 1.0) > 0
    count = len(rows)
    for name, share, expected in (
        ("way in", come.mean(), 1.0 - assumed),
        ("way out", go.mean(), 1.0 - assumed),
        ("both", np.mean(come & go), (1.0 - assumed) ** 2),
    ):
        agrees(float(share), expected, math.sqrt(expected * (1.0 - expected) / count), f"seen on the {name}")


def test_misses_once_per_entry():
    check_misses(0.2, 0.2)
    with spoilt("miss 0.25"):
        check_misses(0.25, 0.2)


def check_whole_passage(miss: float, assumed: float, still_rate: float = 30.0) -> None:
    """Bays within the near stretch: one entry, one draw: a missed trip gives nothing, pulses neither."""
    traffic, rows = visits_with_bays(np.array([1.0, 11.0]), miss=miss, still_rate_per_min=still_rate)
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
    with spoilt("miss 0.4"):
        check_whole_passage(0.4, 0.3)
    with spoilt("a draw on each way: 0.3 x 0.3 are missed altogether"):
        check_whole_passage(0.09, 0.3)


def check_two_sensors(miss: float, *, model_reach: float = 45.0) -> None:
    """Two sensors of two zones both see bays of 10..60 m: misses are drawn for each, pulses once a truck.

    Seen by one, by the other, by both: 0.8, 0.8, 0.64, binomial; pulses of trips that both see are the same.
    """
    traffic, rows = visits_with_bays(
        np.array([10.0, 60.0]),
        at=[30.0, 42.0],
        range_m=model_reach,
        floor={"zones_per_aisle": 2},
        miss=miss,
        still_rate_per_min=6.0,
    )
    visits = traffic.visits
    begin = visits.enter[rows] + visits.bay_m[rows] / EMPTY
    seen, pulses = [], []
    for zone in (0, 1):
        found = Detections(
            *(
                column[traffic.detections.zone == zone]
                for column in (traffic.detections.zone, traffic.detections.start, traffic.detections.end)
            )
        )
        seen.append(seen_between(found, visits.enter[rows], visits.leave[rows]) > 0)
        pulses.append(found.start[found.start == found.end])
    both = seen[0] & seen[1]
    for name, share, expected in (("one", seen[0], 0.8), ("the other", seen[1], 0.8), ("both", both, 0.64)):
        error = math.sqrt(expected * (1.0 - expected) / len(rows))
        agrees(float(share.mean()), expected, error, f"seen by {name}")
    of_both = [
        own[np.isin(np.searchsorted(begin, own, side="right") - 1, np.flatnonzero(both))] for own in pulses
    ]
    in_stop = [own[own < begin[np.searchsorted(begin, own, side="right") - 1] + 40.0] for own in of_both]
    assert len(in_stop[0]) > 300
    holds(np.array_equal(*in_stop), "one pulse process a truck, seen by every sensor in reach")


def test_each_sensor_misses_on_its_own_and_shares_the_pulses():
    check_two_sensors(0.2)
    with spoilt("miss 0.26"):
        check_two_sensors(0.26)
    with spoilt("bays that only one of them reaches"):
        check_two_sensors(0.2, model_reach=25.0)


def check_pulses(rate_per_min: float, assumed: float = 2.0) -> None:
    """Standing 40 s in reach at 2 pulses a minute: Poisson, mean = variance = 4/3, and uniform in time.

    Only visits alone in the aisle; sd of the variance of a Poisson law: sqrt((2 m^2 + m)/n).
    """
    traffic, rows = visits_with_bays(np.array([2.0, 11.0]), still_rate_per_min=rate_per_min)
    visits, found = traffic.visits, traffic.detections
    begin = visits.enter[rows] + visits.bay_m[rows] / EMPTY
    is_pulse = found.start == found.end
    pulses = found.start[is_pulse]
    count = np.searchsorted(pulses, begin + 40.0) - np.searchsorted(pulses, begin)
    mean = assumed * 40.0 / 60.0
    agrees(count.mean(), mean, math.sqrt(mean / len(rows)), "pulses of a stop")
    agrees(
        np.var(count, ddof=1), mean, math.sqrt((2.0 * mean**2 + mean) / len(rows)), "variance of the pulses"
    )
    place = np.searchsorted(begin, pulses, side="right") - 1
    into = pulses - begin[np.maximum(place, 0)]
    own = into[(into >= 0.0) & (into < 40.0)]
    agrees(own.mean(), 20.0, 40.0 / math.sqrt(12.0 * len(own)), "when in the stop")


def test_pulses_of_a_standing_truck():
    check_pulses(2.0)
    with spoilt("1.6 a minute"):
        check_pulses(1.6)


def check_blind(reach: float) -> None:
    """Bays between the stretches: a truck that stands there is not seen, whatever pulses it would give."""
    traffic, rows = visits_with_bays(np.array([13.0, 59.0]), still_rate_per_min=60.0, range_m=reach)
    visits, found = traffic.visits, traffic.detections
    begin = visits.enter[rows] + NEAR / EMPTY
    end = visits.leave[rows] - NEAR / LADEN
    holds(seen_between(found, begin + 1e-6, end - 1e-6) == 0, "nothing is seen between the stretches")


def test_a_truck_that_stands_out_of_range_is_not_seen():
    check_blind(REACH)
    with spoilt("range 12 m"):
        check_blind(12.0)


def check_queue_pulses(approach: float, rate_per_min: float) -> None:
    """A truck that waits at a full aisle's mouth stands in view of the sensor that looks out: 6 pulses/min.

    The one sensor, at 30 m, reaches half a metre, so nearly all it sees is outside.  A pulse during other
    motion is united with it: expected is rate x (truck-time standing in view, less what falls in motion).
    """
    place = quiet_site(
        hours=300.0,
        per_hour=25.0,
        floor={"aisle_capacity": 1},
        approach_m=approach,
        range_m=0.5,
        still_rate_per_min=rate_per_min,
        at=[30.0],
    )
    traffic = simulate_traffic(place, 0)
    visits, found = traffic.visits, traffic.detections
    is_pulse = found.start == found.end
    begin, end = found.start[~is_pulse], found.end[~is_pulse]
    moving = np.concatenate([[0.0], np.cumsum(end - begin)])

    def motion_before(time: np.ndarray) -> np.ndarray:
        return np.interp(
            time, np.stack([begin, end], axis=1).ravel(), np.stack([moving[:-1], moving[1:]], axis=1).ravel()
        )

    stops = np.abs(visits.bay_m - 30.0) <= 0.5
    stand_from = np.concatenate([visits.arrive, (visits.enter + visits.bay_m / EMPTY)[stops]])
    stand_to = np.concatenate([visits.enter, (visits.enter + visits.bay_m / EMPTY + 40.0)[stops]])
    standing = np.sum(stand_to - stand_from - (motion_before(stand_to) - motion_before(stand_from)))
    assert np.sum(visits.enter - visits.arrive) > 36_000.0, "too few wait"
    mean = 6.0 / 60.0 * float(standing)
    agrees(np.sum(is_pulse), mean, math.sqrt(mean), "pulses from the queue and the few stops in reach")


def test_a_queue_at_the_mouth_gives_pulses():
    check_queue_pulses(3.0, 6.0)
    with spoilt("5 pulses a minute"):
        check_queue_pulses(3.0, 5.0)
    with spoilt("the sensor does not look out"):
        check_queue_pulses(0.0, 6.0)


def check_waiting_at_the_end(rate_per_min: float, assumed: float, arrive_s: float) -> None:
    """A truck that queues at a mouth as the run ends gives Poisson pulses from its coming on, none before.

    It comes at t and waits for 100 h: 360,000 s x rate pulses, sd the root; the last run is seen for 3 m at
    v = 2.5 m/s, so motion from t - 1.2 s.
    """
    place = quiet_site(hours=10.0, per_hour=1.0, still_rate_per_min=rate_per_min, approach_m=3.0)
    inside = simulate_traffic(place, 0).visits
    arrive, wait = float(inside.leave.max()) + arrive_s, 360_000.0
    one = plain_visits(np.zeros(1, dtype=np.int64), np.array([arrive]), np.array([arrive]), arrive + wait)
    far = {"run_in_m": np.full(1, 20.0), "run_speed": np.full(1, EMPTY)}
    visits = dataclasses.replace(inside, coming=dataclasses.replace(one, **far))
    found = sense(place.layout, visits, partial(random_stream, 3, 0, "sensing"), arrive + wait)
    new = found.start > float(inside.leave.max()) + 1e-6
    pulses = found.start[new & (found.start == found.end)]
    agrees(len(pulses), assumed / 60.0 * wait, math.sqrt(assumed / 60.0 * wait), "pulses of the wait")
    motion = found.start[new & (found.start < found.end)]
    equals(motion, [float(inside.leave.max()) + 600.0 - 3.0 / EMPTY], 1e-6, "motion begins")
    holds(pulses > motion[0], "no pulse before it came")


def test_a_truck_that_waits_as_the_run_ends():
    check_waiting_at_the_end(6.0, 6.0, 600.0)
    with spoilt("5.5 pulses a minute"):
        check_waiting_at_the_end(5.5, 6.0, 600.0)
    with spoilt("it came a minute later"):
        check_waiting_at_the_end(6.0, 6.0, 660.0)


def check_own_zone(reach: float) -> None:
    """A sensor serves only its own zone, wherever the truck is.

    Two zones of 36 m, the sensors at 3 and 69 m: the second zone sees a truck between 60 and 72 m and never
    before, the first one between 0 and 12 m.
    """
    place = quiet_site(hours=1000.0, per_hour=2.0, floor={"zones_per_aisle": 2}, range_m=reach)
    traffic = simulate_traffic(place, 0)
    visits, late = traffic.visits, place.scenario.duration_s - 300.0
    nothing = np.zeros(len(visits), dtype=np.int64)
    at_bay, leave = (
        visits.enter + visits.bay_m / EMPTY,
        visits.enter + visits.bay_m * (1 / EMPTY + 1 / LADEN) + 40.0,
    )
    deep = visits.bay_m > FAR
    first = unite(
        np.append(nothing, nothing),
        np.append(visits.enter, leave - np.minimum(visits.bay_m, NEAR) / LADEN),
        np.append(visits.enter + np.minimum(visits.bay_m, NEAR) / EMPTY, leave),
    )
    second = unite(
        np.append(nothing[deep], nothing[deep]),
        np.append((visits.enter + FAR / EMPTY)[deep], (at_bay + 40.0)[deep]),
        np.append(at_bay[deep], (leave - FAR / LADEN)[deep]),
    )
    for zone, wanted in ((0, first), (1, second)):
        start, end = traffic.detections.of_zone(zone)
        keep, early = wanted.start < late, start < late
        equals(np.sum(early), np.sum(keep), 0.0, f"detections of zone {zone}")
        equals(start[early], wanted.start[keep], 1e-6, "starts")
        equals(end[early], wanted.end[keep], 1e-6, "ends")


def test_a_sensor_serves_its_own_zone():
    check_own_zone(REACH)
    with spoilt("range 10 m"):
        check_own_zone(10.0)


def test_sensing_asks_for_positions():
    """Visits without runs cannot be looked at."""
    place = quiet_site(hours=10.0)
    visits = dataclasses.replace(simulate_traffic(place, 0).visits, moves=None)
    with pytest.raises(ValueError, match=r"^sensing needs visits with positions$"):
        sense_visits(place, visits, 0)
