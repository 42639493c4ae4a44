"""Contradictions in what is said for a rebate worksheet: agreed numbers without their source.

Comes in: the valid parts of a scenario.  Goes out: problems.  Part of `scenario/checks/contradictions`.
"""

from __future__ import annotations

from collections.abc import Iterator

from sim.scenario.faults import Problem
from sim.scenario.parts import Parts
from sim.scenario.tables.rebate import SOURCED_KEYS, Rebate

__all__ = ["REBATE_CHECKS"]


def check_sources(parts: Parts) -> Iterator[Problem]:
    """Every agreed number stands beside its source, and every source beside its number."""
    rebate = parts.tables.get("rebate")
    if not isinstance(rebate, Rebate):
        return
    for key in SOURCED_KEYS:
        source = f"{key}_source"
        if getattr(rebate, key) is not None and getattr(rebate, source) is None:
            yield Problem(("rebate", key), f"needs {source}: the document, its edition and the page")
        elif getattr(rebate, source) is not None and getattr(rebate, key) is None:
            yield Problem(("rebate", source), f"is the source of {key}, which is not there")


REBATE_CHECKS = (check_sources,)
