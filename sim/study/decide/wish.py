"""What is asked of a recommendation, complete and checked.

Comes in: a scenario with its `[recommend]` table.  Goes out: `Wish`, or every fault and refusal at once.
Before: `study/decide/measures`, `study/decide/candidates`, `study/decide/refusals`; after:
`study/decide/recommend`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from sim.errors import Fault, InputError
from sim.scenario.faults import key_text
from sim.scenario.schema import Recommend, Scenario
from sim.study.decide.candidates import Offer, names_in_force, offer
from sim.study.decide.measures import Limit, Measure, MeasureError, Scope, parse_measure
from sim.study.decide.refusals import find_refusals
from sim.study.sweeping.plan import check_content
from sim.wording import nearest_text

__all__ = ["Wish", "make_wish", "with_wishes"]

_FIXED_BY_TRAFFIC = frozenset({"always_on_kwh", "code_minimum_kwh", "occupied_h", "visits", "mouth_wait_s"})
_TABLES: tuple[tuple[str, Scope], ...] = (("max", "site"), ("max_zone", "zone"), ("max_hour", "hour"))


@dataclass(frozen=True)
class Wish:
    """What a recommendation must keep to and what it may choose from.

    Attributes
    ----------
    scenario : the site with its own settings
    flat : the same with one set of settings for all aisles under each timetable name
    aim : what is minimised
    limits : what must not be exceeded
    offer : candidates
    groups : groups of like aisles
    notices : what a reader must know of the question itself
    """

    scenario: Scenario
    flat: Scenario
    aim: Measure
    limits: tuple[Limit, ...]
    offer: Offer
    groups: int
    notices: tuple[str, ...]


def with_wishes(scenario: Scenario, changes: Mapping[str, Any]) -> Scenario:
    """Return the scenario with keys of its `[recommend]` table set; limits are joined by name.

    Parameters
    ----------
    scenario : resolved
    changes : plain values by key; those of `max`, `max_zone`, `max_hour` are tables

    Raises
    ------
    InputError : a value is not allowed
    """
    content = scenario.content()
    table: dict[str, Any] = dict(content.get("recommend", {}))
    for key, value in changes.items():
        table[key] = (
            {**table.get(key, {}), **value} if isinstance(value, Mapping) and key.startswith("max") else value
        )
    content["recommend"] = table
    changed, problems = check_content(content)
    if changed is None:
        raise InputError(
            [Fault("", None, key_text(problem.path, content), problem.message) for problem in problems]
        )
    return changed


def flatten(scenario: Scenario) -> Scenario:
    """Return the scenario with the timetable's own settings everywhere: no override of settings."""
    used = {name: scenario.lighting.settings[name] for name in scenario.names_in_force}
    override = tuple(one.model_copy(update={"settings": None}) for one in scenario.override)
    lighting = scenario.lighting.model_copy(update={"settings": used})
    areas = None
    if scenario.area is not None:
        areas = tuple(one.model_copy(update={"settings": None}) for one in scenario.area)
    return scenario.model_copy(update={"lighting": lighting, "override": override, "area": areas})


def make_wish(scenario: Scenario) -> Wish:
    """Read the `[recommend]` table.

    Raises
    ------
    InputError : nothing to keep to, unknown measures or names, or a reason not to recommend; all together
    """
    table = scenario.recommend or Recommend()
    faults: list[Fault] = []
    aim, limits = _read_measures(table, faults)
    faults += _check_names(scenario, table)
    if not (scenario.work or scenario.inbound or scenario.outbound):
        faults.append(
            Fault("", None, "work", "there is no [[work]]: nothing moves, so that nothing can be advised")
        )
    if not limits and not any(fault.key.startswith("recommend.max") for fault in faults):
        faults.append(
            Fault(
                "",
                None,
                "recommend.max",
                "nothing to keep to: state a limit, such as dim_truck_s_per_visit = 2",
            )
        )
    found = offer(scenario, table) if not faults else None
    if found is not None:
        faults += find_refusals(scenario, table, found)
        if not faults:
            faults += _check_offer(scenario, table, found)
    if faults or found is None or aim is None:
        raise InputError(faults)
    return Wish(
        scenario,
        flatten(scenario),
        aim,
        tuple(limits),
        found,
        table.groups,
        tuple(_notices(scenario, limits)),
    )


def _read_measures(table: Recommend, faults: list[Fault]) -> tuple[Measure | None, list[Limit]]:
    """Read the aim and the limits."""

    def read(key: str, name: str) -> Measure | None:
        try:
            measure = parse_measure(name)
        except MeasureError as error:
            faults.append(Fault("", None, key, f"{name} {error}"))
            return None
        if measure.outcome in _FIXED_BY_TRAFFIC:
            faults.append(Fault("", None, key, f"{name} is not changed by any setting of the lights"))
        return measure

    limits = []
    for key, scope in _TABLES:
        for name, most in getattr(table, key).items():
            measure = read(f"recommend.{key}.{name}", name)
            if measure is not None:
                limits.append(Limit(measure, float(most), scope, table.margin))
    return read("recommend.minimise", table.minimise), limits


def _check_names(scenario: Scenario, table: Recommend) -> Iterator[Fault]:
    """Aisles and settings must be there; the light wanted must be reachable."""
    for key in ("egress_aisles", "walked_aisles"):
        for name in getattr(table, key) or ():
            if name not in scenario.aisle_names:
                near = nearest_text(name, scenario.aisle_names)
                yield Fault("", None, f"recommend.{key}", f'there is no aisle "{name}"{near}')
    known = names_in_force(scenario)
    for key in ("unoccupied_floor_share", "unoccupied_floor_lux"):
        stated = getattr(table, key)
        for name in stated if isinstance(stated, Mapping) else ():
            if name not in known:
                near = nearest_text(name, known)
                yield Fault(
                    "", None, f"recommend.{key}.{name}", f"these settings are not in the timetable{near}"
                )
    full = [scenario.luminaires_of(name).floor_lux_at_full for name in scenario.lit_names]
    least = min((lux for lux in full if lux is not None), default=None)
    if table.occupied_lux is not None and least is not None and table.occupied_lux > least:
        yield Fault(
            "",
            None,
            "recommend.occupied_lux",
            f"{table.occupied_lux:g} lx is above floor_lux_at_full = {least:g} lx; full level does "
            "not give it",
        )


def _check_offer(scenario: Scenario, table: Recommend, found: Offer) -> Iterator[Fault]:
    """Every aisle must have something to choose from under every name."""
    for name in found.names:
        for (place, _), row in zip(scenario.places, found.allowed[name], strict=True):
            if not row.any():
                yield Fault(
                    "",
                    None,
                    "recommend.levels",
                    f'no timeout and level offered is allowed in aisle {place} under "{name}" '
                    '(floor, occupied '
                    "level, second level, latency + fade-up); offer higher levels or longer timeouts",
                )
                break


def _notices(scenario: Scenario, limits: list[Limit]) -> Iterator[str]:
    """Say what the question leaves open."""
    if not any(limit.measure.outcome == "shortfall_truck_s" for limit in limits):
        yield (
            "No limit is set on shortfall (depth times time): only the stated floor holds the "
            "unoccupied level "
            "up. --max shortfall_truck_s_per_visit=VALUE charges for depth."
        )
    if scenario.skylight is not None:
        yield (
            "Under skylights every level is capped hour by hour, also below the stated floor: there "
            "daylight is taken to give the rest."
        )
    if any([one.settings for one in scenario.override] + [one.settings for one in scenario.area or ()]):
        yield "Overrides of settings in the scenario are left out of the search: every aisle is chosen anew."
