"""Unit constants and the few conversions that every room shares.

Exact definitions: 1 ft = 0.3048 m, 1 lb = 0.45359237 kg (international yard and pound agreement, 1959).
"""

from __future__ import annotations

__all__ = [
    "JOULES_PER_KWH",
    "LUX_PER_FOOTCANDLE",
    "QUARTER_S",
    "SECONDS_PER_DAY",
    "SECONDS_PER_HOUR",
    "SECONDS_PER_WEEK",
    "WEEKDAYS",
]

SECONDS_PER_HOUR = 3600.0
SECONDS_PER_DAY = 86_400.0
SECONDS_PER_WEEK = 604_800.0
QUARTER_S = 900.0
JOULES_PER_KWH = 3.6e6
LUX_PER_FOOTCANDLE = 1.0 / 0.3048**2
WEEKDAYS: tuple[str, ...] = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
