"""What a user may say about wiring: which circuit feeds which aisles' lights.

Comes in: plain values.  Goes out: the frozen `Circuit` table.  Before: `scenario/tables/base`; after:
`scenario/schema`, `show/handover/lists`, `verification/circuits`.  No figure of a run depends on it: it is
for the lists of a handover and for meters by circuit.
"""

from __future__ import annotations

from typing import Literal

from sim.scenario.tables.base import Name, Names, Part, quantity

__all__ = ["Circuit"]


class Circuit(Part):
    """One circuit and the lights that it feeds; for the circuit list of a handover."""

    tag: Name = quantity("its tag on the drawings and in the panel")
    aisles: Names = quantity("aisles and open areas whose lights it feeds")
    feeds: Literal["all", "dimmed", "fixed"] = quantity(
        "all luminaires of these aisles, those that dim, or those that never do (fixed_on)", "-", "all"
    )
