"""Lighting power densities beside the numbers of codes: space by space, by building area, what stays on.

Comes in: a scenario, one rule set, groups of aisles.  Goes out: `LimitRow`s.  Before:
`outcome/limit_rules`, `outcome/limit_group`; after: `outcome/limit_rows`.  The area is length times pitch.
One method decides, the other is shown beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from sim.lighting.power import power_curve
from sim.outcome.limit_group import (
    W_PER_M2_PER_W_PER_FT2,
    Group,
    LimitRow,
    number_row,
    power_density,
)
from sim.outcome.limit_rules import (
    BUILDING_DENSITIES,
    DENSITIES,
    FULL_OFF_AREA,
    FULL_OFF_RESIDUAL,
    STAYS_ON,
    density_limit,
)
from sim.scenario.schema import Luminaires, Scenario

__all__ = ["density_rows"]

_BUILDING = "building area"
_SQUARE_FEET = W_PER_M2_PER_W_PER_FT2


def density_rows(scenario: Scenario, rule: str, groups: Sequence[Group]) -> Iterator[LimitRow]:
    """Yield every row of one rule set that speaks of power per area; none where it says nothing of it.

    Parameters
    ----------
    scenario : the site
    rule : name of the set
    groups : aisles alike
    """
    said = scenario.statements
    by_building = said is not None and said.lpd_method == _BUILDING
    if rule in DENSITIES:
        yield from _by_space(scenario, rule, groups, is_judged=not by_building)
    if rule in BUILDING_DENSITIES:
        yield _by_building(scenario, rule, is_judged=by_building or rule not in DENSITIES)
    if rule == "ASHRAE 90.1-2022" and said is not None and said.shut_off == "full":
        yield from _full_off(scenario, rule, groups)
    if rule == "Title 24":
        yield from _stays_on(rule, groups)


def _by_space(
    scenario: Scenario, rule: str, groups: Iterable[Group], *, is_judged: bool
) -> Iterator[LimitRow]:
    """Of the aisles, beside the number for the goods stated, else beside both."""
    goods = None if scenario.statements is None else scenario.statements.goods
    kinds = ("bulky", "small") if goods is None else (goods,)
    for group in groups:
        value = power_density(group.luminaires, group.area_m2)
        size = "its size" if group.aisles[0] in scenario.area_names else "length times pitch"
        for kind in kinds:
            limit = density_limit(rule, kind)
            remark = f"{limit.meaning}; {_metric(value, size)}"
            remark += "" if goods else "; state statements.goods"
            row = number_row(rule, group, "lighting power density, space by space", value, limit, remark)
            is_met = row.is_met if goods and is_judged else None
            yield replace(row, period="", is_met=is_met, is_judged=is_judged)


def _metric(value: float, size: str) -> str:
    """A density in watts per square metre."""
    return f"{value * W_PER_M2_PER_W_PER_FT2:.3g} W/m2 over {size}"


def _by_building(scenario: Scenario, rule: str, *, is_judged: bool) -> LimitRow:
    """Of all aisles and open areas together; other rooms of the building are not known."""
    limit = BUILDING_DENSITIES[rule]
    area = sum(scenario.area_m2_of(name) for name in scenario.lit_names)
    watts = 0.0
    for name in scenario.lit_names:
        lamps = scenario.luminaires_of(name)
        watts += lamps.per_aisle * power_curve(lamps).full_w
    value = watts / area / W_PER_M2_PER_W_PER_FT2
    lit = "the aisles and open areas" if scenario.area else "the aisles"
    size = "length times pitch" + (" and the areas' sizes" if scenario.area else "")
    sure = is_judged and limit.trust != "low"
    remark = f"{limit.meaning}; {_metric(value, size)}; {lit} alone, other rooms are not counted"
    if limit.trust == "low":
        remark += "; the number is not sure and decides nothing"
    elif not is_judged:
        remark += f'; judged with statements.lpd_method = "{_BUILDING}"'
    return LimitRow(
        rule, scenario.lit_names, "", f"lighting power density, {_BUILDING}", value, limit.unit, None,
        limit.value, limit.is_met(value) if sure else None, limit.source, limit.seen, remark, is_judged=sure,
    )


def _left_on(luminaires: Luminaires, level: float) -> float:
    """Power of an aisle at a level, luminaires that never dim at full [W]."""
    curve, fixed = power_curve(luminaires), luminaires.fixed_on
    return (luminaires.per_aisle - fixed) * float(curve.at(level)) + fixed * curve.full_w


def _full_off(scenario: Scenario, rule: str, groups: Iterable[Group]) -> Iterator[LimitRow]:
    """What sensors that switch fully off leave on, and how much floor one of them controls."""
    for group in groups:
        zones = 1 if group.aisles[0] in scenario.area_names else scenario.floor.zones_per_aisle
        square_feet = group.area_m2 * _SQUARE_FEET
        left = _left_on(group.luminaires, group.low_level) / square_feet
        remark = "lowest level, standby and luminaires that never dim included"
        for limit, value, words in (
            (FULL_OFF_RESIDUAL, left, remark), (FULL_OFF_AREA, square_feet / zones, "a control zone"),
        ):
            yield number_row(rule, group, limit.meaning, value, limit, words)


def _stays_on(rule: str, groups: Iterable[Group]) -> Iterator[LimitRow]:
    """Luminaires that never dim, beside what may stay on for egress; whether they are that is not known."""
    for group in groups:
        if group.luminaires.fixed_on:
            watts = group.luminaires.fixed_on * power_curve(group.luminaires).full_w
            value = watts / group.area_m2 / W_PER_M2_PER_W_PER_FT2
            remark = "shown alone: whether these luminaires are egress lighting is not known"
            row = number_row(rule, group, STAYS_ON.meaning, value, STAYS_ON, remark)
            yield replace(row, period="", is_met=None, is_judged=False)
