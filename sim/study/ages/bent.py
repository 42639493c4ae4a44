"""Energy inside periods where power is not a straight line of level.

Comes in: `KindPieces`, settings with their levels, a bent power curve.  Goes out: the energy that dimming
takes off.  Before: `study/ages/period`; after: `study/ages/zone`.

Power over age is still straight between knots, now also where the light passes a row of the curve, so gaps
are summed as in `study/ages/period`.  What a fade-up saves is no polynomial of where it begins: the
switch-ups that interrupt a fade-down, and those whose fade-up is cut, are looked at one by one.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, IntColumn
from sim.study.ages.period import Shape, add_ends
from sim.study.ages.plan import Setting
from sim.study.ages.power import FastPower
from sim.study.ages.records import KindPieces
from sim.study.ages.sums import blocks, place, spread

__all__ = ["saved_power"]

KNOTS = 2**18
Table = NDArray[np.float64]


def saved_power(pieces: KindPieces, setting: Setting, power: FastPower, latency_s: float) -> FloatColumn:
    """Return power at the occupied level less actual power, over the periods of one name (T,).

    Parameters
    ----------
    pieces : of the name
    setting : with levels (T,)
    power : of one luminaire
    latency_s : motion to command

    Returns
    -------
    for one luminaire [J]
    """
    total = np.zeros(len(setting.delay))
    # the knots of every column at once must fit
    knots = 4 + 2 * (len(power.curve.level) - 2)
    for begin, stop in blocks(np.full(len(total), knots), KNOTS):
        total[begin:stop] = _saved_in_block(pieces, setting.take(slice(begin, stop)), power, latency_s)
    return total


def _saved_in_block(pieces: KindPieces, setting: Setting, power: FastPower, latency_s: float) -> FloatColumn:
    """Do what `saved_power` does for some columns."""
    shape = _power_shape(setting, power)
    total: FloatColumn = add_ends(pieces.time, shape, setting.delay, latency_s)[0]
    total += _fade_ups(pieces, setting, power)
    total += (power.at(setting.occupied) - power.at(setting.lowest)) * pieces.first.low_s
    if pieces.first.rise is not None:
        begin, until = (np.full(len(total), time) for time in pieces.first.rise)
        total += _saved_rising(setting.lowest, setting, power, until - begin)
    return total


def _power_shape(setting: Setting, power: FastPower) -> Shape:
    """Return the power taken off as a function of age, for one luminaire."""
    start = setting.delay + setting.second
    broken = setting.delay + np.minimum(setting.second, setting.down)
    turned = setting.turned_light()
    first = _fade_down(setting.delay, broken, setting.occupied, setting.low, turned, setting.down, power)
    second = _fade_down(
        start, start + setting.down, turned, setting.lowest, setting.lowest, setting.down, power
    )
    knot, light = (np.concatenate(columns) for columns in zip(first, second, strict=True))
    value = power.at(setting.occupied) - power.at(light)
    length, rise = np.diff(knot, axis=0), np.diff(value, axis=0)
    slope = np.zeros_like(value)
    np.divide(rise, length, out=slope[:-1], where=(length > 0.0) & (rise != 0.0))
    return Shape.of(knot, value[None], slope[None])


def _fade_down(
    start: FloatColumn,
    end: FloatColumn,
    high: FloatColumn,
    aim: FloatColumn,
    reached: FloatColumn,
    fade: FloatColumn,
    power: FastPower,
) -> tuple[Table, Table]:
    """Return ages and light at the knots of a fade-down that ends with `reached`, short of its aim or not.

    The light at a knot is the curve's row itself: where power jumps, rounding must not tip it over.
    """
    fall = high - aim
    ages, lights = [start], [high]
    for row in power.curve.level[-2:0:-1].tolist():
        with np.errstate(over="ignore"):
            share = np.divide(high - row, fall, out=np.zeros_like(fall), where=fall > 0.0)
        ages.append(np.minimum(start + fade * np.clip(share, 0.0, 1.0), end))
        lights.append(np.maximum(np.clip(row, aim, high), reached))
    return np.stack([*ages, end]), np.stack([*lights, reached])


def _saved_rising(light: FloatColumn, setting: Setting, power: FastPower, length: FloatColumn) -> FloatColumn:
    """Energy that fade-ups from given light save, each cut after a length [J] (n,)."""
    fade = setting.up
    run = np.minimum(length, fade)
    share = np.divide(run, fade, out=np.ones_like(fade), where=fade > 0.0)
    reached = np.where(share < 1.0, light + (setting.occupied - light) * share, setting.occupied)
    return run * (power.at(setting.occupied) - power.mean(light, reached))


def _fade_ups(pieces: KindPieces, setting: Setting, power: FastPower) -> FloatColumn:
    """Sum what the fade-ups after gaps save (T,)."""
    rises, count = pieces.rises, len(setting.delay)
    longest = float(setting.up.max(initial=0.0))
    is_cut = rises.until - rises.time < longest
    total = np.zeros(count)
    whole_gap, whole_age = rises.gap[~is_cut], rises.age[~is_cut]
    knots = (
        setting.delay,
        setting.delay + np.minimum(setting.second, setting.down),
        setting.delay + setting.second,
        setting.delay + setting.second + setting.down,
    )
    # with S < F the first fade ends where the second begins, and no gap ends between the two
    edges = [
        np.maximum(
            np.searchsorted(whole_gap, setting.delay, side="right"),
            np.searchsorted(whole_age, knot, side="right"),
        )
        for knot in knots
    ]
    steady = ((edges[1], edges[2], setting.low), (edges[3], np.full(count, len(whole_gap)), setting.lowest))
    for first, last, light in steady:
        total += (last - first) * _saved_rising(light, setting, power, np.full(count, np.inf))

    def add(row: IntColumn, age: FloatColumn, length: Any, offset: int, rows: int) -> None:
        own = setting.take(row)
        saved = _saved_rising(own.light_at(age), own, power, np.broadcast_to(length, age.shape))
        total[offset : offset + rows] += place(saved, row - offset, rows)

    for first, last in ((edges[0], edges[1]), (edges[2], edges[3])):
        for begin, stop in blocks(last - first):
            row, index = spread(first[begin:stop], last[begin:stop])
            add(row + begin, whole_age[index], np.inf, begin, stop - begin)
    cut = np.flatnonzero(is_cut)
    room = rises.until[cut] - rises.time[cut]
    first = np.searchsorted(rises.gap[cut], setting.delay, side="right")
    for begin, stop in blocks(len(cut) - first):
        row, index = spread(first[begin:stop], np.full(stop - begin, len(cut)))
        add(row + begin, rises.age[cut][index], room[index], begin, stop - begin)
    return total
