"""The age view against the replay: every additive outcome of many settings, on random traffic.

Counts must agree exactly, sums to 1e-9 of their size or 1e-6. Negative controls spoil one side and must be
found; the demos show that the sums do the work and do not fall back on the replay.
"""

from __future__ import annotations

import math
import tracemalloc
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, find, given, settings
from hypothesis import strategies as st

import sim
from sim.outcome.names import OUTCOMES
from sim.records import Detections
from sim.replication import Traffic, prepare_site, simulate_traffic
from sim.scenario.tables.daylight import Skylight
from sim.study.ages.evaluate import (
    ADDITIVE,
    evaluate_by_replay,
    evaluate_settings,
    lay_weeks,
    sort_zone,
    zone_lamps,
)
from sim.study.ages.plan import lay_out_choices
from sim.study.ages.sums import RunningSums, last_before
from sim.study.ages.zone import evaluate_zone
from tests.lighting.engines import site as small_site
from tests.lighting.strategies import Example
from tests.study.traffics import Case, Choice, cases, record_traffic, stretch

COUNTS = (
    "dim_entries",
    "false_offs",
    "switch_ups",
    "switch_downs",
    "timetable_changes",
    "visits",
)
QUICK = settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True)
SEEK = settings(QUICK, phases=[Phase.generate])
LONG = settings(max_examples=5000, deadline=None, suppress_health_check=list(HealthCheck))
DEMOS = ("pallet-reserve", "narrow-aisles", "cross-dock")


def differences(fast: dict[str, np.ndarray], slow: dict[str, np.ndarray]) -> Iterator[str]:
    """Say where two answers differ."""
    assert fast.keys() == slow.keys() == set(ADDITIVE)
    for name, wanted in slow.items():
        found = fast[name]
        assert found.shape == wanted.shape
        for place, value in np.ndenumerate(wanted):
            if not agrees(name, float(found[place]), float(value)):
                yield f"{name} {place}: {found[place]}, by replay {value}"


def agrees(name: str, found: float, wanted: float) -> bool:
    """Compare one outcome: counts exactly, seconds to a microsecond, all to 1e-9."""
    if math.isnan(wanted) or name in COUNTS:
        return found == wanted or (math.isnan(found) and math.isnan(wanted))
    return math.isclose(found, wanted, rel_tol=1e-9, abs_tol=1e-6 if OUTCOMES[name].unit == "s" else 1e-9)


def compare(case: Case, spoiled: list[Choice] | None = None, leave_out: str = "") -> list[str]:
    """Evaluate by zone and for the site, both ways; one outcome may be left out."""
    found = []
    for by_zone in (True, False):
        fast = evaluate_settings(case.site, case.traffic, spoiled or case.choices, by_zone=by_zone)
        slow = evaluate_by_replay(case.site, case.traffic, case.choices, by_zone=by_zone)
        found += list(differences(fast, slow))
    return [line for line in found if not leave_out or not line.startswith(leave_out)]


def spoil(choices: list[Choice], **values: float) -> list[Choice]:
    """Change some values of every setting."""
    return [{name: one.model_copy(update=values) for name, one in choice.items()} for choice in choices]


@given(cases(is_grid=True))
@QUICK
def test_every_outcome_where_instants_coincide(case: Case) -> None:
    assert compare(case) == []


@given(cases(is_grid=False))
@QUICK
def test_every_outcome_at_arbitrary_instants(case: Case) -> None:
    assert compare(case) == []


@given(cases(is_grid=True), st.sampled_from((0.73, 0.1, 1.0 / 3.0)))
@QUICK
def test_every_outcome_where_instants_coincide_but_for_rounding(case: Case, factor: float) -> None:
    """Whether a light that has fallen for a moment of rounding is dim is a matter of its last digit."""
    assert compare(stretch(case, factor), leave_out="dim_truck_s") == []


CAPS = st.lists(st.sampled_from((1.0, 0.8, 0.35, 0.2, 0.0)), min_size=24, max_size=24)


def skylit(case: Case, caps: list[float], aisles: tuple[str, ...] | None = None) -> Case:
    """Put skylights over a site: each hour of the day has a cap."""
    skylight = Skylight(aisles=aisles, caps=(tuple(caps),) * 12)
    return replace(case, site=prepare_site(case.site.scenario.model_copy(update={"skylight": skylight})))


@given(st.booleans().flatmap(lambda is_grid: cases(is_grid=is_grid)), CAPS, st.booleans())
@QUICK
def test_every_outcome_under_daylight(case: Case, caps: list[float], is_everywhere: bool) -> None:
    under = None if is_everywhere else case.site.scenario.aisle_names[:1]
    assert compare(skylit(case, caps, under)) == []


