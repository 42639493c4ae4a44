"""Many choices of settings as columns: distinct timings apart from levels, for each name of settings.

Comes in: a scenario and choices (settings by name).  Goes out: `Plan`.  After it: `study/ages/period`,
`study/ages/borders`, `study/ages/evaluate`.  Sums over traffic depend on timings alone; levels come in by
algebra, so a thousand levels cost no more sums than one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, IntColumn
from sim.scenario.schema import Scenario, Settings
from sim.study.ages.caps import capped_name, caps_of_run
from sim.study.ages.sums import FAR_S

__all__ = ["Plan", "Setting", "lay_out_choices"]

NO_FADE_S = 1e-9
Flags = NDArray[np.bool_]


def _share(since: FloatColumn, length: FloatColumn) -> FloatColumn:
    """Share of a fade that is done so long after its start (n,)."""
    return np.clip(np.where(length > 0.0, since / np.where(length > 0.0, length, 1.0), 1.0), 0.0, 1.0)


@dataclass(frozen=True)
class Setting:
    """One name's settings in an aisle, in columns of any one length (n,).

    Attributes
    ----------
    delay : hold + timeout [s]
    second : second delay; `FAR_S` without one, or where the second level is the unoccupied one [s]
    up, down : fades [s]
    occupied, low, lowest : occupied, unoccupied and second level [-]
    """

    delay: FloatColumn
    second: FloatColumn
    up: FloatColumn
    down: FloatColumn
    occupied: FloatColumn
    low: FloatColumn
    lowest: FloatColumn

    def turned_light(self) -> FloatColumn:
        """Return the light at the second delay, or after the first fade where that ends before (n,)."""
        fading = _share(self.second, self.down)
        return np.where(fading < 1.0, self.occupied + (self.low - self.occupied) * fading, self.low)

    def light_at(self, age: FloatColumn) -> FloatColumn:
        """Return the light in a gap at ages, one each, under these settings alone (n,).

        At an age of exactly the delay the light is still the occupied level.
        """
        fading = _share(age - self.delay, self.down)
        middle = np.where(fading < 1.0, self.occupied + (self.low - self.occupied) * fading, self.low)
        turned = self.turned_light()
        fading = _share(age - (self.delay + self.second), self.down)
        last = np.where(fading < 1.0, turned + (self.lowest - turned) * fading, self.lowest)
        is_last = age > self.delay + self.second
        return np.where(age <= self.delay, self.occupied, np.where(is_last, last, middle))

    def take(self, rows: Any) -> Setting:
        """Return some rows."""
        return Setting(
            self.delay[rows],
            self.second[rows],
            self.up[rows],
            self.down[rows],
            self.occupied[rows],
            self.low[rows],
            self.lowest[rows],
        )


@dataclass(frozen=True)
class Plan:
    """Every choice, by name of settings; under skylights also by name and cap (`capped_name`).

    Attributes
    ----------
    choices : as given (K,)
    rows : by name: timeout [s], then the columns of `Setting`, of each distinct settings (R, 7)
    which : by name, the row of each choice (K,)
    identity : by name, a number that two names of an aisle share in a choice where their settings are
        equal (K,)
    timing : by name, which distinct timing each choice has (K,)
    first : by name, the first choice of each distinct timing (T,)
    """

    choices: Sequence[Mapping[str, Settings]]
    rows: Mapping[str, NDArray[np.float64]]
    which: Mapping[str, IntColumn]
    identity: Mapping[str, IntColumn]
    timing: Mapping[str, IntColumn]
    first: Mapping[str, IntColumn]

    def __len__(self) -> int:
        return len(self.choices)

    def setting(self, name: str, hold_s: float) -> Setting:
        """Return one name's settings in every choice, for a sensor with this hold (K,)."""
        columns = self.rows[name][self.which[name]].T
        timeout, second, up, down, occupied, low, lowest = np.ascontiguousarray(columns)
        return Setting(hold_s + timeout, second, up, down, occupied, low, lowest)

    def least_delay(self, names: Sequence[str], hold_s: float) -> float:
        """Return the least delay of some names in any choice [s]."""
        return float(min(hold_s + self.rows[name][self.which[name], 0].min() for name in names))


def lay_out_choices(scenario: Scenario, choices: Sequence[Mapping[str, Settings]]) -> Plan:
    """Turn choices into columns.

    Parameters
    ----------
    scenario : its timetable and overrides name the settings
    choices : each maps every name of the scenario's settings to the settings to use
    """
    whiches: dict[str, IntColumn] = {}
    numbers: dict[Settings, int] = {}
    listed: list[tuple[float, ...]] = []
    for name in scenario.lighting.settings:
        seen: dict[int, tuple[Settings, int]] = {}  # holds the objects too, so that an id stays one object's
        which = np.empty(len(choices), dtype=np.int64)
        for place, choice in enumerate(choices):
            one = choice[name]
            if id(one) not in seen:
                seen[id(one)] = one, numbers.setdefault(one, len(numbers))
                if len(numbers) > len(listed):
                    listed.append(_row(one))
            which[place] = seen[id(one)][1]
        whiches[name] = which
    table = np.array(listed).reshape(-1, 7)
    rows = dict.fromkeys(whiches, table)
    identity = dict(whiches)
    caps = caps_of_run(scenario)
    if caps:
        capped = [_under_cap(table, cap) for cap in caps]
        _, same = np.unique(np.concatenate(capped), axis=0, return_inverse=True)
        for cap, own, number in zip(caps, capped, same.reshape(len(caps), -1), strict=True):
            for name in scenario.lighting.settings:
                called = capped_name(name, cap)
                rows[called], whiches[called] = own, whiches[name]
                identity[called] = number[whiches[name]]
    timing, first = {}, {}
    for name, which in whiches.items():
        _, distinct = np.unique(rows[name][:, :4], axis=0, return_inverse=True)
        _, first[name], inverse = np.unique(
            distinct.reshape(-1)[which], return_index=True, return_inverse=True
        )
        timing[name] = inverse.reshape(-1)
    return Plan(choices, rows, whiches, identity, timing, first)


def _under_cap(table: NDArray[np.float64], cap: float) -> NDArray[np.float64]:
    """Return rows of settings with their levels capped (R, 7)."""
    capped = table.copy()
    capped[:, 4:] = np.minimum(table[:, 4:], cap)
    capped[:, 1] = np.where(capped[:, 6] == capped[:, 5], FAR_S, table[:, 1])
    return capped


def _row(one: Settings) -> tuple[float, ...]:
    """Write one set of settings as numbers.

    A second level equal to the unoccupied one never comes; a fade of less than a nanosecond is none.
    """
    lowest = one.unoccupied_level if one.second_level is None else one.second_level
    comes = one.second_delay_s is not None and lowest != one.unoccupied_level
    return (
        one.timeout_s,
        float(one.second_delay_s) if comes and one.second_delay_s is not None else FAR_S,
        one.fade_up_s if one.fade_up_s > NO_FADE_S else 0.0,
        one.fade_down_s if one.fade_down_s > NO_FADE_S else 0.0,
        one.occupied_level,
        one.unoccupied_level,
        lowest if comes else one.unoccupied_level,
    )
