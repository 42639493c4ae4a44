"""The light just after a border, followed command by command: for the few borders where sums do not reach.

Comes in: `Rows`, each a border of one zone in one choice.  Goes out: `Corrections`, what the light really does
less what the sums of `study/ages_period` have taken it to do.  Before: `study/ages_borders`.

Two lights are followed side by side from the border on: the real one, which starts from what the settings
before the border left behind, and the one that the sums assume, as if the new settings had held all along.
They get the same commands, so sooner or later they agree; a row where they do not before the next border says
so (`is_open`), and its zone is replayed instead.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, IntColumn
from sim.study.ages_plan import Setting
from sim.study.ages_sums import TruckLine, place

__all__ = ["Corrections", "Rows", "follow"]

Flags = NDArray[np.bool_]
Power = Callable[[FloatColumn, FloatColumn], FloatColumn]
SAME = 1e-12


@dataclass(frozen=True)
class Rows:
    """Borders with the settings on both sides; times are from the border on [s] (n,).

    Attributes
    ----------
    time : of the border, from the start of the run
    horizon : the next border or the run's end
    is_last : whether the horizon is the run's end
    age_before : age just before the border
    age : age at the border, below 0 inside a detection: less the time to its end
    gap : from the end of that detection to the next start
    has_next : whether that start lies before the horizon
    next_rise : when a switch-up for it falls due
    went_low : whether the last detection ended a gap that had gone low, and its switch-up or fade-up matters
    rise : when its switch-up falls due, before, at or after the border
    rise_age, late_age : age that the gap before it has at the switch-up, and at the border
    before, after : settings on both sides
    differs : whether these differ at all
    """

    time: FloatColumn
    horizon: FloatColumn
    is_last: Flags
    age_before: FloatColumn
    age: FloatColumn
    gap: FloatColumn
    has_next: Flags
    next_rise: FloatColumn
    went_low: Flags
    rise: FloatColumn
    rise_age: FloatColumn
    late_age: FloatColumn
    before: Setting
    after: Setting
    differs: Flags


@dataclass(frozen=True)
class Corrections:
    """What to add for each row (n,).

    Attributes
    ----------
    joules : energy of one luminaire [J]
    dim_truck_s, shortfall_truck_s : [s]
    zero_s : time with the command at 0 [s]
    is_change : whether the commanded level changes at the border
    old_level, new_level : commanded before and after it [-]
    is_open : whether the two lights still differ at the next border
    """

    joules: FloatColumn
    dim_truck_s: FloatColumn
    shortfall_truck_s: FloatColumn
    zero_s: FloatColumn
    is_change: Flags
    old_level: FloatColumn
    new_level: FloatColumn
    is_open: Flags


@dataclass
class _Light:
    """A light on its way: level, the level it goes to, seconds until it is there (n,)."""

    level: FloatColumn
    goal: FloatColumn
    left: FloatColumn

    def command(self, level: FloatColumn, applies: Flags, setting: Setting) -> None:
        """Take a command; one that asks for the same level changes nothing."""
        changes = applies & (level != self.goal)
        fade = np.where(level > self.level, setting.up, np.where(level < self.level, setting.down, 0.0))
        self.left = np.where(changes, fade, self.left)
        self.goal = np.where(changes, level, self.goal)
        self.level = np.where(self.left > 0.0, self.level, self.goal)

    def pass_time(self, length: FloatColumn) -> tuple[FloatColumn, FloatColumn]:
        """Let time pass; return the length of the moving part and the level at its end."""
        moving = np.minimum(length, self.left)
        share = np.divide(moving, self.left, out=np.ones_like(moving), where=self.left > 0.0)
        end = np.where(share < 1.0, self.level + (self.goal - self.level) * share, self.goal)
        self.level, self.left = end, self.left - moving
        return moving, end


def _settled(age: FloatColumn, is_high: Flags, is_second: Flags, setting: Setting) -> _Light:
    """Return the light at an age under settings that have held for as long."""
    goal = np.where(is_high, setting.occupied, np.where(is_second, setting.lowest, setting.low))
    since = age - setting.delay - np.where(is_second, setting.second, 0.0)
    origin = np.where(is_second, setting.turned_light(), setting.occupied)
    fades = ~is_high & (origin != goal)
    left = np.where(fades, np.maximum(setting.down - since, 0.0), 0.0)
    return _Light(np.where(left > 0.0, setting.light_at(age), goal), goal, left)


def _before(rows: Rows) -> _Light:
    """Return the light just before the border."""
    setting = rows.before
    is_late = rows.went_low & (rows.rise >= 0.0)
    age = np.where(is_late, rows.late_age, rows.age_before)
    light = _settled(age, age <= setting.delay, age > setting.delay + setting.second, setting)
    rising = rows.went_low & (rows.rise < 0.0) & (-rows.rise < setting.up)
    origin = setting.light_at(rows.rise_age)
    moves = rising & (_commanded(rows.rise_age, setting) != setting.occupied)
    share = np.divide(-rows.rise, setting.up, out=np.ones_like(share_like(setting.up)), where=setting.up > 0.0)
    level = origin + (setting.occupied - origin) * np.where(moves, share, 1.0)
    return _Light(
        np.where(moves, level, light.level),
        light.goal,
        np.where(moves, setting.up + rows.rise, light.left),
    )


def _commanded(age: FloatColumn, setting: Setting) -> FloatColumn:
    """Return the commanded level in a gap at an age that it has outlived the delay."""
    return np.where(age > setting.delay + setting.second, setting.lowest, setting.low)
