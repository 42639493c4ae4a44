"""Usual values of truck types: what `type = "reach"` or `kind = "walker"` fills in where a key is absent.

Comes in: nothing.  Goes out: `TYPE_VALUES`, one table with source and trust for every value.  Used by
`scenario/tables/traffic`.  Type words as in ISO 5053-1, "Industrial trucks - Vocabulary - Part 1: Types of
industrial trucks" (from memory).  Low trust: an editable default, never a figure to defend.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

__all__ = ["MAST_SPEEDS", "TYPE_VALUES", "UsualValue", "usual_values"]


@dataclass(frozen=True)
class UsualValue:
    """One default.

    Attributes
    ----------
    value : what is filled in
    source : where it comes from
    trust : "high", "med" or "low"
    """

    value: float | bool
    source: str
    trust: str


_SHEETS = "usual range of manufacturers' type sheets, from memory"
_RULE = "what the word means: floor trucks lower before they travel, turret trucks do both at once"
_KMH = 1.0 / 3.6


def _truck(
    laden_kmh: float,
    empty_kmh: float,
    speeds: str,
    trust: str,
    mast: tuple[float, float, str] | None,
    reaches_m: tuple[float, str] | None,
    *,
    lifts_while_travelling: bool = False,
) -> dict[str, UsualValue]:
    """Put one type together."""
    values = {
        "speed_laden_m_per_s": UsualValue(round(laden_kmh * _KMH, 2), f"{speeds}; {_SHEETS}", trust),
        "speed_empty_m_per_s": UsualValue(round(empty_kmh * _KMH, 2), f"{speeds}; {_SHEETS}", trust),
        "acceleration_m_per_s2": UsualValue(0.5, f"0.3 to 0.8 m/s2; {_SHEETS}", "low"),
        "handling_mean_s": UsualValue(30.0, "0.25 to 0.75 min a pick or deposit, from memory", "low"),
        "lifts_while_travelling": UsualValue(lifts_while_travelling, _RULE, "high"),
    }
    if mast is not None:
        lift, lower, range_text = mast
        values["lift_m_per_s"] = UsualValue(lift, f"{range_text}; {_SHEETS}", "med")
        values["lower_m_per_s"] = UsualValue(lower, f"{range_text}; {_SHEETS}", "med")
    if reaches_m is not None:
        height, range_text = reaches_m
        values["lift_height_m"] = UsualValue(height, f"{range_text}; {_SHEETS}", "med")
    return values


_WALKING = UsualValue(
    1.0668, "3.5 ft/s, Manual on Uniform Traffic Control Devices, 2009 (seen in a public copy)", "high"
)

MAST_SPEEDS: tuple[str, str] = ("lift_m_per_s", "lower_m_per_s")

TYPE_VALUES: Mapping[str, Mapping[str, UsualValue]] = {
    "counterbalance": _truck(
        9.0, 10.0, "sites limit it to 8 to 12 km/h (the truck could do 14 to 18)", "med",
        (0.40, 0.50, "lift 0.35 to 0.50, lower 0.45 to 0.55 m/s"), (6.0, "3 to 6 m"),
    ),
    "reach": _truck(
        10.0, 12.0, "10 to 14 km/h", "med",
        (0.40, 0.50, "lift 0.30 to 0.50, lower 0.45 to 0.55 m/s"), (12.0, "7 to 12 m"),
    ),
    "turret": _truck(
        9.0, 10.0, "9 to 10.5 km/h", "med",
        (0.40, 0.42, "lift 0.35 to 0.45, lower 0.40 to 0.45 m/s"), None, lifts_while_travelling=True,
    ),
    "order-picker": _truck(
        8.0, 9.0, "8 to 10.5 km/h, less when raised", "med",
        (0.30, 0.32, "lift 0.20 to 0.40, lower 0.25 to 0.40 m/s"), (12.0, "3 to 12 m"),
    ),
    "pallet-truck": _truck(8.0, 10.0, "ridden 8 to 12 km/h, walked 6", "med", None, (0.2, "0.2 m")),
    "walker": {
        "speed_laden_m_per_s": _WALKING,
        "speed_empty_m_per_s": _WALKING,
        "handling_mean_s": UsualValue(0.0, "a walker's time in an aisle is the work's dwell_mean_s", "high"),
    },
}
"""Type (or "walker") to key to value.  Keys that are not here have no usual value."""


def usual_values(type_: object, kind: object) -> Mapping[str, float | bool]:
    """Return what a type or a walker fills in, nothing without either.

    A word that is no type fills in a truck's values, so that the wrong word is told and not also each key.

    Examples
    --------
    >>> usual_values(None, None)
    {}
    >>> usual_values("turret", None)["lift_m_per_s"]
    0.4
    """
    if kind == "walker":
        name = "walker"
    elif type_ is None:
        return {}
    else:
        name = type_ if isinstance(type_, str) and type_ in TYPE_VALUES and type_ != "walker" else "reach"
    return {key: usual.value for key, usual in TYPE_VALUES[name].items()}
