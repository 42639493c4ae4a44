"""What is simulated on request but never recommended, and what would have to be stated first.

Comes in: a scenario with its `[recommend]` table.  Goes out: faults that say what to supply.  Before:
`study/decide/candidates`; after: `study/decide/wish`.  The tool computes what any setting does; it does not
advise darkness that nobody has answered for.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from sim.errors import Fault
from sim.lighting.timetable import week_spans
from sim.scenario.checks.notices import unseen_stretches
from sim.scenario.parts import aisles_text, sort_aisles
from sim.scenario.schema import Recommend, Scenario, TimetableRow
from sim.study.decide.candidates import Offer, egress_aisles, floor_share, names_in_force

__all__ = ["find_refusals", "is_staffed", "walked_aisles"]


def is_staffed(scenario: Scenario, name: str) -> bool:
    """Say whether drivers are on shift in any hour in which a name for settings holds.

    On exception dates they are taken to be, unless those dates are holidays.
    """
    for exception in scenario.exceptions or ():
        if scenario.shifts and set(exception.dates) - set(scenario.holidays):
            on_day = {row.settings for row in scenario.timetable if exception.as_day in row.days}
            if name in on_day or name == exception.settings:
                return True
    shifts = [
        TimetableRow.model_construct(days=shift.days, from_=shift.from_, to=shift.to, settings="")
        for shift in scenario.shifts
    ]
    staffed = [(start, end) for start, end, _ in week_spans(shifts)]
    return any(
        first < end and start < last
        for start, end, row in week_spans(scenario.timetable)
        if scenario.timetable[row].settings == name
        for first, last in staffed
    )


def find_refusals(scenario: Scenario, table: Recommend, offer: Offer) -> Iterator[Fault]:
    """Yield every reason not to recommend."""
    yield from _about_floor(scenario, table)
    yield from _about_darkness(scenario, table, offer)
    yield from _about_egress(scenario, table)
    yield from _about_blind_stretches(scenario, table)


def _refusal(key: str, message: str) -> Fault:
    """Name the key of the table that would settle it."""
    return Fault("", None, f"recommend.{key}", message)


def _about_floor(scenario: Scenario, table: Recommend) -> Iterator[Fault]:
    """Any level needs a floor that somebody states, in share or in lux."""
    if table.unoccupied_floor_share is None and table.unoccupied_floor_lux is None:
        yield _refusal(
            "unoccupied_floor_share",
            "no level is recommended without a floor: state unoccupied_floor_share (share of full light) or "
            "unoccupied_floor_lux (lx on the floor, with luminaires.floor_lux_at_full)",
        )
        return
    for name in names_in_force(scenario):
        stated = (table.unoccupied_floor_share, table.unoccupied_floor_lux)
        if all(value is None or (isinstance(value, Mapping) and name not in value) for value in stated):
            yield _refusal(
                "unoccupied_floor_share",
                f'states no floor for the settings "{name}"; give one number for all, or add {name} = ...',
            )
    for key in ("unoccupied_floor_lux", "egress_floor_lux", "occupied_lux"):
        dark = [
            name for name in scenario.lit_names if scenario.luminaires_of(name).floor_lux_at_full is None
        ]
        if getattr(table, key) is not None and dark:
            yield _refusal(
                key,
                f"is in lux, yet {aisles_text(dark)} {'has' if len(dark) == 1 else 'have'} no "
                "floor_lux_at_full; "
                "state luminaires.floor_lux_at_full",
            )


def _about_darkness(scenario: Scenario, table: Recommend, offer: Offer) -> Iterator[Fault]:
    """Level 0 is no advice while people work."""
    for name in offer.names:
        floors = [floor_share(scenario, table, lit, name) for lit in scenario.lit_names]
        if None in floors or not is_staffed(scenario, name):
            continue
        base = scenario.lighting.settings[name]
        if any(one.unoccupied_level == 0.0 for one in offer.candidates[name]):
            yield _refusal(
                "unoccupied_floor_share",
                f'level 0 is not recommended in hours when shifts work ("{name}"); state a floor '
                "above 0 for these "
                "settings, or leave 0 out of the levels",
            )
        floor = max(value for value in floors if value is not None)
        if base.second_level is not None and (base.second_level == 0.0 or base.second_level < floor):
            yield Fault(
                "",
                None,
                f"lighting.settings.{name}.second_level",
                f"{base.second_level:g} stays as it is and is 0 or below the stated floor of "
                f"{floor:.4g} in hours "
                "when shifts work; raise it, or leave second_level and second_delay_s out",
            )


def _about_egress(scenario: Scenario, table: Recommend) -> Iterator[Fault]:
    """Marked ways out have rules of their own; somebody must say which aisles they are."""
    declared = egress_aisles(scenario, table)
    if declared is None:
        yield _refusal(
            "egress_aisles",
            "it is not declared which aisles are marked ways out; list them, or write egress_aisles = [] "
            "if none is",
        )
    elif declared and table.egress_floor_share is None and table.egress_floor_lux is None:
        yield _refusal(
            "egress_floor_lux",
            f"{aisles_text(declared)} {'is a marked way' if len(declared) == 1 else 'are marked ways'} out; "
            "state egress_floor_lux (or egress_floor_share), the lowest level that your authority accepts "
            "there",
        )


def walked_aisles(scenario: Scenario, table: Recommend) -> tuple[str, ...] | None:
    """Return the aisles in which people walk: declared, and those of simulated walkers; None if neither."""
    walkers = [group for group in scenario.trucks if group.kind == "walker"]
    if table.walked_aisles is None and not walkers:
        return None
    walked = set(table.walked_aisles or ())
    for group in walkers:
        walked.update(group.aisles or scenario.aisle_names)
    return tuple(name for name in scenario.aisle_names if name in walked)


def _about_blind_stretches(scenario: Scenario, table: Recommend) -> Iterator[Fault]:
    """Where no sensor looks, a person on foot keeps no light up."""
    declared = walked_aisles(scenario, table)
    for kind in sort_aisles(scenario):
        stretches = unseen_stretches(kind)
        if not stretches:
            continue
        start, end = max(stretches, key=lambda stretch: stretch[1] - stretch[0])
        where = f"no sensor covers {start:.4g} to {end:.4g} m in"
        if declared is None:
            yield _refusal(
                "walked_aisles",
                f"{where} {aisles_text(kind.aisles)}, and it is not declared where people walk; list those "
                "aisles, or write walked_aisles = [] if people walk in none",
            )
            return
        walked = [aisle for aisle in kind.aisles if aisle in declared]
        if walked:
            yield _refusal(
                "walked_aisles",
                f"{where} {aisles_text(walked)}, where people walk; supply sensors that cover the aisle "
                "(sensors.at, sensors.range_m), or an override for these aisles",
            )
