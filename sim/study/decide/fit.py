"""What every combination of candidate settings does in every zone, on the replications fitted to.

Comes in: a `Wish`.  Goes out: `Fit`: means over replications by zone and combination, exact, border terms
between the periods of a combination included.  Before: `study/decide/wish`, `study/ages/evaluate`; after:
`study/decide/recommend`.

Where the timetable has so many names that their combinations are too many, each name first gets a short
list: the candidates that are nearest to the hull for some aisle, when the names are looked at one by one.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.floor.layout import lay_out
from sim.records import FloatColumn, IntColumn
from sim.replication import prepare_site
from sim.scenario.schema import Scenario, Settings
from sim.study.ages.evaluate import evaluate_settings
from sim.study.clock_hours import visits_by_zone
from sim.study.decide.assign import Columns, drop_beaten, reduced_costs
from sim.study.decide.measures import Base
from sim.study.decide.wish import Wish
from sim.study.engine import map_in_order
from sim.study.relight import simulate_for_lights
from sim.units import SECONDS_PER_HOUR

__all__ = ["MOST_COMBINATIONS", "SERVICE", "Fit", "fit_settings", "place_sums"]

MOST_COMBINATIONS = 10_000
"""Combinations of candidates over the timetable's names that are evaluated in full."""
_MOST_CELLS = 8_000_000
"""Zones times combinations that are held in full."""
_BLOCK = 1_000_000
"""Zones times combinations evaluated at once: what bounds the memory."""

SERVICE: tuple[str, ...] = ("dim_truck_s", "shortfall_truck_s", "dim_entries", "false_offs", "switch_ups")
"""What drivers notice; none of it may be worse where plans are compared at equal service."""

Table = NDArray[np.float64]


@dataclass(frozen=True)
class Fit:
    """Means over replications.

    Attributes
    ----------
    names : the timetable's names (T,)
    combinations : index of the candidate under each name (K, T)
    allowed : which place may have which combination (P, K)
    outcomes : by name, of every zone (Z, K)
    zone_place : place of each zone (Z,)
    site, zone : what measures divide by, for the site () and for each zone (Z,)
    is_complete : whether these are all combinations, not a short list
    replayed : combinations that could not be summed in some zone and were replayed there
    """

    names: tuple[str, ...]
    combinations: IntColumn
    allowed: NDArray[np.bool_]
    outcomes: Mapping[str, Table]
    zone_place: IntColumn
    site: Base
    zone: Base
    is_complete: bool
    replayed: int = 0

    def __len__(self) -> int:
        return len(self.combinations)

    def settings(self, wish: Wish, combination: int) -> dict[str, Settings]:
        """Return the settings of a combination by the timetable's name."""
        places = self.combinations[combination].tolist()
        return {
            name: wish.offer.candidates[name][place] for name, place in zip(self.names, places, strict=True)
        }


def place_sums(fit: Fit, name: str) -> Table:
    """Return an outcome of every place, its zones added (P, K)."""
    table = fit.outcomes[name]
    starts = np.flatnonzero(np.diff(fit.zone_place, prepend=-1))
    return np.add.reduceat(table, starts, axis=0)


@dataclass(frozen=True)
class _Task:
    """One replication to evaluate."""

    scenario: Scenario
    replication: int
    candidates: Mapping[str, tuple[Settings, ...]]
    combinations: IntColumn
    outcomes: tuple[str, ...]


