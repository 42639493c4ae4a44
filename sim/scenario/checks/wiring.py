"""Contradictions in the list of circuits: aisles that are not there, lights that are fed twice.

Comes in: the valid parts of a scenario.  Goes out: problems.  Part of `scenario/checks/contradictions`.
"""

from __future__ import annotations

from collections.abc import Iterator

from sim.scenario.checks.site import repeated
from sim.scenario.faults import Problem
from sim.scenario.parts import Parts
from sim.scenario.tables.areas import Area
from sim.scenario.tables.wiring import Circuit
from sim.wording import nearest_text

__all__ = ["WIRING_CHECKS"]

_BOTH = ("dimmed", "fixed")


def check_circuits(parts: Parts) -> Iterator[Problem]:
    """Circuits have tags of their own and feed aisles that are there, each kind of light once."""
    rows = parts.lists["circuits"]
    positions = list(rows)
    tags = [row.tag for row in rows.values() if isinstance(row, Circuit)]
    for tag, places in repeated(tags).items():
        yield Problem(("circuits", positions[places[1]], "tag"), f'the tag "{tag}" stands more than once')
    areas = [row.name for row in parts.lists["area"].values() if isinstance(row, Area)]
    there = None if parts.aisle_names is None else (*parts.aisle_names, *areas)
    fed: dict[tuple[str, str], str] = {}
    for position, row in rows.items():
        assert isinstance(row, Circuit)
        for number, name in enumerate(row.aisles):
            path = ("circuits", position, "aisles", number)
            if there is not None and name not in there:
                yield Problem(path, f'there is no aisle or area "{name}"{nearest_text(name, there)}')
                continue
            for kind in _BOTH if row.feeds == "all" else (row.feeds,):
                if (name, kind) in fed:
                    yield Problem(
                        path,
                        f'the lights of "{name}" ({kind}) are fed by "{fed[name, kind]}" already; name each '
                        "once, or part them with feeds",
                    )
                    break
                fed[name, kind] = row.tag


WIRING_CHECKS = (check_circuits,)
