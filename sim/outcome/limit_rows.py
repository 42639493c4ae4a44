"""A site beside the numeric limits it asked for: one row for each limit, group of aisles and period.

Comes in: a scenario.  Goes out: `LimitRow`s.  Before: `outcome/limit_rules`, `outcome/limit_group`,
`outcome/limit_density`; after: `show/words/limits`.  Nothing here depends on traffic. Open areas stand beside
the rules of controls, power density and light on routes; the light that work in them needs (packing,
dispatch) has numbers of its own that are not here.  A row says that a number is met or not, never more:
whether a rule applies is for the authority having jurisdiction.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from sim.lighting.power import light_share
from sim.outcome.limit_density import density_rows
from sim.outcome.limit_group import (
    Group,
    LimitRow,
    arrival_m,
    egress_aisles,
    gather_areas,
    gather_groups,
    light_row,
    low_power_share,
    number_row,
    power_density,
    stated_row,
)
from sim.outcome.limit_rules import (
    ADJOINING_RATIO,
    BARRIER_RATIO,
    CONTROL_RULES,
    EGRESS_DELAY,
    EGRESS_LIGHT,
    GANGWAY_LIGHT,
    NOT_FOUND,
    RACK_FACE_2021,
    RACK_FLOOR_2021,
    RACK_LIGHT,
    RACK_UNIFORMITY,
    ROUTE_LEAST,
    ROUTE_LIGHT,
    TRUCK_LIGHT,
    UNIFORMITY,
    UNKNOWN_CONTROLS,
    UNMANNED_LIGHT,
    ControlRule,
)
from sim.scenario.schema import Scenario

__all__ = ["ASK", "limit_rows"]

ASK = "ask the authority having jurisdiction"
_DISCHARGE = ("metal halide", "high-pressure sodium")
_ROUNDING = 1e-12


def limit_rows(scenario: Scenario) -> tuple[LimitRow, ...]:
    """Return the rows of every rule set that the scenario asks for, () where it asks for none.

    Rows that differ by aisles alone are drawn together.
    """
    if scenario.limits is None:
        return ()
    merged: dict[tuple[LimitRow, bool], list[str]] = {}
    for row in _all_rows(scenario):
        is_open = any(name in scenario.area_names for name in row.aisles)
        merged.setdefault((replace(row, aisles=()), is_open), []).extend(row.aisles)
    order = {name: number for number, name in enumerate(scenario.lit_names)}
    return tuple(
        replace(row, aisles=tuple(sorted(dict.fromkeys(aisles), key=order.__getitem__)))
        for (row, _), aisles in merged.items()
    )


def _all_rows(scenario: Scenario) -> Iterator[LimitRow]:
    """Every row, rule set by rule set, then what goes with all of them."""
    groups, areas = gather_groups(scenario), gather_areas(scenario)
    rules = scenario.limits or ()
    for rule in rules:
        if rule in CONTROL_RULES:
            yield from _control_rows(scenario, rule, CONTROL_RULES[rule], [*groups, *areas])
        if rule in UNKNOWN_CONTROLS:
            yield from _unknown_rows(rule, [*groups, *areas])
        yield from density_rows(scenario, rule, [*groups, *areas])
        if rule == "EN 12464-1":
            yield from _workplace_rows(rule, groups)
        if rule == "HSG38":
            yield from _route_rows(rule, [*groups, *areas])
            yield from _ratio_rows(scenario, rule, groups)
        if rule == "OSHA 1910.178(h)":
            for group in (*groups, *areas):
                yield light_row(rule, group, group.low_level, "lowest level", TRUCK_LIGHT)
        if rule == "NFPA 101 egress":
            yield from _egress_rows(scenario, rule, groups)
    yield from _both_sides(scenario, rules, groups)
    yield from _arrival_rows(scenario, groups)


def _control_rows(
    scenario: Scenario, rule: str, control: ControlRule, groups: Sequence[Group]
) -> Iterator[LimitRow]:
    """Cut of power, delay, each aisle by itself, shut-off, switching by hand."""
    said = scenario.statements
    is_discharge = said is not None and said.light_source in _DISCHARGE
    for group in groups:
        cut = control.cut
        most = control.discharge_density
        is_dense = most is not None and power_density(group.luminaires, group.area_m2) > most
        if is_discharge and control.cut_for_discharge is not None and not is_dense:
            cut = control.cut_for_discharge
        share = low_power_share(group.luminaires, group.settings.unoccupied_level)
        value = 1.0 - share
        # half of the power is half of the power, whatever the last digit of a division says
        value = cut.value if abs(value - cut.value) <= _ROUNDING else value
        fixed = group.luminaires.fixed_on
        remark = f"{fixed} of {group.luminaires.per_aisle} luminaires never dim" if fixed else ""
        yield number_row(rule, group, cut.meaning, value, cut, remark)
        limit = control.delay
        yield number_row(rule, group, limit.meaning, group.delay_s, limit, control.delay_remark)
    everywhere, seen = scenario.aisle_names, "seen in a public copy"
    if control.each_aisle:
        answer = None if said is None else said.each_aisle_alone
        alone: list[str] = []
        for name, aisles in scenario.places:
            if len(aisles) == 1:
                alone += [aisle for aisle in aisles if aisle in everywhere]  # the rule is one of aisles
                continue
            row = stated_row(
                rule, aisles, "each aisle by itself", False, control.each_aisle, seen, "each_aisle_alone"
            )
            yield replace(row, remark=f"{len(aisles)} aisles share the zone {name}")
        row = stated_row(
            rule, alone, "each aisle by itself", answer, control.each_aisle, seen, "each_aisle_alone"
        )
        beyond = "; as modelled each sensor serves its own zone alone"
        if alone:
            yield replace(row, remark=row.remark + beyond if answer is None else row.remark)
    if control.shut_off:
        answer = None if said is None or said.shut_off is None else said.shut_off != "none"
        what = "scheduled or full shut-off besides"
        row = stated_row(rule, everywhere, what, answer, control.shut_off, seen, "shut_off")
        dark = sorted({group.period for group in groups if group.low_level == 0.0})
        reaches = f"; level 0 is reached under {', '.join(dark)}" if dark else "; level 0 is never reached"
        yield replace(row, remark=row.remark + reaches)
    if control.manual:
        answer = None if said is None else said.manual_override
        what = "switching by hand"
        yield stated_row(rule, everywhere, what, answer, control.manual, seen, "manual_override")


def _unknown_rows(rule: str, groups: Iterable[Group]) -> Iterator[LimitRow]:
    """The site's figures of an edition whose numbers were not found: shown, neither met nor missed."""
    for group in groups:
        cut = 1.0 - low_power_share(group.luminaires, group.settings.unoccupied_level)
        for what, value, unit in (
            ("cut of power at the unoccupied level", cut, "share"),
            ("hold and timeout together", group.delay_s, "s"),
        ):
            yield LimitRow(
                rule, group.aisles, group.period, what, value, unit, None, None, None,
                UNKNOWN_CONTROLS[rule], NOT_FOUND, "not found: the number of this edition", is_judged=False,
            )