def _evaluate(task: _Task) -> tuple[dict[str, Table], FloatColumn, float, int]:
    """Return the outcomes (Z, K), the visits of each zone and of the site, and combinations replayed."""
    site = prepare_site(task.scenario)
    traffic = simulate_for_lights(site, task.replication)
    names = list(task.candidates)
    zones = len(site.layout.zones)
    block = max(1, _BLOCK // zones)
    parts: list[dict[str, Table]] = []
    count = 0
    for first in range(0, len(task.combinations), block):
        choices = [
            {
                **task.scenario.lighting.settings,
                **{name: task.candidates[name][place] for name, place in zip(names, row, strict=True)},
            }
            for row in task.combinations[first : first + block].tolist()
        ]
        replayed = np.zeros(len(choices), dtype=np.int64)
        found = evaluate_settings(site, traffic, choices, by_zone=True, replayed=replayed)
        count += int(np.count_nonzero(replayed))
        parts.append({name: found[name] for name in task.outcomes})
    assert traffic.visits is not None
    joined = {name: np.concatenate([part[name] for part in parts], axis=1) for name in task.outcomes}
    return joined, visits_by_zone(site, traffic.visits), float(len(traffic.visits)), count


def _means(
    wish: Wish,
    combinations: IntColumn,
    outcomes: Sequence[str],
    replications: Sequence[int],
    workers: int,
    tell: Callable[[], None],
) -> tuple[dict[str, Table], FloatColumn, float, int]:
    """Average over replications, in their order; count the combinations replayed in any one at most."""
    tasks = [
        _Task(
            wish.flat,
            number,
            {name: wish.offer.candidates[name] for name in wish.offer.names},
            combinations,
            tuple(outcomes),
        )
        for number in replications
    ]
    total: dict[str, Table] = {}
    zone_visits, site_visits, replayed = np.zeros(0), 0.0, 0
    for found, visits, count, slow in map_in_order(_evaluate, tasks, workers):
        replayed = max(replayed, slow)
        zone_visits = visits if not total else zone_visits + visits
        site_visits += count
        total = found if not total else {name: total[name] + found[name] for name in outcomes}
        tell()
    share = 1.0 / len(tasks)
    means = {name: share * table for name, table in total.items()}
    return means, share * zone_visits, share * site_visits, replayed


def fit_settings(
    wish: Wish, replications: Sequence[int], *, workers: int = 1, tell: Callable[[], None] = lambda: None
) -> Fit:
    """Evaluate combinations of candidates in every zone.

    Parameters
    ----------
    wish : what is asked
    replications : numbers of the replications to fit to
    workers : processes
    tell : called after each replication evaluated
    """
    outcomes = tuple(
        dict.fromkeys(
            (
                wish.aim.outcome,
                *(limit.measure.outcome for limit in wish.limits),
                *SERVICE,
                "energy_kwh",
                "time_at_low_h",
            )
        )
    )
    sizes = [len(wish.offer.candidates[name]) for name in wish.offer.names]
    listed = [np.arange(size) for size in sizes]
    zone_place = lay_out(wish.flat).zone_place
    zones = len(zone_place)
    most = max(16, min(MOST_COMBINATIONS, _MOST_CELLS // zones))
    is_complete = math.prod(sizes) <= most
    if not is_complete:
        singles = np.array(list(_singles(sizes)), dtype=np.int64)
        table, visits, count, _ = _means(wish, singles, outcomes, replications, workers, tell)
        listed = _short_lists(wish, sizes, most, table, _bases(wish, visits, count)[0], zone_place)
    combinations = np.array(list(itertools.product(*(one.tolist() for one in listed))), dtype=np.int64)
    table, visits, count, replayed = _means(wish, combinations, outcomes, replications, workers, tell)
    site, zone = _bases(wish, visits, count)
    allowed = np.ones((len(wish.flat.places), len(combinations)), dtype=bool)
    for column, name in enumerate(wish.offer.names):
        allowed &= wish.offer.allowed[name][:, combinations[:, column]]
    return Fit(wish.offer.names, combinations, allowed, table, zone_place, site, zone, is_complete, replayed)


def _bases(wish: Wish, zone_visits: FloatColumn, site_visits: float) -> tuple[Base, Base]:
    """What measures divide by, for the site and for each zone."""
    days = wish.flat.days
    hours = wish.flat.duration_s / SECONDS_PER_HOUR
    zones = len(zone_visits)
    whole = np.ones(zones)
    return (
        Base(np.array(site_visits), np.array(days), np.array(hours), np.array(float(zones))),
        Base(zone_visits, days * whole, hours * whole, whole),
    )


def _middles(sizes: Sequence[int]) -> list[int]:
    """The candidate in the middle of each list."""
    return [size // 2 for size in sizes]


def _singles(sizes: Sequence[int]) -> Iterator[list[int]]:
    """All middles, then each name's candidates with the other names at their middle."""
    yield _middles(sizes)
    for column, size in enumerate(sizes):
        for place in range(size):
            row = _middles(sizes)
            row[column] = place
            yield row


def _short_lists(
    wish: Wish,
    sizes: Sequence[int],
    most: int,
    table: Mapping[str, Table],
    site: Base,
    zone_place: IntColumn,
) -> list[IntColumn]:
    """Pick so many candidates of each name that all their combinations can be evaluated."""
    each = max(2, int(most ** (1.0 / len(sizes)) + 1e-9))
    starts = np.flatnonzero(np.diff(zone_place, prepend=-1))
    places = len(starts)
    by_place = {name: np.add.reduceat(rows, starts, axis=0) for name, rows in table.items()}
    limits = [limit for limit in wish.limits if limit.scope == "site"]
    base = {name: rows[:, 0] for name, rows in by_place.items()}
    unit, label, cost = [], [], []
    use: list[list[float]] = [[] for _ in limits]
    offsets = np.concatenate([[0], np.cumsum(sizes)])
    for home in range(places):
        for column, name in enumerate(wish.offer.names):
            for place in np.flatnonzero(wish.offer.allowed[name][home]).tolist():
                at = 1 + int(offsets[column]) + place
                unit.append(home * len(sizes) + column)
                label.append(place)
                cost.append(float(by_place[wish.aim.outcome][home, at] - base[wish.aim.outcome][home]))
                for line, limit in zip(use, limits, strict=True):
                    outcome = limit.measure.outcome
                    line.append(float(by_place[outcome][home, at] - base[outcome][home]))
    most_used = np.array(
        [
            limit.fitted * float(limit.measure.divisor(site)) - math.fsum(base[limit.measure.outcome])
            for limit in limits
        ]
    )
    columns = Columns(
        np.array(unit),
        np.array(label),
        np.array(cost),
        np.array(use).reshape(len(limits), len(unit)),
        most_used,
    )
    return _nearest_to_hull(drop_beaten(columns), sizes, each)


def _nearest_to_hull(columns: Columns, sizes: Sequence[int], most: int) -> list[IntColumn]:
    """Let the aisles pick in turn, each its next candidate by reduced cost, until the lists are full."""
    reduced = reduced_costs(columns)
    wanted: list[list[list[int]]] = [[] for _ in sizes]
    ends = np.append(columns.starts[1:], len(columns))
    for first, last in zip(columns.starts.tolist(), ends.tolist(), strict=True):
        order = first + np.argsort(reduced[first:last], kind="stable")
        wanted[int(columns.unit[first]) % len(sizes)].append(columns.label[order].tolist())
    lists = []
    for size, queues in zip(sizes, wanted, strict=True):
        if size <= most:
            lists.append(np.arange(size))
            continue
        chosen: dict[int, None] = {}
        for turn in itertools.zip_longest(*queues):
            for place in turn:
                if place is not None and len(chosen) < most:
                    chosen.setdefault(place)
        lists.append(np.array(sorted(chosen), dtype=np.int64))
    return lists