def test_open_areas_have_no_skylights() -> None:
    """Skylights over all aisles, in every hour a cap below 1: the area beside them keeps its own levels."""
    scenario = sim.load("cross-dock").model_copy(
        update={"skylight": Skylight(aisles=None, caps=((0.5,) * 24,) * 12), "days": 0.4}
    )
    site = prepare_site(scenario)
    traffic = simulate_traffic(site, 0)
    choices = [dict(scenario.lighting.settings)]
    fast, slow = evaluate_settings(site, traffic, choices), evaluate_by_replay(site, traffic, choices)
    assert list(differences(fast, slow)) == []
    bare = prepare_site(scenario.model_copy(update={"skylight": None}))
    capped, plain = (
        evaluate_settings(one, traffic, choices, by_zone=True)["energy_kwh"][..., 0] for one in (site, bare)
    )
    aisles = site.layout.zones_in_aisles
    assert capped[aisles:].tolist() == plain[aisles:].tolist() != []
    assert (capped[:aisles] < plain[:aisles]).all(), "the check would see a cap over the area"


def test_another_cap_is_told_apart() -> None:
    """Negative control: caps an hour later are found."""

    def later(case: Case) -> bool:
        caps = [0.2, 1.0, 0.35] * 8
        fast = evaluate_settings(skylit(case, caps[1:] + caps[:1]).site, case.traffic, case.choices)
        return any(differences(fast, evaluate_by_replay(skylit(case, caps).site, case.traffic, case.choices)))

    find(cases(is_grid=True), later, settings=SEEK)


@pytest.mark.slow
@given(cases(is_grid=True), st.floats(0.05, 3.0))
@LONG
def test_every_outcome_but_for_rounding_many_times(case: Case, factor: float) -> None:
    assert compare(stretch(case, factor), leave_out="dim_truck_s") == []


@pytest.mark.slow
@given(st.booleans().flatmap(lambda is_grid: cases(is_grid=is_grid)))
@LONG
def test_every_outcome_many_times(case: Case) -> None:
    assert compare(case) == []


@pytest.mark.parametrize(
    "values",
    [
        {"timeout_s": 101.0},
        {"fade_down_s": 7.0},
        {"fade_up_s": 3.0},
        {"unoccupied_level": 0.4, "second_level": 0.4},
    ],
)
def test_other_settings_are_told_apart(values: dict[str, float]) -> None:
    """Negative control: the comparison finds settings that are not those that were replayed."""
    found = find(
        cases(is_grid=True), lambda case: bool(compare(case, spoil(case.choices, **values))), settings=SEEK
    )
    assert compare(found) == []


def test_another_traffic_is_told_apart() -> None:
    """Negative control: one second more of motion is found."""

    def longer(case: Case) -> bool:
        seen = case.traffic.detections
        later = Traffic(
            case.traffic.visits, case.traffic.stays, Detections(seen.zone, seen.start, seen.end + 1.0), 0
        )
        fast = evaluate_settings(case.site, later, case.choices)
        return any(differences(fast, evaluate_by_replay(case.site, case.traffic, case.choices)))

    find(cases(is_grid=True), longer, settings=SEEK)


def vary(choice: Choice, count: int) -> list[Choice]:
    """Draw settings around those of a demo."""
    rng = np.random.default_rng(1)
    return [choice] + [
        {
            name: one.model_copy(
                update={
                    "timeout_s": float(rng.uniform(60.0, 1500.0)),
                    "occupied_level": float(rng.choice([0.8, 1.0])),
                    "unoccupied_level": float(rng.choice([0.1, 0.3])),
                    "fade_down_s": float(rng.choice([0.0, 5.0, 30.0])),
                    "second_delay_s": float(rng.uniform(0.0, 900.0)),
                    "second_level": float(rng.choice([0.0, 0.1])),
                }
            )
            for name, one in choice.items()
        }
        for _ in range(count)
    ]


@pytest.mark.parametrize("name, is_skylit", [*((name, False) for name in DEMOS), ("pallet-reserve", True)])
def test_a_demo_needs_no_replay_and_agrees_with_one(name: str, is_skylit: bool) -> None:
    scenario = sim.load(name).model_copy(update={"days": 3.0})
    if is_skylit:
        caps = (*[1.0] * 7, *np.linspace(1.0, 0.0, 6), *np.linspace(0.1, 0.9, 6), *[1.0] * 5)
        scenario = scenario.model_copy(update={"skylight": Skylight(caps=(caps,) * 12)})
    ready = prepare_site(scenario)
    traffic = simulate_traffic(ready, 0)
    choices = vary(dict(scenario.lighting.settings), 5)
    assert compare(Case(ready, traffic, choices)) == []
    replayed = np.zeros(len(choices), dtype=np.int64)
    evaluate_settings(ready, traffic, choices, replayed=replayed)
    assert not replayed.any()
    plan, weeks = lay_out_choices(scenario, choices), lay_weeks(scenario)
    for zone, place in enumerate(ready.layout.zone_place.tolist()):
        hold_s = ready.layout.place_sensors[place].hold_s
        pieces = sort_zone(traffic, zone, weeks[place])
        assert not evaluate_zone(pieces, plan, zone_lamps(ready, zone), hold_s)[1].any()