def _workplace_rows(rule: str, groups: Iterable[Group]) -> Iterator[LimitRow]:
    """EN 12464-1: gangways with and without people, uniformity, rack faces."""
    for group in groups:
        lamps, settings = group.luminaires, group.settings
        yield light_row(rule, group, settings.occupied_level, "occupied level", GANGWAY_LIGHT)
        yield light_row(rule, group, group.low_level, "lowest level", UNMANNED_LIGHT)
        yield light_row(rule, group, settings.occupied_level, "occupied level", RACK_FLOOR_2021)
        if lamps.floor_uniformity is not None:
            row = number_row(rule, group, UNIFORMITY.meaning, lamps.floor_uniformity, UNIFORMITY)
            yield replace(row, period="")
        if lamps.rack_lux_at_full is not None:
            lux = lamps.rack_lux_at_full * light_share(lamps, settings.occupied_level)
            remark = f"occupied level {100.0 * settings.occupied_level:.3g} %"
            for limit in (RACK_LIGHT, RACK_FACE_2021):
                yield number_row(rule, group, limit.meaning, lux, limit, remark)
        if lamps.rack_uniformity is not None:
            row = number_row(rule, group, RACK_UNIFORMITY.meaning, lamps.rack_uniformity, RACK_UNIFORMITY)
            yield replace(row, period="")


def _route_rows(rule: str, groups: Iterable[Group]) -> Iterator[LimitRow]:
    """HSG38: average and least value on traffic routes."""
    for group in groups:
        yield light_row(rule, group, group.low_level, "lowest level", ROUTE_LIGHT)
        average, uniformity = group.lux(group.low_level), group.luminaires.floor_uniformity
        least = None if average is None or uniformity is None else average * uniformity
        remark = f"lowest level {100.0 * group.low_level:.3g} %" + (
            "; not known: state the light and floor_uniformity" if least is None else ", average x uniformity"
        )
        yield number_row(rule, group, f"floor light, {ROUTE_LEAST.meaning}", least, ROUTE_LEAST, remark)


