"""Lights inside a simulation against the replay: commands and outcomes, on random sites and motion.

Counts must be equal, commands the same in the same order, energy within 1e-9 of itself, seconds within a
microsecond. Negative controls break one rule of the live zone: the same comparison must find each of them.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import find, given, settings

from sim.lighting import live, live_motion
from sim.lighting.replay import SECOND, TIMEOUT, Commands, command_zone
from sim.replication import hear_seen, prepare_site
from sim.scenario.schema import Scenario
from sim.sensing.coverage import unite
from tests.lighting.engines import by_live, by_program, site
from tests.lighting.strategies import Example, examples
from tests.lighting.test_replay_against_naive import EITHER, LONG, QUICK, SEARCH, differences, spoilt_copy

Row = tuple[float, bool, float, int, int]


def rows_of(commands: Commands) -> list[Row]:
    """Return commands as rows; a timeout that is at once followed by the second delay is one row."""
    rows: list[Row] = []
    columns = (commands.time, commands.is_high, commands.level, commands.period, commands.cause)
    for row in zip(*(column.tolist() for column in columns), strict=True):
        if rows and row[4] == SECOND and rows[-1][4] == TIMEOUT and rows[-1][0] == row[0]:
            rows[-1] = (*row[:4], TIMEOUT)
        else:
            rows.append(row)
    return rows


def other_commands(one: Example) -> list[str]:
    """Say where the two engines command differently."""
    ready = prepare_site(one.scenario)
    layout, end_s = ready.layout, one.scenario.duration_s
    seen = unite(
        np.array([layout.zones.index(name) for name, _, _ in one.motion], dtype=np.int64),
        np.array([start for _, start, _ in one.motion], dtype=np.float64),
        np.array([min(end, end_s) for _, _, end in one.motion], dtype=np.float64),
    )
    heard = hear_seen(ready, seen, None)
    lead, cut = layout.lead_zones, layout.zones_per_aisle
    hearers = [
        [
            other
            for other in range(len(layout.zones))
            if other // cut == zone // cut and abs(other - zone) <= lead
        ]
        for zone in range(len(layout.zones))
    ]
    zone_place = layout.zone_place.tolist()
    lights = live_motion.light_live(layout.zones, zone_place, ready.programs, seen, hearers)
    found = []
    for zone, (commands, _) in enumerate(lights):
        ours = rows_of(commands)
        theirs = rows_of(command_zone(*heard.of_zone(zone), ready.programs[zone_place[zone]]))
        same = len(ours) == len(theirs) and all(
            abs(mine[0] - other[0]) <= 1e-9 * max(1.0, other[0]) and mine[1:] == other[1:]
            for mine, other in zip(ours, theirs, strict=True)
        )
        if not same:
            found.append(f"{layout.zones[zone]}: live {ours}, replay {theirs}")
    return found


def other_outcomes(one: Example) -> list[str]:
    """Say where the outcomes differ."""
    inputs = (one.scenario, one.motion, one.visits, one.stays)
    return list(differences(by_program(*inputs), by_live(*inputs)))


@given(examples(is_grid=True))
@QUICK
def test_where_instants_coincide(one: Example) -> None:
    assert other_commands(one) == []
    assert other_outcomes(one) == []


@given(examples(is_grid=False))
@QUICK
def test_at_arbitrary_instants(one: Example) -> None:
    assert other_commands(one) == []
    assert other_outcomes(one) == []


@given(examples(is_grid=True, lengths_d=(1.5, 8.25)))
@settings(QUICK, max_examples=25)
def test_over_days_and_weeks(one: Example) -> None:
    assert other_commands(one) == []
    assert other_outcomes(one) == []


@pytest.mark.slow
@given(EITHER)
@LONG
def test_many_times(one: Example) -> None:
    assert other_commands(one) == []
    assert other_outcomes(one) == []


SPOILT = {
    "open hold": (
        "is_held = now - self._felt_end <= self._delay",
        "is_held = now - self._felt_end < self._delay",
    ),
    "the switch-up comes at once": ("self._due = now + latency_s", "self._due = now"),
    "a border brings the switch-up forward": (
        "(self._due == NEVER and age < self._delay)",
        "age < self._delay",
    ),
    "closed hold at a border": ("and age < self._delay):", "and age <= self._delay):"),
    "motion at a border is late for it": ("now == self._border_at and (", "False and ("),
    "the second delay counts from the motion": (
        "(self._delay + self._second), until)",
        "self._second, until)",
    ),
    "fades begin at the old target": ("light = self._fade.at(time)", "light = self._fade.target"),
    "the old period's fades": (
        "self._columns[5][self._number], self._columns[6]",
        "self._columns[5][0], self._columns[6]",
    ),
    "the age counts from before the motion's end": (
        "self._felt_end = self._last_end",
        "self._felt_end = self._last_end - 0.5",
    ),
    "the state before motion in the latency": ("is_held and self._state == HIGH", "is_held"),
    "amended borders fade from the border": ("self._fade = self._before\n", "pass\n"),
}


@pytest.mark.parametrize("name", SPOILT)
def test_spoilt_zones_are_found(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Negative control: a live zone with one rule broken commands or lights differently."""
    module = spoilt_copy(live, *SPOILT[name])
    monkeypatch.setattr(live_motion, "LiveZone", module.LiveZone)

    def is_found(one: Example) -> bool:
        return bool(other_commands(one) or other_outcomes(one))

    find(examples(is_grid=True), is_found, settings=SEARCH)


@pytest.mark.parametrize("zones", [1, 3])
def test_a_zone_without_working_sensors_stays_high(zones: int) -> None:
    """Motion from 0 to the end: one switch-up, after the latency; time at low is that latency alone."""
    scenario = dead_site(zones)
    ready = prepare_site(scenario)
    nothing = unite(np.zeros(0, dtype=np.int64), np.zeros(0), np.zeros(0))
    heard = hear_seen(ready, nothing, 0)
    assert heard.zone.tolist() == list(range(zones))
    commands = command_zone(*heard.of_zone(0), ready.programs[0])
    assert commands.time.tolist() == [0.0, 2.0]
    assert commands.is_high.tolist() == [False, True]
    for failed, wanted in (((0,), [0.0, 2.0]), ((), [0.0])):  # and without the failure it stays low
        lights = live_motion.light_live(
            ready.layout.zones,
            ready.layout.zone_place.tolist(),
            ready.programs,
            nothing,
            [()] * zones,
            failed,
        )
        assert lights[0][0].time.tolist() == wanted


def dead_site(zones: int) -> Scenario:
    """One aisle, all of whose sensors are named dead."""
    return site(
        floor={"zones_per_aisle": zones},
        sensors={"latency_s": 2.0},
        override=[{"aisles": ["A01"], "dead_sensors": "all"}],
    )


def test_spoilt_text_is_there() -> None:
    text = Path(live.__file__ or "").read_text(encoding="utf-8")
    assert [old for old, _ in SPOILT.values() if text.count(old) != 1] == []


def test_strategies_reach_lead_zones() -> None:
    find(
        examples(is_grid=True),
        lambda one: one.scenario.floor.lead_zones > 0 and bool(one.motion),
        settings=SEARCH,
    )
