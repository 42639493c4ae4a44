"""The light of many zones at one instant: where it is, where it goes, how long it still takes.

Comes in: ages with settings.  Goes out: `Light`, which takes commands and lets time pass.  Before:
`study/ages/plan`; after: `study/ages/stretch`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, IntColumn
from sim.study.ages.plan import Setting

__all__ = ["Light", "choose_light", "rising_light", "settled_light"]

Flags = NDArray[np.bool_]


@dataclass
class Light:
    """A light on its way: level, the level it goes to, seconds until it is there (n,)."""

    level: FloatColumn
    goal: FloatColumn
    left: FloatColumn

    def command(self, level: FloatColumn, applies: Flags, setting: Setting) -> None:
        """Take a command; one that asks for the level that is asked for already changes nothing."""
        changes = applies & (level != self.goal)
        fade = np.where(level > self.level, setting.up, np.where(level < self.level, setting.down, 0.0))
        self.left = np.where(changes, fade, self.left)
        self.goal = np.where(changes, level, self.goal)
        self.level = np.where(self.left > 0.0, self.level, self.goal)

    def pass_time(self, moving: FloatColumn) -> None:
        """Let the moving part of a time pass."""
        share = np.divide(moving, self.left, out=np.ones_like(moving), where=self.left > 0.0)
        self.level = np.where(share < 1.0, self.level + (self.goal - self.level) * share, self.goal)
        self.left = self.left - moving

    def take(self, rows: IntColumn) -> Light:
        """Return some rows."""
        return Light(self.level[rows], self.goal[rows], self.left[rows])


def settled_light(age: FloatColumn, is_high: Flags, is_second: Flags, setting: Setting) -> Light:
    """Return the light at an age under settings that have held for as long."""
    goal = np.where(is_high, setting.occupied, np.where(is_second, setting.lowest, setting.low))
    origin = np.where(is_second, setting.turned_light(), setting.occupied)
    since = age - (setting.delay + np.where(is_second, setting.second, 0.0))
    left = np.where(is_high | (origin == goal), 0.0, np.maximum(setting.down - since, 0.0))
    return Light(np.where(left > 0.0, setting.light_at(age), goal), goal, left)


def rising_light(age: FloatColumn, since: FloatColumn, setting: Setting) -> Light:
    """Return the light so long after a switch-up that ended a gap at an age above the delay."""
    is_second = age > setting.delay + setting.second
    was_asked = np.where(is_second, setting.lowest, setting.low)
    left = np.where(was_asked == setting.occupied, 0.0, np.maximum(setting.up - since, 0.0))
    origin = setting.light_at(age)
    share = np.divide(since, setting.up, out=np.zeros_like(since), where=setting.up > 0.0)
    level = np.where(left > 0.0, origin + (setting.occupied - origin) * share, setting.occupied)
    return Light(level, setting.occupied, left)


def choose_light(first: Light, second: Light, is_first: Flags) -> Light:
    """Choose between two lights row by row."""
    return Light(
        np.where(is_first, first.level, second.level),
        np.where(is_first, first.goal, second.goal),
        np.where(is_first, first.left, second.left),
    )
