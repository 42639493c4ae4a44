"""Forklift traffic against aisle dimming: load a scenario, run it or replay logs, read the figures.

Examples
--------
>>> import sim
>>> site = sim.load("pallet-reserve")
>>> site.title != ""
True
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sim.errors import AislewakeError, InputError, MachineError
    from sim.outcome.names import OUTCOMES
    from sim.records import Detections, Visits
    from sim.results import CloseLook, Estimate, Outcomes, Result
    from sim.scenario.schema import Scenario
    from sim.scenario.toml import load
    from sim.show.folder import write_results
    from sim.study.replicate import replay, run

_HOMES = {
    "AislewakeError": "sim.errors",
    "CloseLook": "sim.results",
    "Detections": "sim.records",
    "Estimate": "sim.results",
    "InputError": "sim.errors",
    "MachineError": "sim.errors",
    "OUTCOMES": "sim.outcome.names",
    "Outcomes": "sim.results",
    "Result": "sim.results",
    "Scenario": "sim.scenario.schema",
    "Visits": "sim.records",
    "load": "sim.scenario.toml",
    "replay": "sim.study.replicate",
    "run": "sim.study.replicate",
    "write_results": "sim.show.folder",
}

__all__ = [
    "OUTCOMES",
    "AislewakeError",
    "CloseLook",
    "Detections",
    "Estimate",
    "InputError",
    "MachineError",
    "Outcomes",
    "Result",
    "Scenario",
    "Visits",
    "load",
    "replay",
    "run",
    "write_results",
]


def __getattr__(name: str) -> Any:
    """Fetch a public name from its room when it is first used: `import sim` costs next to nothing."""
    if name not in _HOMES:
        raise AttributeError(f"module 'sim' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)
