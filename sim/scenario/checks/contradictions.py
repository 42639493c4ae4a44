"""What one key alone cannot show: contradictions between sound tables, and what a reader must be told.

Comes in: the valid parts of a scenario, or a whole one.  Goes out: problems, which refuse the file, and
notices, which go into every result.  Uses the geometry of `floor/layout` and the week of
`lighting/timetable`, so that what is checked is what is run.  After it: `scenario/toml`.
Each check is a small function that runs on whatever parts are valid.
"""

from __future__ import annotations

from sim.scenario.checks.area import AREA_CHECKS
from sim.scenario.checks.dock import DOCK_CHECKS
from sim.scenario.checks.exception import EXCEPTION_CHECKS
from sim.scenario.checks.fleet import FLEET_CHECKS
from sim.scenario.checks.group import GROUP_CHECKS
from sim.scenario.checks.light import LIGHT_CHECKS, LIGHT_NOTICES
from sim.scenario.checks.live import LIVE_CHECKS, LIVE_NOTICES
from sim.scenario.checks.money import MONEY_CHECKS, MONEY_NOTICES
from sim.scenario.checks.notices import NOTICES
from sim.scenario.checks.outside import OUTSIDE_CHECKS
from sim.scenario.checks.rebate import REBATE_CHECKS
from sim.scenario.checks.site import SITE_CHECKS
from sim.scenario.checks.traffic import TRAFFIC_CHECKS
from sim.scenario.checks.way import WAY_CHECKS, WAY_NOTICES
from sim.scenario.checks.week import WEEK_CHECKS
from sim.scenario.checks.wiring import WIRING_CHECKS
from sim.scenario.faults import Problem
from sim.scenario.parts import Parts
from sim.scenario.schema import Scenario

__all__ = ["find_contradictions", "find_notices"]

TELLERS = (*NOTICES, *LIGHT_NOTICES, *MONEY_NOTICES, *LIVE_NOTICES, *WAY_NOTICES)
CHECKS = (
    *SITE_CHECKS,
    *GROUP_CHECKS,
    *AREA_CHECKS,
    *LIGHT_CHECKS,
    *MONEY_CHECKS,
    *OUTSIDE_CHECKS,
    *WEEK_CHECKS,
    *EXCEPTION_CHECKS,
    *TRAFFIC_CHECKS,
    *FLEET_CHECKS,
    *WAY_CHECKS,
    *DOCK_CHECKS,
    *LIVE_CHECKS,
    *WIRING_CHECKS,
    *REBATE_CHECKS,
)


def find_contradictions(parts: Parts) -> tuple[Problem, ...]:
    """Return every contradiction between the valid parts of a scenario, each told once."""
    return tuple(dict.fromkeys(problem for check in CHECKS for problem in check(parts)))


def find_notices(scenario: Scenario) -> tuple[str, ...]:
    """Return what a reader of the results must know: assumptions left open, settings without effect.

    Parameters
    ----------
    scenario : resolved and free of contradictions

    Returns
    -------
    plain sentences, the same for the same scenario; a resolved file that was written out has every
    default stated, so that nothing counts as left open in it
    """
    return tuple(dict.fromkeys(sentence for notice in TELLERS for sentence in notice(scenario)))
