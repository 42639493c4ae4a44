"""Small sites and made-up traffic for the outside checks, and the one way to compare with a known value.

Comes in: a few numbers.  Goes out: a prepared site, detections, visits, outcomes.  Every aisle of such a site
is an independent repetition of the same experiment, so one replay gives hundreds of them.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import numpy as np

from sim.records import Stays, Visits
from sim.replication import Site, Traffic, prepare_site, replay_site
from sim.results import CloseLook, Levels, Outcomes
from sim.scenario.schema import Scenario
from sim.sensing.coverage import unite
from sim.traffic.paths import VISIT_TASKS, stays_in_zones

ALWAYS = [{"from": "00:00", "to": "24:00", "settings": "day"}]
TRUCK = {
    "name": "reach",
    "count": 60,
    "speed_laden_m_per_s": 2.5,
    "speed_empty_m_per_s": 2.5,
    "handling_mean_s": 30.0,
}
RETRIEVE = {"name": "retrieval", "kind": "retrieve", "per_hour": 6.0}


class DisagreementError(AssertionError):
    """A figure is not what the theory says."""


def agrees(found: float, expected: float, standard_error: float, what: str, k: float = 4.0) -> None:
    """Raise unless a figure lies within k standard errors of its expected value."""
    away = abs(found - expected)
    if not away <= k * standard_error:
        raise DisagreementError(
            f"{what}: {found:.8g}, theory {expected:.8g}: {away / standard_error:.2f} standard errors away"
        )


def equals(found: Any, expected: Any, tolerance: float, what: str) -> None:
    """Raise unless figures agree to an absolute tolerance."""
    away = np.max(np.abs(np.asarray(found, float) - np.asarray(expected, float)), initial=0.0)
    if not away <= tolerance:
        raise DisagreementError(f"{what}: {found}, theory {expected}: {away:.3g} away")


def holds(is_true: Any, what: str) -> None:
    """Raise unless a statement is true throughout."""
    if not np.all(is_true):
        raise DisagreementError(f"does not hold: {what}")


@contextmanager
def spoilt(why: str) -> Iterator[None]:
    """Negative control: the check inside runs on a spoilt model and has to notice it."""
    try:
        yield
    except DisagreementError:
        return
    raise AssertionError(f"the check did not notice the spoilt model: {why}")


def scenario(
    *,
    aisles: int | list[str] = 1,
    hours: float = 9.0,
    day: dict[str, Any] | None = None,
    floor: dict[str, Any] | None = None,
    luminaires: dict[str, Any] | None = None,
    sensors: dict[str, Any] | None = None,
    trucks: list[dict[str, Any]] | None = None,
    work: list[dict[str, Any]] | None = None,
    shifts: list[dict[str, Any]] | None = None,
    start: str = "2027-03-01T00:00:00",
    **more: Any,
) -> Scenario:
    """Return a scenario from what matters in a test; one setting all week, drivers for every truck."""
    trucks = trucks or []
    if shifts is None:
        shifts = [
            {"trucks": group["name"], "from": "00:00", "to": "24:00", "crew": group["count"]}
            for group in trucks
        ]
    content = {
        "format": 1,
        "start": dt.datetime.fromisoformat(start),
        "days": hours / 24.0,
        "seed": 7,
        "floor": {"aisles": aisles, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0} | (floor or {}),
        "luminaires": {"per_aisle": 10, "full_w": 100.0} | (luminaires or {}),
        "sensors": {"at": "every", "range_m": 60.0} | (sensors or {}),
        "lighting": {"settings": {"day": {"unoccupied_level": 0.2, "timeout_s": 600.0} | (day or {})}},
        "timetable": ALWAYS,
        "trucks": trucks,
        "shifts": shifts,
        "work": work or [],
    } | more
    return Scenario.model_validate(content)


def site(**keys: Any) -> Site:
    """Return the prepared site of `scenario`."""
    return prepare_site(scenario(**keys))


def replay(
    place: Site, zone: np.ndarray, start: np.ndarray, end: np.ndarray, visits: Visits | None = None
) -> tuple[Outcomes, CloseLook]:
    """Let the lights answer to given motion; what lies past the end of the run is cut."""
    finish = place.scenario.duration_s
    inside = start < finish
    motion = unite(zone[inside], start[inside], np.minimum(end[inside], finish))
    stays: Stays | None = None if visits is None else stays_in_zones(place.layout, visits)
    return replay_site(place, Traffic(visits, stays, motion, 0))


def drawn_ways(number: int, aisles: int, places_m: Sequence[float]) -> dict[str, Any]:
    """Draw keys of a floor: one or two middle cross-aisles among some places, and each aisle's direction."""
    rng = np.random.default_rng([number, 1])
    cross = sorted({float(place) for place in rng.choice(places_m, 2)})
    way = rng.integers(-1, 2, aisles)
    ahead, back = ([f"A{k + 1:02d}" for k in np.flatnonzero(way == sign)] or None for sign in (1, -1))
    return {"cross_aisles_m": cross, "one_way": ahead, "one_way_from_back": back}


def poisson_times(
    rng: np.random.Generator, aisles: int, rate_per_s: float, end_s: float
) -> tuple[np.ndarray, np.ndarray]:
    """Draw independent Poisson processes, one an aisle: aisle and time of each event."""
    counts = rng.poisson(rate_per_s * end_s, aisles)
    return np.repeat(np.arange(aisles), counts), rng.random(int(counts.sum())) * end_s


def plain_visits(aisle: np.ndarray, enter: np.ndarray, leave: np.ndarray, end_s: float) -> Visits:
    """Return visits of which nothing but aisle and times is known."""
    keep = np.flatnonzero(enter < end_s)
    order = keep[np.argsort(enter[keep], kind="stable")]
    count = len(order)
    nothing = np.zeros(count)
    return Visits(
        aisle=aisle[order],
        enter=enter[order],
        leave=np.minimum(leave[order], end_s),
        truck=np.zeros(count, dtype=np.int64),
        bay_m=np.full(count, np.nan),
        task=np.full(count, VISIT_TASKS.index("unknown")),
        enters_back=np.zeros(count, dtype=bool),
        leaves_back=np.zeros(count, dtype=bool),
        arrive=enter[order],
        run_in_m=nothing,
        run_before_m=nothing,
        run_speed=np.ones(count),
        run_acceleration=nothing,
        truck_names=("truck",),
        task_names=VISIT_TASKS,
        moves=None,
        drives=None,
    )


def after(outcomes: Outcomes, name: str, first_hour: int = 1) -> float:
    """Sum an additive outcome over all zones and the hours from `first_hour` on."""
    return float(np.sum(outcomes.hours[name][first_hour:]))


def high_spans(levels: Levels) -> tuple[np.ndarray, np.ndarray]:
    """Return start and end of each time a zone's command is high."""
    turns = np.diff(np.concatenate([[0], levels.is_high.astype(int), [0]]))
    edges = np.append(levels.start, levels.end[-1])
    return edges[np.flatnonzero(turns == 1)], edges[np.flatnonzero(turns == -1)]
