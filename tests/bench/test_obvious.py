"""The obvious model, lights in its event loop, is an oracle too: the same lights as the program's."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sim.replication import Site, Traffic, prepare_site, replay_site, simulate_traffic
from sim.scenario.schema import Settings
from sim.study.ages.evaluate import evaluate_settings
from tests.bench.bench_ages import two_periods
from tests.bench.obvious import Books, run_obvious
from tests.bench.site import bench_site
from tests.truth.truth_scenes import equals, holds, spoilt

PAIRS = {
    "low_s": ("time_at_low_h", 3600.0),
    "lit_empty_s": ("lit_empty_h", 3600.0),
    "dim_truck_s": ("dim_truck_s", 1.0),
    "shortfall_truck_s": ("shortfall_truck_s", 1.0),
    "ups": ("switch_ups", 1.0),
    "downs": ("switch_downs", 1.0),
    "false_offs": ("false_offs", 1.0),
    "dim_entries": ("dim_entries", 1.0),
    "timetable_changes": ("timetable_changes", 1.0),
}
COUNTS = {"ups", "downs", "false_offs", "dim_entries", "timetable_changes"}


def short_site(days: float, still_rate_per_min: float) -> Site:
    """Return the bench's site with a day and a night, timeouts so short that lights go down on trucks."""
    scenario = two_periods(bench_site(days)).scenario
    sensors = scenario.sensors.model_copy(update={"still_rate_per_min": still_rate_per_min})
    short = {"day": 45.0, "night": 30.0}
    settings = {
        name: one.model_copy(update={"timeout_s": short[name]})
        for name, one in scenario.lighting.settings.items()
    }
    lighting = scenario.lighting.model_copy(update={"settings": settings})
    return prepare_site(scenario.model_copy(update={"sensors": sensors, "lighting": lighting}))


def column(books: list[Books], name: str) -> np.ndarray:
    """Return one figure of every zone."""
    return np.array([getattr(one, name) for one in books], dtype=float)


def check_lights(site: Site, traffic: Traffic, books: list[Books]) -> None:
    """Every additive outcome of every zone, from the replay and from the age view."""
    replayed = replay_site(site, traffic)[0].zones
    summed = evaluate_settings(site, traffic, [site.scenario.lighting.settings], by_zone=True)
    for own, (name, scale) in PAIRS.items():
        wanted, slack = column(books, own), 0.0 if own in COUNTS else 1e-4
        equals(scale * np.asarray(replayed[name]), wanted, slack, f"{name}, replay")
        equals(scale * summed[name][:, 0], wanted, slack, f"{name}, age view")
    joules = column(books, "joules") * site.layout.dimmed
    equals(replayed["energy_kwh"] * 3.6e6, joules, 1e-9 * joules.max(), "energy, replay")
    equals(summed["energy_kwh"][:, 0] * 3.6e6, joules, 1e-9 * joules.max(), "energy, age view")


@pytest.mark.slow
def test_the_obvious_model_gives_the_same_lights():
    """Two days of 40 aisles, day and night, fades: visits to a microsecond, counts exactly.

    The sensors see no standing truck, so that nothing is drawn.
    """
    site = short_site(2.0, 0.0)
    traffic = simulate_traffic(site, 0)
    books, slow = run_obvious(site)
    assert traffic.visits is not None
    ended = traffic.visits.leave < site.scenario.duration_s
    equals(np.sort(traffic.visits.enter[ended]), sorted(one.enter for one in slow), 1e-6, "entries")
    assert column(books, "ups").sum() > 1000
    assert column(books, "false_offs").sum() > 100
    assert column(books, "timetable_changes").sum() > 50
    check_lights(site, traffic, books)

    def changed(**keys: float) -> Site:
        settings = {
            name: Settings(**{**one.model_dump(), **keys})
            for name, one in site.scenario.lighting.settings.items()
        }
        lighting = site.scenario.lighting.model_copy(update={"settings": settings})
        return prepare_site(site.scenario.model_copy(update={"lighting": lighting}))

    for words, keys in (
        ("one more second of timeout", {"timeout_s": 46.0}),
        ("another level", {"unoccupied_level": 0.31}),
        ("another fade", {"fade_down_s": 11.0}),
    ):
        with spoilt(words):
            check_lights(changed(**keys), traffic, books)
    with spoilt("sensors that see 1 m less"):
        sensors = site.scenario.sensors.model_copy(update={"range_m": 8.0})
        near = prepare_site(site.scenario.model_copy(update={"sensors": sensors}))
        check_lights(near, simulate_traffic(near, 0), books)


@pytest.mark.slow
def test_the_obvious_model_draws_pulses_alike():
    """With pulses of its own draws the means over zones agree within 4 standard errors of the difference."""
    site = short_site(4.0, 2.0)
    traffic = simulate_traffic(site, 0)
    replayed = replay_site(site, traffic)[0].zones

    def check(books: list[Books]) -> None:
        for own in ("low_s", "ups", "false_offs", "dim_truck_s"):
            name, scale = PAIRS[own]
            gap = column(books, own) - scale * np.asarray(replayed[name])
            error = float(np.std(gap, ddof=1)) / math.sqrt(len(gap))
            holds(abs(float(gap.mean())) <= 4.0 * error, f"{name}: {gap.mean():.3g} +- {error:.3g}")

    check(run_obvious(site)[0])
    with spoilt("half the pulses"):
        check(run_obvious(short_site(4.0, 1.0))[0])
