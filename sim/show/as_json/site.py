"""What `check` finds as plain JSON values: the resolved site's main facts and notices, or every fault.

Comes in: a resolved scenario with layout and notices, or what was wrong.  Goes out: plain values.  Before:
`show/words/in_force`, `show/words/limits`; after: `cli`.  Levels are shares of full light, times seconds.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from sim.errors import AislewakeError, InputError
from sim.floor.layout import Layout
from sim.provenance import content_hash, versions
from sim.scenario.schema import Scenario
from sim.show.words.in_force import InForce, connected_kw, settings_in_force
from sim.show.words.limits import limit_summary
from sim.wording import nearest_in

__all__ = ["check_summary", "fault_summary"]


def check_summary(
    file: str, scenario: Scenario, layout: Layout, notices: Sequence[str], borders: int
) -> dict[str, Any]:
    """Return a sound scenario's main facts.

    Parameters
    ----------
    file : as given
    scenario, layout : the site
    notices : what a reader must know
    borders : of the timetable, within the run
    """
    return {
        "format": 1,
        "title": scenario.title,
        "source": "check",
        "file": file,
        "is_valid": True,
        "faults": [],
        "notices": list(notices),
        "run": {
            "start": scenario.start_datetime.isoformat(),
            "days": scenario.days,
            "replications": scenario.replications,
            "precision": scenario.precision,
            "timetable_borders": borders,
        },
        "floor": {
            "aisles": list(layout.aisles),
            "lengths_m": layout.length_m.tolist(),
            "zones": len(layout.zones),
            "areas": [area.name for area in scenario.area or ()],
            "dock_doors": scenario.floor.dock_doors,
            "aisle_capacity": scenario.floor.aisle_capacity,
        },
        "luminaires": {
            "count": int(layout.dimmed.sum() + layout.fixed.sum()),
            "never_dim": int(layout.fixed.sum()),
            "connected_kw": connected_kw(scenario),
            "off_kw": connected_kw(scenario, 0.0),
        },
        "sensors": len(layout.sensor_m),
        "settings": [_settings(row) for row in settings_in_force(scenario)],
        "trucks": {group.name: group.count for group in scenario.trucks},
        "work": [work.name for work in scenario.work],
        "trailers": [stream.name for stream in (*scenario.inbound, *scenario.outbound)],
        "limits": limit_summary(scenario),
        "seed": scenario.seed,
        "scenario_hash": content_hash(scenario.content()),
        "versions": versions(),
    }


def _settings(row: InForce) -> dict[str, Any]:
    """Settings in force in some aisles."""
    own = row.settings
    return {
        "name": row.name,
        "uses": row.uses,
        "aisles": list(row.aisles),
        "hours_a_week": row.hours_a_week,
        "hold_s": row.sensors.hold_s,
        "timeout_s": own.timeout_s,
        "sum_s": row.delay_s,
        "occupied_level": own.occupied_level,
        "unoccupied_level": own.unoccupied_level,
        "second_delay_s": own.second_delay_s,
        "second_level": own.second_level,
        "fade_up_s": own.fade_up_s,
        "fade_down_s": own.fade_down_s,
    }


def fault_summary(command: str, error: AislewakeError) -> dict[str, Any]:
    """Return what was wrong: for bad input every fault, for a machine in trouble the one message.

    Parameters
    ----------
    command : that met it
    error : with its exit code
    """
    faults = error.faults if isinstance(error, InputError) else ()
    return {
        "format": 1,
        "source": command,
        "is_valid": False,
        "exit_code": error.exit_code,
        "message": str(error),
        "faults": [
            {
                "file": fault.where or None,
                "line": fault.line,
                "column": fault.column,
                "key": fault.key or None,
                "value": _value(fault.value),
                "allowed": fault.allowed or None,
                "nearest": nearest_in(fault.message),
                "message": fault.message,
            }
            for fault in faults
        ],
    }


def _value(value: object) -> object:
    """A value of a file as JSON has it: tables are left out, dates are texts."""
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, list) and all(isinstance(one, str | int | float) for one in value):
        return value
    return value if isinstance(value, str | int | float) else None
