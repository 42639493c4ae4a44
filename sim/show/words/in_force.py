"""Which settings are in force where, with both timers and their sum.

Comes in: a scenario.  Goes out: `InForce` rows, the week as a grid.  Before: `scenario`; after:
`show/words/site`, `show/reports/run`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.lighting.power import power_curve
from sim.lighting.timetable import week_spans
from sim.records import IntColumn
from sim.scenario.schema import Luminaires, Scenario, Sensors, Settings
from sim.show.words.amounts import duration, short
from sim.units import SECONDS_PER_DAY, SECONDS_PER_HOUR

__all__ = [
    "InForce", "connected_kw", "hours_by_name", "levels_text", "settings_in_force", "time_to_most_s",
    "timers", "week_grid",
]

MOST_OF_LIGHT = 0.9


@dataclass(frozen=True)
class InForce:
    """One name of the timetable as a group of aisles and open areas sees it.

    Attributes
    ----------
    name : as the timetable calls it
    uses : name of the settings it stands for here; differs from `name` by an override
    aisles : names of the aisles; all of them where nothing is overridden
    is_everywhere : whether these are all aisles
    hours_a_week : how long it is in force [h]
    settings, sensors : resolved; of the group's first aisle
    luminaires : the different luminaires of the group, each with the names of its aisles
    """

    name: str
    uses: str
    aisles: tuple[str, ...]
    is_everywhere: bool
    hours_a_week: float
    settings: Settings
    sensors: Sensors
    luminaires: tuple[tuple[Luminaires, tuple[str, ...]], ...]

    @property
    def delay_s(self) -> float:
        """Hold and timeout together [s]: so long the light stays high after the last motion."""
        return self.sensors.hold_s + self.settings.timeout_s

    @property
    def lowest_level(self) -> float:
        """The lowest level that these settings can reach."""
        first, second = self.settings.unoccupied_level, self.settings.second_level
        return first if second is None else min(first, second)


def hours_by_name(scenario: Scenario) -> dict[str, float]:
    """Return how long each name of the timetable is in force [h a week]; 0 on exception dates alone."""
    seconds: dict[str, float] = {}
    for start, end, row in week_spans(scenario.timetable):
        name = scenario.timetable[row].settings
        seconds[name] = seconds.get(name, 0.0) + end - start
    for name in scenario.names_in_force:
        seconds.setdefault(name, 0.0)
    return {name: length / SECONDS_PER_HOUR for name, length in seconds.items()}


def settings_in_force(scenario: Scenario) -> tuple[InForce, ...]:
    """Return every name of the timetable, once for each group of aisles that sees it alike.

    Aisles differ by the settings they use and by the sensors' hold and latency.
    """
    found: list[InForce] = []
    for name, hours in hours_by_name(scenario).items():
        groups: dict[tuple[object, ...], list[str]] = {}
        for aisle in scenario.lit_names:
            settings, sensors = scenario.settings_of(aisle)[name], scenario.sensors_of(aisle)
            key = (repr(settings), sensors.hold_s, sensors.latency_s)
            groups.setdefault(key, []).append(aisle)
        for aisles in groups.values():
            settings = scenario.settings_of(aisles[0])[name]
            found.append(
                InForce(
                    name=name,
                    uses=_used_name(scenario, aisles[0], name),
                    aisles=tuple(aisles),
                    is_everywhere=len(groups) == 1,
                    hours_a_week=hours,
                    settings=settings,
                    sensors=scenario.sensors_of(aisles[0]),
                    luminaires=_luminaires(scenario, aisles),
                )
            )
    return tuple(found)


def _luminaires(scenario: Scenario, aisles: Sequence[str]) -> tuple[tuple[Luminaires, tuple[str, ...]], ...]:
    """The different luminaires of some aisles, each with the names of its aisles."""
    groups: dict[str, tuple[Luminaires, list[str]]] = {}
    for aisle in aisles:
        luminaires = scenario.luminaires_of(aisle)
        groups.setdefault(repr(luminaires), (luminaires, []))[1].append(aisle)
    return tuple((luminaires, tuple(names)) for luminaires, names in groups.values())


def _used_name(scenario: Scenario, aisle: str, name: str) -> str:
    """Name of the settings that a timetable's name stands for in an aisle."""
    used = name
    area = scenario.area_named(aisle)
    if area is not None and area.settings:
        return area.settings.get(name, name)
    for override in scenario.override:
        if aisle in override.aisles and override.settings:
            used = override.settings.get(name, used)
    return used


def timers(row: InForce) -> str:
    """Return the two timers in a row and their sum.

    The sum is what a truck meets; two timers in a row are a classic mistake.
    """
    return f"{duration(row.sensors.hold_s)} + {duration(row.settings.timeout_s)} = {duration(row.delay_s)}"


def levels_text(row: InForce) -> str:
    """Return the levels in words: occupied / unoccupied, then the second."""
    settings = row.settings
    text = f"{short(100.0 * settings.occupied_level)} / {short(100.0 * settings.unoccupied_level)} %"
    if settings.second_delay_s is not None and settings.second_level is not None:
        text += f", then {short(100.0 * settings.second_level)} % after {duration(settings.second_delay_s)}"
    return text


def time_to_most_s(row: InForce) -> float:
    """Return the time from motion to 90 % of the occupied level, out of the lowest level [s]."""
    high, low = row.settings.occupied_level, row.lowest_level
    if high <= low:
        return 0.0
    part = max(0.0, MOST_OF_LIGHT * high - low) / (high - low)
    return row.sensors.latency_s + part * row.settings.fade_up_s


def connected_kw(scenario: Scenario, level: float = 1.0) -> float:
    """Return the power of all luminaires at one level [kW]."""
    watts = 0.0
    for aisle in scenario.lit_names:
        luminaires = scenario.luminaires_of(aisle)
        watts += luminaires.per_aisle * float(power_curve(luminaires).at(level))
    return watts / 1000.0


def week_grid(scenario: Scenario, steps_a_day: int = 48) -> tuple[tuple[str, ...], IntColumn]:
    """Return the timetable's names and, for each step of each day, which of them holds at its middle.

    Returns
    -------
    names (k,) in order of the week, grid (7, steps_a_day)
    """
    names: list[str] = []
    grid = np.zeros(7 * steps_a_day, dtype=np.int64)
    middle = (np.arange(7 * steps_a_day) + 0.5) * SECONDS_PER_DAY / steps_a_day
    for start, end, row in week_spans(scenario.timetable):
        name = scenario.timetable[row].settings
        if name not in names:
            names.append(name)
        grid[(middle >= start) & (middle < end)] = names.index(name)
    return tuple(names), grid.reshape(7, steps_a_day)
