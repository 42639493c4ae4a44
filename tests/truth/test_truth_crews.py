"""Shifts, breaks and who may do what: how many trucks work at any minute of the week.

All work is at one mouth at no distance from the door, handling takes 120 s each, and there is far more work
than drivers can do: then the trucks at work are as many as there are drivers, four minutes after a change.
"""

from __future__ import annotations

import numpy as np

from sim.replication import Site, prepare_site, simulate_traffic
from sim.units import WEEKDAYS
from tests.truth.truth_scenes import TRUCK, equals, holds, scenario, spoilt

HANDLING_S = 120.0
TASK_S = 2.0 * HANDLING_S
WEEKLY = ("Mon", "Tue", "Wed", "Thu", "Fri")
EARLY = {
    "trucks": "reach",
    "days": list(WEEKLY),
    "from": "06:00",
    "to": "14:00",
    "crew": 3,
    "breaks": [["09:00", "09:20"], ["12:00", "12:30"]],
}
LATE = {
    "trucks": "reach",
    "days": list(WEEKLY),
    "from": "13:30",
    "to": "22:00",
    "crew": 4,
    "breaks": [["18:00", "18:30"]],
}
NIGHT = {
    "trucks": "reach",
    "days": ["Fri", "Sun"],
    "from": "22:00",
    "to": "06:00",
    "crew": 1,
    "breaks": [["23:45", "00:15"], ["03:00", "03:20"]],
}
COUNT = 6


def busy_site(shifts: list[dict], hours: float = 14 * 24.0, start: str = "2027-03-03T03:30:00") -> Site:
    """Return a site with more work than drivers."""
    return prepare_site(
        scenario(
            aisles=1,
            hours=hours,
            start=start,
            floor={"aisle_length_m": 1e-3},
            trucks=[TRUCK | {"count": COUNT, "handling_mean_s": HANDLING_S, "speed_empty_m_per_s": 20.0}],
            shifts=shifts,
            work=[{"name": "out", "kind": "retrieve", "per_hour": 400.0}],
        )
    )


def minutes(clock: str) -> int:
    """Minutes of the day."""
    return int(clock[:2]) * 60 + int(clock[3:])


def drivers_at(shifts: list[dict], minute_of_week: int) -> int:
    """Count drivers on duty, minute by minute, out of the words of the shifts; never more than trucks."""
    count = 0
    for shift in shifts:
        begin, end = minutes(shift["from"]), minutes(shift["to"])
        length = (end - begin) % 1440
        for day in shift["days"]:
            since = (minute_of_week - WEEKDAYS.index(day) * 1440 - begin) % 10_080
            pauses = [
                ((minutes(one) - begin) % 1440, (minutes(other) - begin) % 1440)
                for one, other in shift["breaks"]
            ]
            if since < length and not any(first <= since < last for first, last in pauses):
                count += shift["crew"]
    return min(count, COUNT)


