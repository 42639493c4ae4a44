"""Answers to single questions as plain JSON values: an instant, the worst spells, an estimate, a log's table.

Comes in: `Moment`s, `Spell`s, `QuickInputs`, an `ExtraTable`.  Goes out: plain values.  Before: `study`;
after: `commands/ask`, `commands/page`, `commands/data`.  Times of a run are seconds from its start, beside
local time.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from sim.provenance import content_hash
from sim.results import ExtraTable, Result
from sim.study.explain import Moment, Spell
from sim.study.quick import QuickInputs, quick_estimate

__all__ = ["estimate_json", "moments_json", "quality_json", "spells_json"]


def _head(result: Result, source: str) -> dict[str, Any]:
    """What every answer about a run begins with."""
    scenario = result.scenario
    return {
        "format": 1,
        "title": scenario.title,
        "source": source,
        "traffic": result.source,
        "replication": result.replications[0],
        "start": scenario.start_datetime.isoformat(),
        "seed": scenario.seed,
        "scenario_hash": content_hash(scenario.content()),
    }


def _local(result: Result, time_s: float) -> str:
    """An instant of the run on the local clock."""
    return (result.scenario.start_datetime + dt.timedelta(seconds=time_s)).isoformat(timespec="seconds")


def moments_json(result: Result, moments: Sequence[Moment]) -> dict[str, Any]:
    """Return the explanation of one instant, an entry per zone."""
    return {
        **_head(result, "explain"),
        "units": {"times": "s from the run's start", "levels": "share of full light", "energy": "kWh a year"},
        "aisle": moments[0].aisle,
        "at_s": moments[0].time,
        "at": _local(result, moments[0].time),
        "zones": [_moment(one) for one in moments],
    }


def _moment(one: Moment) -> dict[str, Any]:
    """One zone at one instant."""
    return {
        "zone": one.zone,
        "level": one.level,
        "occupied_level": one.occupied,
        "is_high": one.is_high,
        "settings": one.settings_name,
        "hold_s": one.hold_s,
        "timeout_s": one.timeout_s,
        "second_delay_s": one.second_delay_s,
        "last_motion_s": [one.last_start, one.last_end],
        "next_motion_s": one.next_start,
        "low_since_s": one.low_since,
        "is_by_timetable": one.is_by_border,
        "trucks": [asdict(guest) for guest in one.guests],
        "cure_now": None if one.now is None else asdict(one.now),
        "cure_whole_visit": None if one.visit is None else asdict(one.visit),
    }


def spells_json(result: Result, spells: Sequence[Spell], aisle: str | None) -> dict[str, Any]:
    """Return the worst dim spells, the longest first; `aisle` is None for all."""
    return {
        **_head(result, "explain"),
        "units": {"times": "s from the run's start", "levels": "share of full light"},
        "aisle": aisle,
        "spells": [
            {
                "from_s": spell.start,
                "to_s": spell.end,
                "from": _local(result, spell.start),
                "length_s": spell.end - spell.start,
                "aisle": spell.aisle,
                "truck": spell.truck,
                "task": spell.task,
                "visit_s": [spell.enter, spell.leave],
                "least_level": spell.least_level,
            }
            for spell in spells
        ],
    }


def estimate_json(inputs: QuickInputs) -> dict[str, Any]:
    """Return the quick estimate: what was asked, and three options with their ranges."""
    return {
        "format": 1,
        "title": "Quick estimate",
        "source": "estimate",
        "inputs": asdict(inputs),
        "units": {
            "timeout_s": "s",
            "level": "share of full power",
            **dict.fromkeys(("low", "likely", "high"), "saved share of always on"),
            "saved_kwh": "kWh a year",
            "saved_money": "a year",
            "payback_years": "years",
        },
        "options": [asdict(option) for option in quick_estimate(inputs)],
        "notices": ["A closed form for a first talk: nothing was simulated."],
    }


def quality_json(table: ExtraTable, log: str, kind: str) -> dict[str, Any]:
    """Return what is wrong in a log.

    Parameters
    ----------
    table : counts with what was counted
    log : its file
    kind : what it holds
    """
    return {
        "format": 1,
        "title": table.title,
        "source": "quality",
        "file": log,
        "log": kind,
        "checks": [
            {"check": check, "count": int(count), "detail": detail} for check, count, detail in table.rows
        ],
        "notices": list(table.remarks),
    }
