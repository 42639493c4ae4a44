"""The light just after a border, followed command by command: for the few borders where sums do not reach.

Comes in: `Rows`, each a border of one zone in one choice.  Goes out: `Corrections`: what the light really
does less what the sums of `study/ages/period` take it to do.  Before: `study/ages/light`; after:
`study/ages/borders`.

Two lights are followed side by side from the border on: the real one, which starts from what the settings
before the border left behind, and the one that the sums assume, as if the new settings had held all along.
They get the same commands, so sooner or later they agree; a row where they do not before the next border says
so (`is_open`), and its zone is replayed instead.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, IntColumn
from sim.study.ages.light import Light, choose_light, rising_light, settled_light
from sim.study.ages.plan import Setting
from sim.study.ages.power import FastPower
from sim.study.ages.sums import TruckLine, place

__all__ = ["Corrections", "Rows", "follow"]

SAME = 1e-12
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Rows:
    """Borders with the settings on both sides; times are from the border on [s] (n,).

    Attributes
    ----------
    time : of the border, from the start of the run
    horizon : the next border or the run's end
    is_last : whether the horizon is the run's end
    age_before : age just before the border
    age : age at the border; below 0 inside a detection, by the time to its end
    gap : from the end of that detection to the next start
    has_next : whether that start lies before the horizon
    next_rise : when a switch-up for it falls due
    wait : how long until a truck is in the zone; inf where none comes
    went_low : whether a detection not later than the border ended a gap at low, and its switch-up is still
        due or its fade-up under way
    starts : whether that detection starts at the border
    rise : when its switch-up falls due
    rise_age, late_age : age that the gap before it has at the switch-up, and at the border
    before, after : settings on both sides
    """

    time: FloatColumn
    horizon: FloatColumn
    is_last: Flags
    age_before: FloatColumn
    age: FloatColumn
    gap: FloatColumn
    has_next: Flags
    next_rise: FloatColumn
    wait: FloatColumn
    went_low: Flags
    starts: Flags
    rise: FloatColumn
    rise_age: FloatColumn
    late_age: FloatColumn
    before: Setting
    after: Setting

    def take(self, rows: Any) -> Rows:
        """Return some rows."""
        columns: dict[str, Any] = {one.name: getattr(self, one.name) for one in fields(self)}
        for name, column in columns.items():
            columns[name] = column.take(rows) if isinstance(column, Setting) else column[rows]
        return Rows(**columns)


@dataclass(frozen=True)
class Corrections:
    """What to add for each row (n,).

    Attributes
    ----------
    joules : energy of one luminaire [J]
    dim_truck_s, shortfall_truck_s : [s]
    zero_s : time with the command at 0 [s]
    old_level, new_level : commanded before and after the border [-]
    is_open : whether the two lights still differ at the next border
    """

    joules: FloatColumn
    dim_truck_s: FloatColumn
    shortfall_truck_s: FloatColumn
    zero_s: FloatColumn
    old_level: FloatColumn
    new_level: FloatColumn
    is_open: Flags


@dataclass
class _Event:
    """A command that may come after the border (n,)."""

    time: FloatColumn
    comes: Flags
    level: FloatColumn


@dataclass(frozen=True)
class _Stretch:
    """A straight run of the real light (sign 1) or the assumed one (-1); times from the border on (n,)."""

    sign: float
    start: FloatColumn
    length: FloatColumn
    begin: FloatColumn
    end: FloatColumn

    def take(self, rows: IntColumn) -> _Stretch:
        """Return some rows."""
        return _Stretch(self.sign, self.start[rows], self.length[rows], self.begin[rows], self.end[rows])


def follow(rows: Rows, power: FastPower, line: TruckLine | None) -> Corrections:
    """Follow the light after each border.

    Parameters
    ----------
    rows : borders with their settings (n,)
    power : of one luminaire
    line : trucks in the zone, None where no visits are known
    """
    real = _light_before(rows)
    old_level = real.goal
    setting = rows.after
    is_late = rows.went_low & (rows.rise > 0.0)
    age = np.where(is_late, rows.late_age, rows.age)
    is_high = ~is_late & (age < setting.delay)
    is_second = ~is_high & (age >= setting.delay + setting.second)
    new_level = np.where(is_high, setting.occupied, np.where(is_second, setting.lowest, setting.low))
    real.command(new_level, np.ones(len(age), dtype=bool), setting)
    # a latency or fade-up that began before the border was cut there, and the sums know nothing of it after
    is_forgotten = is_late & ~rows.starts
    assumed = _assumed(rows, age, is_high, is_second, is_forgotten)

    zero_s = np.zeros(len(age))
    differs = is_forgotten | (real.level != assumed.level) | (real.left != assumed.left)
    at = np.flatnonzero(differs)
    joules, dim, shortfall = np.zeros((3, len(age)))
    is_open = np.zeros(len(age), dtype=bool)
    if len(at):
        own = rows.take(at)
        events = _events(own, age[at], is_high[at], is_second[at], is_late[at])
        zero_s[at] = np.where(is_forgotten[at], _zero_in_latency(own, age[at], is_second[at]), 0.0)
        found = _walk(own, events, real.take(at), assumed.take(at), is_forgotten[at], power, line)
        joules[at], dim[at], shortfall[at], is_open[at] = found
    return Corrections(joules, dim, shortfall, zero_s, old_level, new_level, is_open)


def _light_before(rows: Rows) -> Light:
    """Return the light just before the border, and the level commanded there."""
    setting = rows.before
    age = np.where(rows.went_low & (rows.rise >= 0.0), rows.late_age, rows.age_before)
    light = settled_light(age, age <= setting.delay, age > setting.delay + setting.second, setting)
    is_rising = rows.went_low & (rows.rise < 0.0)
    if not is_rising.any():
        return light
    return choose_light(rising_light(rows.rise_age, np.maximum(-rows.rise, 0.0), setting), light, is_rising)


def _assumed(rows: Rows, age: FloatColumn, is_high: Flags, is_second: Flags, is_forgotten: Flags) -> Light:
    """Return the light that the sums assume at the border."""
    setting = rows.after
    light = settled_light(age, is_high | is_forgotten, is_second & ~is_forgotten, setting)
    rises = rows.went_low & rows.starts & (rows.rise == 0.0)
    if not rises.any():
        return light
    return choose_light(rising_light(rows.late_age, np.zeros(len(age)), setting), light, rises)


def _events(rows: Rows, age: FloatColumn, is_high: Flags, is_second: Flags, is_late: Flags) -> list[_Event]:
    """Return the commands after the border in order: timeout, second delay, switch-up."""
    setting = rows.after
    goes_low = ~rows.has_next | (rows.gap > setting.delay)
    rise = np.where(is_late, rows.rise, rows.next_rise)
    rises = is_late | (rows.has_next & goes_low)
    down = setting.delay - age
    second = (setting.delay + setting.second) - age
    until = np.where(rises, np.minimum(rise, rows.horizon), rows.horizon)
    return [
        _Event(down, is_high & goes_low & (down < until), setting.low),
        _Event(second, ~is_second & (is_late | goes_low) & (second < until), setting.lowest),
        _Event(rise, rises & (rise < rows.horizon), setting.occupied),
    ]


def _zero_in_latency(rows: Rows, age: FloatColumn, is_second: Flags) -> FloatColumn:
    """Time with the command at 0 after the border in a latency that began before it [s] (n,)."""
    setting = rows.after
    length = np.minimum(rows.rise, rows.horizon)
    second = np.where(is_second, length, np.maximum(length - ((setting.delay + setting.second) - age), 0.0))
    return np.where(setting.low == 0.0, length - second, 0.0) + np.where(setting.lowest == 0.0, second, 0.0)


def _walk(
    rows: Rows,
    events: list[_Event],
    real: Light,
    assumed: Light,
    is_forgotten: Flags,
    power: FastPower,
    line: TruckLine | None,
) -> tuple[FloatColumn, FloatColumn, FloatColumn, Flags]:
    """Follow both lights to the horizon; return joules, dim, shortfall truck-seconds and who is open."""
    now = np.zeros(len(rows.time))
    joules, dim, shortfall = np.zeros((3, len(now)))
    agreed = np.zeros(len(now))
    stretches: list[_Stretch] = []
    for event in (*events, None):
        until = rows.horizon if event is None else np.where(event.comes, event.time, now)
        length = until - now
        # once both have reached the same goal they agree until the next command
        apart = np.where(
            real.goal == assumed.goal, np.minimum(length, np.maximum(real.left, assumed.left)), length
        )
        agreed = np.where(apart > 0.0, now + apart, agreed)
        for sign, light in ((1.0, real), (-1.0, assumed)):
            moving = np.minimum(length, light.left)
            begin = light.level
            light.pass_time(moving)
            still = np.maximum(apart - moving, 0.0)
            joules += sign * (moving * power.mean(begin, light.level) + still * power.at(light.level))
            stretches += [
                _Stretch(sign, now, moving, begin, light.level),
                _Stretch(sign, now + moving, still, light.level, light.level),
            ]
        if event is not None:
            real.command(event.level, event.comes, rows.after)
            assumed.command(event.level, event.comes & ~is_forgotten, rows.after)
        now = until
    is_open = ~rows.is_last & (
        (np.abs(real.level - assumed.level) > SAME)
        | (real.goal != assumed.goal)
        | (np.abs(real.left - assumed.left) > 1e-9)
    )
    if line is not None:
        at = np.flatnonzero(rows.wait < agreed)
        if len(at):
            dim[at], shortfall[at] = _dim_trucks(rows.take(at), [one.take(at) for one in stretches], line)
    return joules, dim, shortfall, is_open


def _dim_trucks(rows: Rows, stretches: list[_Stretch], line: TruckLine) -> tuple[FloatColumn, FloatColumn]:
    """Return dim and shortfall truck-seconds of the real light less the assumed one [s] (n,)."""
    count = len(rows.time)
    row = np.tile(np.arange(count), len(stretches))
    sign = np.repeat([one.sign for one in stretches], count)
    length = np.concatenate([one.length for one in stretches])
    begin = np.concatenate([one.begin for one in stretches])
    end = np.concatenate([one.end for one in stretches])
    start = np.concatenate([rows.time + one.start for one in stretches])
    occupied = rows.after.occupied[row]
    asked = (length > 0.0) & (np.minimum(begin, end) < occupied)
    row, sign, length, start = row[asked], sign[asked], length[asked], start[asked]
    begin, end, occupied = begin[asked], end[asked], occupied[asked]
    rise = end - begin
    with np.errstate(over="ignore"):
        share = np.divide(occupied - begin, rise, out=np.zeros_like(rise), where=rise != 0.0)
    opens, closes = np.where(begin < occupied, 0.0, share), np.where(end < occupied, 1.0, share)
    part, first, last, trucks = line.cut(start + length * opens, start + length * closes)
    middle = 0.5 * (first + last) - start[part]
    light = begin[part] + rise[part] * (middle / length[part])
    truck_s = sign[part] * trucks * (last - first)
    missing = np.maximum(occupied[part] - light, 0.0) / occupied[part]
    return place(truck_s, row[part], count), place(truck_s * missing, row[part], count)
