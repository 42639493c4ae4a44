"""One zone's traffic in the age view, as columns: where settings may change, pieces of age, thresholds.

Comes in: nothing.  Goes out: the records that `study/ages/pieces` fills and `study/ages/period`,
`study/ages/borders` and `study/ages/zone` read.  Pure data.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.records import FloatColumn, IntColumn
from sim.study.ages.sums import RunningSums, TruckLine

__all__ = ["Counted", "Ends", "FirstGap", "KindPieces", "Rises", "Week", "ZonePieces", "lay_week"]


@dataclass(frozen=True)
class Week:
    """Where the settings of an aisle may change, whatever the choice.

    Attributes
    ----------
    border : start of each period and the run's end [s] (P + 1,)
    kind : index into `names` (P,)
    names : the scenario's names of settings that hold in the aisle (N,)
    latency_s : motion to command
    """

    border: FloatColumn
    kind: IntColumn
    names: tuple[str, ...]
    latency_s: float

    @property
    def end_s(self) -> float:
        """End of the run [s]."""
        return float(self.border[-1])

    def period_of(self, time: FloatColumn) -> IntColumn:
        """Return the period of each time, a border belonging to the later one (n,)."""
        return np.searchsorted(self.border[1:-1], time, side="right")


def lay_week(border: FloatColumn, names: tuple[str, ...], latency_s: float) -> Week:
    """Number the names of settings of an unrolled timetable."""
    known = {name: index for index, name in enumerate(dict.fromkeys(names))}
    return Week(border, np.array([known[name] for name in names], dtype=np.int64), tuple(known), latency_s)


@dataclass(frozen=True)
class Ends:
    """Ends of pieces of age under one weight, the young end with the weight taken off.

    Attributes
    ----------
    plain : of parts of gaps
    latency : of the latency after gaps; it counts only where the gap is longer than the delay
    latency_gap : that gap, for each end of `latency` [s] (n,)
    """

    plain: RunningSums
    latency: RunningSums
    latency_gap: FloatColumn


@dataclass(frozen=True)
class Rises:
    """Switch-ups after gaps, by ascending gap: what a fade-up of any length needs (n,).

    Attributes
    ----------
    gap : [s]
    age : at the switch-up, latency included, ascending [s]
    begun : a change at a lower age comes before the switch-up also where instants are compared, ascending [s]
    time : of the switch-up [s]
    until : end of its period or of the run, where the fade-up is cut [s]
    in_time : their places by ascending time (n,)
    """

    gap: FloatColumn
    age: FloatColumn
    begun: FloatColumn
    time: FloatColumn
    until: FloatColumn
    in_time: IntColumn


@dataclass(frozen=True)
class FirstGap:
    """The time before anything was seen, in one kind of period.

    Attributes
    ----------
    low_s, truck_s : its length with the latency after it, and its truck-seconds
    rise : instant of the switch-up and the end of its period; None where it is not in this kind of period
    """

    low_s: float
    truck_s: float
    rise: tuple[float, float] | None


@dataclass(frozen=True)
class Counted:
    """Thresholds of the delay for what is counted, each ascending.

    Attributes
    ----------
    gap : the switch-up comes where the gap is above the delay
    young, old : a switch-down comes where young < delay < old
    false_low, false_high : one with a truck in the zone where low < delay <= high
    dim_entry : a truck enters a low zone where delay <= this
    dim_weight : running sums of what these entries count (n + 1,)
    late_gap : gaps whose latency is time at low
    late_s, late_present_s : running sums of that latency, and of it with a truck in the zone (n + 1,)
    """

    gap: FloatColumn
    young: FloatColumn
    old: FloatColumn
    false_low: FloatColumn
    false_high: FloatColumn
    dim_entry: FloatColumn
    dim_weight: FloatColumn
    late_gap: FloatColumn
    late_s: FloatColumn
    late_present_s: FloatColumn


@dataclass(frozen=True)
class KindPieces:
    """All pieces in the periods of one name of settings.

    Attributes
    ----------
    length_s : of its periods together
    time, trucks : ends weighted by 1, and by trucks present that need light; trucks is None where no visits
        are known
    present : ends of the parts with a truck in the zone
    """

    length_s: float
    time: Ends
    trucks: Ends | None
    present: RunningSums | None
    rises: Rises
    first: FirstGap
    counted: Counted


@dataclass(frozen=True)
class ZonePieces:
    """One zone, ready for any number of settings.

    Attributes
    ----------
    week : where settings may change
    least_s : the least delay that may be asked for
    start, end : the detections [s] (n,)
    gap : before each detection, inf before the first [s] (n,)
    rise : instant at which a switch-up for each detection falls due, at most the run's end [s] (n,)
    line : trucks in the zone that need light, each by its weight; None where no visits are known
    kinds : by index of name
    first_up : switch-ups after the first gap, 0 or 1
    first_low_s, first_present_s : length of the first gap with its latency, and with a truck in the zone
    first_entries : trucks that entered in it, each by its weight
    occupied_s : time with a truck in the zone
    """

    week: Week
    least_s: float
    start: FloatColumn
    end: FloatColumn
    gap: FloatColumn
    rise: FloatColumn
    line: TruckLine | None
    kinds: tuple[KindPieces, ...]
    first_up: int
    first_low_s: float
    first_present_s: float
    first_entries: float
    occupied_s: float