def _ratio_rows(scenario: Scenario, rule: str, groups: Iterable[Group]) -> Iterator[LimitRow]:
    """HSG38: a lit aisle beside a dim one, the worst neighbour of each aisle."""
    for period in dict.fromkeys(group.period for group in groups):
        of_aisle = {name: group for group in groups if group.period == period for name in group.aisles}
        names = scenario.aisle_names
        for number, name in enumerate(names):
            here = of_aisle[name]
            beside = [of_aisle[names[other]] for other in (number - 1, number + 1) if 0 <= other < len(names)]
            low = here.lux(here.low_level)
            full = [light for one in beside if (light := one.lux(one.settings.occupied_level)) is not None]
            if not beside:
                continue
            value = None if low is None or not full or low == 0.0 else max(full) / low
            remark = "the next aisle lit, this one at its lowest level"
            if low == 0.0:
                remark += "; this one is dark: no ratio holds"
            elif value is None:
                remark += "; not known: state the light"
            for limit in (ADJOINING_RATIO, BARRIER_RATIO):
                row = number_row(rule, replace(here, aisles=(name,)), limit.meaning, value, limit, remark)
                yield replace(row, is_met=False) if low == 0.0 and full else row


def _in_aisles(groups: Iterable[Group], names: Sequence[str]) -> Iterator[Group]:
    """The groups, cut down to some aisles."""
    for group in groups:
        inside = tuple(name for name in group.aisles if name in names)
        if inside:
            yield replace(group, aisles=inside)


def _egress_rows(scenario: Scenario, rule: str, groups: Sequence[Group]) -> Iterator[LimitRow]:
    """Timer and light of ways out, and the conditions for switching them by motion."""
    names = egress_aisles(scenario)
    source, seen = EGRESS_DELAY.source, EGRESS_DELAY.seen
    if not names:
        remark = (
            "not stated which aisles are marked ways out: statements.egress_aisles"
            if names is None else "as stated, no aisle is a marked way out"
        )
        yield LimitRow(
            rule, scenario.aisle_names, "", EGRESS_DELAY.meaning, None, "s", EGRESS_DELAY.value, None, None,
            source, seen, remark,
        )
        return
    for group in _in_aisles(groups, names):
        lamps = group.luminaires
        remark = "the rule asks further: a listed controller, and that any movement sets it off"
        yield number_row(rule, group, EGRESS_DELAY.meaning, group.delay_s, EGRESS_DELAY, remark)
        row = light_row(rule, group, group.low_level, "lowest level", EGRESS_LIGHT)
        if lamps.fixed_on:
            more = f"; {lamps.fixed_on} of {lamps.per_aisle} luminaires never dim and would add to it"
            row = replace(row, remark=row.remark + more)
        yield row
    said = scenario.statements
    for what, key in (
        ("fails to full light", "fails_to_full"),
        ("fire alarm brings full light", "fire_alarm_to_full"),
    ):
        answer = None if said is None else getattr(said, key)
        yield stated_row(rule, names, what, answer, source, seen, key)


def _both_sides(scenario: Scenario, rules: Sequence[str], groups: Sequence[Group]) -> Iterator[LimitRow]:
    """Ways out: the safety rule's shortest timer beside the energy codes' longest, which pull apart."""
    names = egress_aisles(scenario)
    delays = [CONTROL_RULES[rule].delay for rule in rules if rule in CONTROL_RULES]
    if not names or not delays or "NFPA 101 egress" not in rules:
        return
    longest = min(delays, key=lambda limit: limit.value)
    for group in _in_aisles(groups, names):
        yield LimitRow(
            rule="both sides",
            aisles=group.aisles,
            period=group.period,
            what="way out: hold and timeout together",
            value=group.delay_s,
            unit="s",
            least=EGRESS_DELAY.value,
            most=longest.value,
            is_met=EGRESS_DELAY.is_met(group.delay_s) and longest.is_met(group.delay_s),
            source=f"{EGRESS_DELAY.source} (shortest); {longest.source} (longest)",
            seen=longest.seen,
            remark="safety sets the shortest, the energy code the longest delay",
        )


def _arrival_rows(scenario: Scenario, groups: Sequence[Group]) -> Iterator[LimitRow]:
    """How far a truck drives before the light is up; no document sets a number."""
    if not scenario.trucks:
        return
    speed = max(max(group.speed_empty_m_per_s, group.speed_laden_m_per_s) for group in scenario.trucks)
    for group in groups:
        rises = group.low_level < group.settings.occupied_level
        fade = group.settings.fade_up_s if rises else 0.0
        latency = group.sensors.latency_s if rises else 0.0
        yield LimitRow(
            rule="arrival",
            aisles=group.aisles,
            period=group.period,
            what="driven from being seen to full light",
            value=arrival_m(speed, latency, fade),
            unit="m",
            least=None,
            most=None,
            is_met=None,
            source="speed x (latency + fade-up)",
            seen="computed",
            remark=f"at {speed:.3g} m/s, the fastest truck; no document sets a number",
        )
