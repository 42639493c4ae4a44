"""Skylights on the page: where caps change, which places have them, and what a reader is told.

Comes in: a scenario.  Goes out: plain columns and words.  Before: `lighting/daylight`; after:
`show/page/data`.  The other half is `makePrograms` in files/lights.mjs.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sim.lighting.daylight import hour_caps, skylight_caps
from sim.records import FloatColumn
from sim.scenario.schema import Scenario

__all__ = ["cap_changes", "daylight_words", "roofed_places"]


def cap_changes(scenario: Scenario) -> tuple[FloatColumn, FloatColumn] | None:
    """Return when the cap changes and what it is from there on; None without skylights.

    Parameters
    ----------
    scenario : resolved

    Returns
    -------
    starts : of the hours at which it changes, the run's start among them [s] (n,)
    caps : share of full light that is still needed (n,)
    """
    if scenario.skylight is None:
        return None
    starts, caps = hour_caps(skylight_caps(scenario.skylight), scenario.start_datetime, scenario.duration_s)
    changes = np.append(True, caps[1:] != caps[:-1])
    return starts[changes], caps[changes]


def roofed_places(scenario: Scenario) -> list[bool]:
    """Say of each place whether daylight caps its levels (P,); open areas have no skylights."""
    skylight = scenario.skylight
    aisles = () if skylight is None else skylight.aisles or scenario.aisle_names
    return [members[0] in aisles for _, members in scenario.places]


def daylight_words(roofed: Sequence[bool]) -> str:
    """Return what skylights do to the sliders, in a sentence; none where no place has them (P,)."""
    if not any(roofed):
        return ""
    where = "everywhere" if all(roofed) else f"in {sum(roofed)} of {len(roofed)} places"
    return (
        f"Daylight caps these levels hour by hour, {where}: a light is dim below the lesser of the occupied "
        "level and the cap."
    )