def test_one_gap_by_hand() -> None:
    """A gap of 1000 s, delay 100 s, fades 40 s down and 10 s up, from full to 0.2 of 1000 W.

    Low from 100 s on: 900 s.  The light misses 0.8 over them, but half of that in the fade-down, and half of
    it in the fade-up after them; the run starts low too, and motion at 0 brings the light up.  Power is
    1 kW x level.  One truck is there from 600 s to 700 s after the motion, in 0.2 of the light; another one
    comes 990 s after it, is met by the switch-up 10 s later, and sees 5 s of the fade-up.
    """
    scenario = small_site(
        {"unoccupied_level": 0.2, "timeout_s": 100.0, "fade_up_s": 10.0, "fade_down_s": 40.0}
    )
    ready, end_s = prepare_site(scenario), scenario.duration_s
    motion = [("A01", 0.0, 1000.0), ("A01", 2000.0, end_s)]
    visits = [("A01", 1600.0, 1700.0, 1600.0), ("A01", 1990.0, 2005.0, 1990.0)]
    traffic = record_traffic(ready, Example(scenario, motion, visits, None))
    found = {
        name: float(column[0])
        for name, column in evaluate_settings(ready, traffic, [dict(scenario.lighting.settings)]).items()
    }
    missing_s = 0.8 * 10.0 / 2 + 0.8 * (900.0 - 40.0 / 2) + 0.8 * 10.0 / 2
    assert found["energy_kwh"] == pytest.approx((end_s - missing_s) / 3600.0, rel=1e-12)
    assert found["time_at_low_h"] == pytest.approx(900.0 / 3600.0, rel=1e-12)
    assert found["lit_empty_h"] == pytest.approx((end_s - 900.0 - 5.0) / 3600.0, rel=1e-12)
    assert found["dim_truck_s"] == pytest.approx(100.0 + 10.0 + 5.0, rel=1e-12)
    # over the fade-up's first half the light misses 0.8 to 0.4
    assert found["shortfall_truck_s"] == pytest.approx(0.8 * 110.0 + 0.6 * 5.0, rel=1e-12)
    counts = [found[name] for name in ("switch_ups", "switch_downs", "dim_entries", "false_offs")]
    assert counts == [2.0, 1.0, 2.0, 0.0]


def test_every_additive_outcome_is_evaluated() -> None:
    assert set(ADDITIVE) == {name for name, outcome in OUTCOMES.items() if outcome.is_additive}


def test_no_choices_give_empty_columns() -> None:
    scenario = small_site()
    seen = Detections(np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0))
    found = evaluate_settings(prepare_site(scenario), Traffic(None, None, seen, 0), [])
    assert all(column.shape == (0,) for column in found.values())


@given(st.floats(0.0, 1e8), st.floats(1e-3, 1e6))
@settings(max_examples=300, deadline=None, derandomize=True)
def test_the_threshold_of_a_delay_is_exact(since: float, gap: float) -> None:
    """The longest delay that ends before an instant does, and the next double does not."""
    time = since + gap
    found = last_before(np.array([since]), np.array([time]))[0]
    assert since + found < time <= since + np.nextafter(found, np.inf)


@given(
    st.lists(st.tuples(st.floats(0.0, 1e6), st.integers(-2, 3)), max_size=20),
    st.floats(0.0, 1e6),
    st.floats(0.0, 1e6),
)
@settings(max_examples=300, deadline=None, derandomize=True)
def test_running_sums_are_sums(ends: list[tuple[float, int]], first: float, second: float) -> None:
    low, high = sorted((first, second))
    age, weight = np.array([age for age, _ in ends]), np.array([float(one) for _, one in ends])
    sums = RunningSums.of(age, weight)
    windows = sums.windows(np.array([sums.after(low), sums.after(high)])[:, None])
    for window, inside in zip(windows[:, 0], ((age > low) & (age <= high), age > high), strict=True):
        for power in range(3):
            wanted = math.fsum(weight[inside] * age[inside] ** power)
            assert window[power] == pytest.approx(wanted, rel=1e-12, abs=1e-12 * max(1.0, high**power))


def test_memory_does_not_grow_with_settings_times_pieces() -> None:
    """2000 settings on some 20,000 gaps: a table of one number each would take 320 MB."""
    scenario = small_site(
        settings={"day": {"unoccupied_level": 0.2, "timeout_s": 60.0, "fade_down_s": 20.0}}, days=60.0
    )
    start = np.arange(20_000) * 250.0
    seen = Detections(np.zeros(20_000, dtype=np.int64), start, start + np.linspace(0.0, 150.0, 20_000))
    one = scenario.lighting.settings["day"]
    choices = [{"day": one.model_copy(update={"timeout_s": 50.0 + 0.1 * place})} for place in range(2000)]
    ready = prepare_site(scenario)
    tracemalloc.start()
    evaluate_settings(ready, Traffic(None, None, seen, 0), choices)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert most < 60e6
