"""Forklift traffic against aisle dimming: load a scenario, run it or replay logs, decide between settings.

One run: `load`, `run`, `replay`.  Many settings: `parse_varied`, `make_plan`, `sweep`; `make_wish`,
`recommend`; `compare`; `tornado`, `find_indices`.  Piece by piece, on one traffic: `prepare_site`,
`simulate_traffic`, `replay_site`, `evaluate_settings`; traffic from a log: `read_columns_file`,
`read_site_log`, `fit_site`, `judge_fit`; with lights that one writes oneself: `simulate_live`.

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
    from sim.replication import prepare_site, replay_site, simulate_live, simulate_traffic
    from sim.results import CloseLook, Estimate, Outcomes, Result
    from sim.scenario.log_columns import read_columns_file
    from sim.scenario.schema import Scenario, Settings
    from sim.scenario.toml import load
    from sim.show.folders.recommend import write_recommendation
    from sim.show.folders.run import write_results
    from sim.show.folders.sweep import write_sweep
    from sim.study.ages.evaluate import evaluate_settings
    from sim.study.batch.study import run_batch
    from sim.study.compare import compare, from_scenario, from_store
    from sim.study.decide.recommend import recommend
    from sim.study.decide.wish import make_wish, with_wishes
    from sim.study.explain import explain_moment, find_worst_spells
    from sim.study.from_logs.fit import fit_site
    from sim.study.from_logs.goodness import judge_fit
    from sim.study.from_logs.log import read_site_log
    from sim.study.inputs import parse_inputs, usual_inputs
    from sim.study.replications.replicate import replay, run
    from sim.study.replications.warmup import find_warm_up
    from sim.study.sensitivity import find_indices, log_size, tornado
    from sim.study.store import read_stored_run
    from sim.study.sweeping.front import find_front, find_knee, hypervolume
    from sim.study.sweeping.plan import make_plan
    from sim.study.sweeping.sweep import sweep
    from sim.study.sweeping.vary import parse_varied
    from sim.verification.meter import read_meter
    from sim.verification.verify import verify_meter
    from sim.verification.worksheet import make_worksheet

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
    "Settings": "sim.scenario.schema",
    "Visits": "sim.records",
    "compare": "sim.study.compare",
    "evaluate_settings": "sim.study.ages.evaluate",
    "explain_moment": "sim.study.explain",
    "find_front": "sim.study.sweeping.front",
    "find_indices": "sim.study.sensitivity",
    "find_knee": "sim.study.sweeping.front",
    "find_warm_up": "sim.study.replications.warmup",
    "find_worst_spells": "sim.study.explain",
    "fit_site": "sim.study.from_logs.fit",
    "from_scenario": "sim.study.compare",
    "from_store": "sim.study.compare",
    "hypervolume": "sim.study.sweeping.front",
    "judge_fit": "sim.study.from_logs.goodness",
    "load": "sim.scenario.toml",
    "log_size": "sim.study.sensitivity",
    "make_plan": "sim.study.sweeping.plan",
    "make_wish": "sim.study.decide.wish",
    "make_worksheet": "sim.verification.worksheet",
    "parse_inputs": "sim.study.inputs",
    "parse_varied": "sim.study.sweeping.vary",
    "prepare_site": "sim.replication",
    "read_columns_file": "sim.scenario.log_columns",
    "read_meter": "sim.verification.meter",
    "read_site_log": "sim.study.from_logs.log",
    "read_stored_run": "sim.study.store",
    "recommend": "sim.study.decide.recommend",
    "replay": "sim.study.replications.replicate",
    "replay_site": "sim.replication",
    "run": "sim.study.replications.replicate",
    "run_batch": "sim.study.batch.study",
    "simulate_live": "sim.replication",
    "simulate_traffic": "sim.replication",
    "sweep": "sim.study.sweeping.sweep",
    "tornado": "sim.study.sensitivity",
    "usual_inputs": "sim.study.inputs",
    "verify_meter": "sim.verification.verify",
    "with_wishes": "sim.study.decide.wish",
    "write_recommendation": "sim.show.folders.recommend",
    "write_results": "sim.show.folders.run",
    "write_sweep": "sim.show.folders.sweep",
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
    "Settings",
    "Visits",
    "compare",
    "evaluate_settings",
    "explain_moment",
    "find_front",
    "find_indices",
    "find_knee",
    "find_warm_up",
    "find_worst_spells",
    "fit_site",
    "from_scenario",
    "from_store",
    "hypervolume",
    "judge_fit",
    "load",
    "log_size",
    "make_plan",
    "make_wish",
    "make_worksheet",
    "parse_inputs",
    "parse_varied",
    "prepare_site",
    "read_columns_file",
    "read_meter",
    "read_site_log",
    "read_stored_run",
    "recommend",
    "replay",
    "replay_site",
    "run",
    "run_batch",
    "simulate_live",
    "simulate_traffic",
    "sweep",
    "tornado",
    "usual_inputs",
    "verify_meter",
    "with_wishes",
    "write_recommendation",
    "write_results",
    "write_sweep",
]


def __getattr__(name: str) -> Any:
    """Fetch a public name from its room when it is first used: `import sim` costs next to nothing."""
    if name not in _HOMES:
        raise AttributeError(f"module 'sim' has no attribute {name!r}")
    return getattr(import_module(_HOMES[name]), name)