def check_drivers(stated: list[dict], model: list[dict], start: str = "2027-03-03T03:30:00") -> None:
    """At each minute as many trucks at work as drivers, no task begun without one."""
    place = busy_site(model, start=start)
    visits = simulate_traffic(place, 0).visits
    begin = np.sort(visits.arrive)
    offset = (int(start[8:10]) - 1) * 1440 + minutes(start[11:16])
    duty = np.array([drivers_at(stated, (offset + minute) % 10_080) for minute in range(14 * 1440)])
    holds(duty[(begin // 60.0).astype(int)] > 0, "no task begins while nobody is on duty")
    changes = np.flatnonzero(np.diff(duty, prepend=0)) * 60.0
    probe = np.arange(30.0, place.scenario.duration_s - 60.0, 60.0)
    last_change = changes[np.maximum(np.searchsorted(changes, probe, side="right") - 1, 0)]
    quiet = (probe - last_change > TASK_S + 10.0) & (probe > 7200.0)
    busy = np.searchsorted(begin, probe, side="right") - np.searchsorted(begin + TASK_S, probe, side="right")
    equals(busy[quiet], duty[(probe[quiet] // 60.0).astype(int)], 0.0, "trucks at work")
    assert set(duty[(probe[quiet] // 60.0).astype(int)]) >= {0, 1, 3, 4, 6}


def test_as_many_trucks_work_as_drivers_are_there():
    shifts = [EARLY, LATE, NIGHT]
    check_drivers(shifts, shifts)
    # 1 March 2027 is a Monday: the night shift of the Sunday before is at work until six
    check_drivers(shifts, shifts, "2027-03-01T00:00:00")
    with spoilt("one driver more"):
        check_drivers(shifts, [EARLY, LATE | {"crew": 5}, NIGHT])
    with spoilt("no break at night"):
        check_drivers(shifts, [EARLY, LATE, NIGHT | {"breaks": []}])
    with spoilt("a break ten minutes late"):
        check_drivers(shifts, [EARLY | {"breaks": [["09:10", "09:30"], ["12:00", "12:30"]]}, LATE, NIGHT])
    with spoilt("the night shift on Saturday instead of Friday"):
        check_drivers(shifts, [EARLY, LATE, NIGHT | {"days": ["Sat", "Sun"]}])


def check_idle_time(breaks: list[list[str]]) -> None:
    """With little work too: nothing begins in a break or at night, and what came up then waits."""
    place = prepare_site(
        scenario(
            aisles=1,
            hours=28 * 24.0,
            floor={"aisle_length_m": 1e-3},
            trucks=[TRUCK | {"count": 3, "handling_mean_s": 60.0, "speed_empty_m_per_s": 20.0}],
            shifts=[{"trucks": "reach", "from": "06:00", "to": "14:00", "crew": 2, "breaks": breaks}],
            work=[{"name": "out", "kind": "retrieve", "per_hour": 3.0}],
        )
    )
    traffic = simulate_traffic(place, 0)
    minute = traffic.visits.arrive // 60.0 % 1440
    holds((minute >= 360) & (minute < 840), "in the shift alone")
    holds((minute < 540) | (minute >= 560), "not in the break")
    # 16 hours of work wait for 06:00: trucks start at once
    equals(np.sum(minute == 360), 2 * 28, 0.0, "both trucks begin when the shift does")


def test_little_work_waits_for_the_drivers():
    check_idle_time([["09:00", "09:20"]])
    with spoilt("no break"):
        check_idle_time([])


def check_groups(trucks_of_deep: list[str]) -> None:
    """A stream of work that names its trucks is done by them alone; one that names none by any."""
    groups = [TRUCK | {"name": name, "count": 3} for name in ("reach", "counter")]
    place = prepare_site(
        scenario(
            aisles=3,
            hours=48.0,
            trucks=groups,
            work=[
                {
                    "name": "deep",
                    "kind": "retrieve",
                    "per_hour": 60.0,
                    "aisle_shares": [1, 0, 0.0],
                    "trucks": trucks_of_deep,
                },
                {
                    "name": "floor",
                    "kind": "retrieve",
                    "per_hour": 60.0,
                    "aisle_shares": [0, 1, 0.0],
                    "trucks": ["counter"],
                },
                {"name": "any", "kind": "retrieve", "per_hour": 60.0, "aisle_shares": [0, 0, 1.0]},
            ],
        )
    )
    visits = simulate_traffic(place, 0).visits
    group = np.array([name.rsplit("-", 1)[0] for name in visits.truck_names])[visits.truck]
    holds(group[visits.aisle == 0] == "reach", "the deep aisle by reach trucks")
    holds(group[visits.aisle == 1] == "counter", "the floor aisle by the others")
    assert set(group[visits.aisle == 2]) == {"reach", "counter"}
    # all are done: capacity is ample
    equals(len(visits), 3 * 60 * 48, 4.0 * np.sqrt(3 * 60 * 48), "visits")


def test_work_that_names_its_trucks():
    check_groups(["reach"])
    with spoilt("others may do it too"):
        check_groups(["reach", "counter"])
