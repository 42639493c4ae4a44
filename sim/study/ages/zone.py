"""One zone under every choice: period sums, borders and levels put together into outcomes.

Comes in: `ZonePieces`, a `Plan`, the zone's luminaires.  Goes out: additive outcomes of each choice and where
the sums do not hold.  Before: `study/ages/period`, `study/ages/borders`; after: `study/ages/evaluate`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, IntColumn
from sim.study.ages.bent import saved_power
from sim.study.ages.border_rows import find_borders
from sim.study.ages.borders import sum_borders
from sim.study.ages.period import count_periods, sum_periods
from sim.study.ages.plan import Plan, Setting
from sim.study.ages.power import Lamps
from sim.study.ages.records import KindPieces, ZonePieces
from sim.units import JOULES_PER_KWH, SECONDS_PER_HOUR

__all__ = ["COUNTED", "evaluate_zone"]

Flags = NDArray[np.bool_]
COUNTED = (
    "energy_kwh",
    "schedule_only_kwh",
    "time_at_low_h",
    "time_at_zero_h",
    "lit_empty_h",
    "dim_truck_s",
    "shortfall_truck_s",
    "dim_entries",
    "false_offs",
    "switch_ups",
    "switch_downs",
    "timetable_changes",
)
"""The outcomes that settings change; the others are the same in every choice."""


def evaluate_zone(
    pieces: ZonePieces, plan: Plan, lamps: Lamps, hold_s: float
) -> tuple[dict[str, FloatColumn], Flags]:
    """Return the outcomes named in `COUNTED` of every choice, and where the zone must be replayed (K,).

    Parameters
    ----------
    pieces : the zone's traffic
    plan : the choices
    lamps : the zone's luminaires
    hold_s : the sensor's hold time
    """
    found = {name: np.zeros(len(plan)) for name in COUNTED}
    week = pieces.week
    settings = [plan.setting(name, hold_s) for name in week.names]
    fails = np.zeros(len(plan), dtype=bool)
    joules = np.zeros(len(plan))
    lit_s = np.full(len(plan), week.end_s - pieces.occupied_s - pieces.first_low_s + pieces.first_present_s)
    for name, setting, own in zip(week.names, settings, pieces.kinds, strict=True):
        fails |= (setting.delay <= week.latency_s + setting.up) | (setting.delay < pieces.least_s)
        fails |= (setting.low > setting.occupied) | (setting.lowest > setting.low)
        joules += _add_kind(pieces, own, plan, name, setting, lamps, found, lit_s)
    found["time_at_low_h"] += pieces.first_low_s
    found["dim_entries"] += pieces.first_entries
    found["switch_ups"] += pieces.first_up
    found["lit_empty_h"] = lit_s
    for first, second in sorted(set(zip(week.kind[:-1].tolist(), week.kind[1:].tolist(), strict=True))):
        joules += _add_pair(pieces, plan, first, second, settings, lamps, found, fails)
    found["energy_kwh"] = (
        lamps.dimmed * joules + lamps.fixed * lamps.power.curve.full_w * week.end_s
    ) / JOULES_PER_KWH
    found["schedule_only_kwh"] += lamps.fixed * lamps.power.curve.full_w * week.end_s / JOULES_PER_KWH
    for name in ("time_at_low_h", "time_at_zero_h", "lit_empty_h"):
        found[name] = found[name] / SECONDS_PER_HOUR
    return found, fails


def _add_kind(
    pieces: ZonePieces,
    own: KindPieces,
    plan: Plan,
    name: str,
    setting: Setting,
    lamps: Lamps,
    found: dict[str, FloatColumn],
    lit_s: FloatColumn,
) -> FloatColumn:
    """Add the periods of one name; return the energy of one luminaire [J] (K,)."""
    timing, distinct = plan.timing[name], setting.take(plan.first[name])
    latency_s, length_s, power = pieces.week.latency_s, own.length_s, lamps.power
    sums = sum_periods(own, distinct, latency_s, pieces.line)
    delay, which = np.unique(distinct.delay, return_inverse=True)
    counts, of = count_periods(own, delay), which.reshape(-1)[timing]
    found["switch_ups"] += counts.ups[of]
    found["switch_downs"] += counts.downs[of]
    found["false_offs"] += counts.false_offs[of]
    found["dim_entries"] += counts.dim_entries[of]
    found["time_at_low_h"] += counts.low_s[of]
    lit_s += (counts.low_present_s - counts.low_s)[of]

    fall, last_fall = setting.occupied - setting.low, setting.low - setting.lowest
    low_s, lowest_s = sums.low_s[timing], sums.lowest_s[timing]
    found["time_at_zero_h"] += np.where(setting.low == 0.0, low_s - lowest_s, 0.0)
    found["time_at_zero_h"] += np.where(setting.lowest == 0.0, lowest_s, 0.0)
    shown = setting.occupied > 0.0
    missing = fall * sums.truck_dimmed[timing] + last_fall * sums.truck_dimmer[timing]
    found["shortfall_truck_s"] += np.where(shown, missing / np.where(shown, setting.occupied, 1.0), 0.0)
    found["dim_truck_s"] += np.where(
        fall > 0.0, sums.truck_low_s[timing], np.where(last_fall > 0.0, sums.truck_lowest_s[timing], 0.0)
    )
    occupied_w = power.at(setting.occupied)
    found["schedule_only_kwh"] += lamps.dimmed * occupied_w * length_s / JOULES_PER_KWH
    if power.is_straight:
        dark = fall * sums.dimmed[timing] + last_fall * sums.dimmer[timing]
        return np.asarray(occupied_w * length_s - (power.curve.full_w - float(power.curve.watts[0])) * dark)
    first, which = _distinct([plan.identity[name]])
    return np.asarray(occupied_w * length_s - saved_power(own, setting.take(first), power, latency_s)[which])


def _distinct(identities: list[IntColumn]) -> tuple[IntColumn, IntColumn]:
    """Return the first choice of each distinct combination, and the combination of each choice."""
    _, first, which = np.unique(np.stack(identities, axis=1), axis=0, return_index=True, return_inverse=True)
    return first, which.reshape(-1)


def _add_pair(
    pieces: ZonePieces,
    plan: Plan,
    first: int,
    second: int,
    settings: list[Setting],
    lamps: Lamps,
    found: dict[str, FloatColumn],
    fails: Flags,
) -> FloatColumn:
    """Add the borders from one name to another; return the energy of one luminaire [J] (K,)."""
    borders = find_borders(pieces, first, second)
    before, after = (plan.identity[pieces.week.names[kind]] for kind in (first, second))
    chosen, of = _distinct([before, after])
    sums = sum_borders(
        pieces,
        borders,
        settings[first].take(chosen),
        settings[second].take(chosen),
        before[chosen] != after[chosen],
        lamps.power,
    )
    for name, column in (
        ("dim_truck_s", sums.dim_truck_s),
        ("shortfall_truck_s", sums.shortfall_truck_s),
        ("time_at_zero_h", sums.zero_s),
        ("timetable_changes", sums.changes),
        ("switch_ups", sums.ups),
        ("switch_downs", sums.downs),
        ("false_offs", sums.false_offs),
    ):
        found[name] += column[of]
    fails |= sums.is_open[of]
    return sums.joules[of]
