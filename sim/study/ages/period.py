"""Sums over the periods of one name of settings, for every distinct timing at once.

Comes in: `KindPieces` and a `Setting` per timing.  Goes out: `PeriodSums`.  Before: `study/ages/pieces`;
after: `study/ages/zone`.

Notes
-----
In a gap the light depends on age alone.  With D the delay, S the second delay, F the fade-down and levels
o >= u >= v, the light at age a is o - (o - u) R1(a) - (u - v) R2(a), where R1 rises from 0 to 1 over F from
age D and R2 over F from age D + S (a first fade that the second delay interrupts goes on from where it is,
in a whole F).  R1 and R2 are straight between the four ages D, D + min(S, F), D + S, D + S + F.  So the
integral over a piece [a0, a1] is a polynomial of a1 less one of a0, and its sum over all pieces needs only
the running sums of weight, weight x age and weight x age squared between those four ages.
The fade-up begins at what R1 and R2 are at the switch-up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, IntColumn
from sim.study.ages.plan import Setting
from sim.study.ages.records import Counted, Ends, KindPieces, Rises
from sim.study.ages.sums import FAR_S, RunningSums, TruckLine, blocks, place, spread

__all__ = ["PeriodCounts", "PeriodSums", "Shape", "add_ends", "count_periods", "shape_of", "sum_periods"]

ROUNDING_S = 1e-6
STEEP_S = 1e-6
Table = NDArray[np.float64]


@dataclass(frozen=True)
class Shape:
    """A function of age, 0 up to the first knot and straight from each knot to the next.

    Attributes
    ----------
    knot : ascending ages, a value at a knot belongs to the stretch before it [s] (m, T)
    value, slope : just after each knot, for each of several functions (R, m, T)
    area : integral from 0 to each knot (R, m, T)
    """

    knot: Table
    value: Table
    slope: Table
    area: Table

    @classmethod
    def of(cls, knot: Table, value: Table, slope: Table) -> Shape:
        """Add the integral."""
        length = np.diff(knot, axis=0)
        part = value[:, :-1] * length + 0.5 * slope[:, :-1] * length * length
        area = np.concatenate([np.zeros_like(part[:, :1]), np.cumsum(part, axis=1)], axis=1)
        # a jump drawn as a very steep stretch: an age inside it is not worth the digits that its slope costs
        steep = np.append(length < STEEP_S, np.zeros((1, length.shape[1]), dtype=bool), axis=0)
        return cls(knot, value, np.where(steep, 0.0, slope), area)

    def integrate(self, sums: Table) -> Table:
        """Sum the integral from 0 over ages, given their sums between knots (m, T, 3) -> (R, T)."""
        weight, first, second = sums[..., 0], sums[..., 1], sums[..., 2]
        moved = first - self.knot * weight
        squared = second - 2.0 * self.knot * first + self.knot * self.knot * weight
        total: Table = (self.area * weight + self.value * moved + 0.5 * self.slope * squared).sum(axis=1)
        return total

    def sum_values(self, sums: Table) -> Table:
        """Sum the function itself over ages, given their sums between knots (m, T, 3) -> (R, T)."""
        moved = sums[..., 1] - self.knot * sums[..., 0]
        total: Table = (self.value * sums[..., 0] + self.slope * moved).sum(axis=1)
        return total

    def integral_at(self, column: IntColumn, age: FloatColumn) -> Table:
        """Integrate from 0 to single ages, each in a column of its own (R, n)."""
        knot = self.knot[:, column]
        index = (age > knot).sum(axis=0) - 1
        at = np.maximum(index, 0), column
        past = age - self.knot[at]
        value = self.area[:, *at] + self.value[:, *at] * past + 0.5 * self.slope[:, *at] * past * past
        return np.where(index >= 0, value, 0.0)


@dataclass(frozen=True)
class PeriodSums:
    """Integrals for each timing (T,); the first two are R1 and R2 over time, fade-up included.

    Attributes
    ----------
    dimmed, dimmer : of R1, of R2 over time [s]
    low_s, lowest_s : time after D, after D + S, within the periods [s]
    truck_dimmed, truck_dimmer : of R1, of R2 over truck-time [s]
    truck_low_s, truck_lowest_s : truck-seconds after D, after D + S, until the light is up again [s]
    """

    dimmed: FloatColumn
    dimmer: FloatColumn
    low_s: FloatColumn
    lowest_s: FloatColumn
    truck_dimmed: FloatColumn
    truck_dimmer: FloatColumn
    truck_low_s: FloatColumn
    truck_lowest_s: FloatColumn


@dataclass(frozen=True)
class PeriodCounts:
    """What is counted, and time at low with the whole latency, for each timing (T,); no first gap."""

    ups: FloatColumn
    downs: FloatColumn
    false_offs: FloatColumn
    dim_entries: FloatColumn
    low_s: FloatColumn
    low_present_s: FloatColumn


def shape_of(setting: Setting) -> Shape:
    """Return R1, R2 and the steps at D and D + S."""
    delay, second, down = setting.delay, setting.second, setting.down
    knot = np.stack([delay, delay + np.minimum(second, down), delay + second, delay + second + down])
    rate = np.divide(1.0, down, out=np.zeros_like(down), where=down > 0.0)
    reached = np.divide(np.minimum(second, down), down, out=np.ones_like(down), where=down > 0.0)
    none, one = np.zeros_like(delay), np.ones_like(delay)
    value = np.stack(
        [
            np.stack([none, reached, reached, one]),
            np.stack([none, none, none, one]),
            np.stack([one, one, one, one]),
            np.stack([none, none, one, one]),
        ]
    )
    slope = np.zeros_like(value)
    slope[0, 0], slope[0, 2], slope[1, 2] = rate, (1.0 - reached) * rate, rate
    return Shape.of(knot, value, slope)


def add_ends(ends: Ends, shape: Shape, delay: FloatColumn, latency_s: float) -> Table:
    """Integrate functions of age over all pieces of one weight, latencies included (R, T).

    A latency counts only after a gap above the delay.  Beyond delay + latency every end does; the few ends
    up to there are looked at one by one.
    """
    plain = ends.plain
    total = shape.integrate(plain.windows(plain.after(shape.knot)))
    if latency_s == 0.0:
        return total
    late = ends.latency
    sure = delay + latency_s + ROUNDING_S
    from_, to = late.after(delay), late.after(sure)
    total += shape.integrate(late.windows(late.after(np.maximum(shape.knot, sure))))
    weight = np.diff(late.table[:, 0], append=late.table[-1:, 0])
    for first, last in blocks(to - from_):
        column, index = spread(from_[first:last], to[first:last])
        column += first
        counts = ends.latency_gap[index] > delay[column]
        column, index = column[counts], index[counts]
        found = weight[index] * shape.integral_at(column, late.age[index])
        for row, amount in enumerate(found):
            total[row, first:last] += place(amount, column - first, last - first)
    return total


def sum_periods(pieces: KindPieces, setting: Setting, latency_s: float, line: TruckLine | None) -> PeriodSums:
    """Sum over the periods of one name.

    Parameters
    ----------
    pieces : of the name
    setting : timings; levels are not used (T,)
    latency_s : motion to command
    line : trucks in the zone, None where no visits are known
    """
    shape = shape_of(setting)
    count = len(setting.delay)
    time = add_ends(pieces.time, shape, setting.delay, latency_s)
    trucks = np.zeros((4, count))
    if pieces.trucks is not None:
        trucks = add_ends(pieces.trucks, shape, setting.delay, latency_s)
    first = pieces.first
    comes = setting.second < FAR_S
    time += first.low_s * np.stack([np.ones(count), comes, np.ones(count), comes])
    trucks += first.truck_s * np.stack([np.ones(count), comes, np.ones(count), comes])
    for fade in np.unique(setting.up[setting.up > 0.0]).tolist():
        rows = np.flatnonzero(setting.up == fade)
        own = Shape(
            shape.knot[:, rows], shape.value[..., rows], shape.slope[..., rows], shape.area[..., rows]
        )
        up_time, up_trucks = _fade_up(pieces.rises, own, setting.take(rows), fade, line)
        time[:2, rows] += up_time
        trucks[:, rows] += up_trucks
        if first.rise is not None:
            begin, until = np.array([first.rise[0]]), np.array([first.rise[1]])
            whole, seen, shadowed = _fade_weights(begin, until, fade, line)
            time[:2, rows] += whole * np.stack([np.ones(len(rows)), comes[rows]])
            trucks[:, rows] += np.concatenate([shadowed, shadowed, seen, seen])[:, None] * np.stack(
                [np.ones(len(rows)), comes[rows], np.ones(len(rows)), comes[rows]]
            )
    return PeriodSums(*time, *trucks)


def _fade_weights(
    begin: FloatColumn, until: FloatColumn, fade: float, line: TruckLine | None
) -> tuple[FloatColumn, FloatColumn, FloatColumn]:
    """Weights of fade-ups cut at `until`: missing share over time, truck-time, missing share over it (n,)."""
    length = np.minimum(fade, until - begin)
    whole = length - length * length / (2.0 * fade)
    if line is None:
        return whole, np.zeros(len(begin)), np.zeros(len(begin))
    row, opens, closes, count = line.cut(begin, np.minimum(begin + fade, until))
    opens, closes = opens - begin[row], closes - begin[row]
    missing = (closes - opens) * (1.0 - 0.5 * (opens + closes) / fade)
    return whole, place(count * (closes - opens), row, len(begin)), place(count * missing, row, len(begin))


def _fade_up(
    rises: Rises, shape: Shape, setting: Setting, fade: float, line: TruckLine | None
) -> tuple[Table, Table]:
    """Sum the fade-ups after gaps above the delay: over time (2, T) and over truck-time (4, T)."""
    # in order of time neighbours are found fast
    at = rises.in_time
    weights = np.empty((3, len(at)))
    weights[:, at] = _fade_weights(rises.time[at], rises.until[at], fade, line)
    age = rises.age
    long = np.searchsorted(rises.gap, setting.delay, side="right")
    edge = np.maximum(long, np.searchsorted(age, shape.knot, side="right"))
    # a fade that would begin at the very instant of the switch-up takes no light away; a step does
    begun = np.maximum(long, np.searchsorted(rises.begun, shape.knot, side="right"))
    dim_edge = np.where(setting.down > 0.0, begun, edge)
    whole, seen, shadowed = (
        shape.sum_values(RunningSums.of_sorted(age, weight).windows(places))
        for weight, places in zip(weights, (edge, dim_edge, edge), strict=True)
    )
    return whole[:2], np.concatenate([shadowed[:2], seen[2:]])


def count_periods(pieces: KindPieces, delay: FloatColumn) -> PeriodCounts:
    """Count over the periods of one name, for each delay (T,)."""
    counted: Counted = pieces.counted
    begun = np.searchsorted(counted.young, delay, side="left")
    over = np.searchsorted(counted.old, delay, side="right")
    false_offs = np.searchsorted(counted.false_low, delay, side="left") - np.searchsorted(
        counted.false_high, delay, side="left"
    )
    long = np.searchsorted(counted.late_gap, delay, side="right")
    time = pieces.time.plain
    low = _beyond(time, delay) + counted.late_s[-1] - counted.late_s[long]
    present = np.zeros(len(delay))
    if pieces.present is not None:
        present = _beyond(pieces.present, delay) + counted.late_present_s[-1] - counted.late_present_s[long]
    return PeriodCounts(
        ups=(len(counted.gap) - np.searchsorted(counted.gap, delay, side="right")).astype(np.float64),
        downs=(begun - over).astype(np.float64),
        false_offs=false_offs.astype(np.float64),
        dim_entries=counted.dim_weight[-1] - counted.dim_weight[np.searchsorted(counted.dim_entry, delay)],
        low_s=low,
        low_present_s=present,
    )


def _beyond(sums: RunningSums, delay: FloatColumn) -> FloatColumn:
    """Sum of weight x (age - delay) over ages above the delay (T,)."""
    found = sums.windows(sums.after(delay)[None, :])[0]
    return np.asarray(found[:, 1] - delay * found[:, 0])
