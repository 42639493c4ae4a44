"""What every report must say beside its figures: cautions in words, floor light beside numeric limits.

Comes in: a scenario.  Goes out: sentences and table rows.  Before: `outcome/limits` (the numbers),
`show/words/in_force`; after: `show/reports/run`.  Limits are compared as numbers alone; whether a rule
applies is for others to judge.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sim.floor.layout import Layout
from sim.lighting.power import light_share, power_curve
from sim.outcome.limits import (
    CODE_CUT,
    CODE_DELAY,
    EGRESS_DELAY,
    EGRESS_LIGHT,
    LIGHT_LIMITS,
    ROUTE_LIGHT,
    TRUCK_LIGHT,
)
from sim.scenario.schema import Luminaires, Scenario
from sim.show.words.amounts import digits, duration, listing, percent, plain, short
from sim.show.words.in_force import InForce, settings_in_force, time_to_most_s

__all__ = ["LuxRow", "cautions", "lux_rows", "where_text"]


@dataclass(frozen=True)
class LuxRow:
    """Floor light of one level of one set of settings.

    Attributes
    ----------
    where : settings and aisles
    level : which level, in words
    lux : maintained average from the luminaires that dim [lx]
    meets : for each of `outcome.limits.LIGHT_LIMITS`, whether the number is reached
    """

    where: str
    level: str
    lux: float
    meets: tuple[bool, ...]


def lux_rows(scenario: Scenario) -> tuple[LuxRow, ...]:
    """Return the floor light of every level in force, where `floor_lux_at_full` is given.

    The full average times the share of light at the level; luminaires that never dim would add to it.
    """
    rows = []
    for row, luminaires, where in _by_light(settings_in_force(scenario)):
        settings = row.settings
        levels = [("occupied", settings.occupied_level), ("unoccupied", settings.unoccupied_level)]
        if settings.second_level is not None:
            levels.append(("second", settings.second_level))
        for name, level in levels:
            lux = _lux(luminaires, level)
            meets = tuple(limit.is_met(lux) for limit in LIGHT_LIMITS)
            rows.append(LuxRow(where, f"{name}, {short(100.0 * level)} %", lux, meets))
    return tuple(rows)


def where_text(row: InForce) -> str:
    """Return the settings' name, with the aisles where not all are meant."""
    name = row.name if row.uses == row.name else f"{row.name} as {row.uses}"
    return name if row.is_everywhere else f"{name} ({listing(row.aisles, 3)})"


def _by_light(rows: Sequence[InForce]) -> list[tuple[InForce, Luminaires, str]]:
    """Settings once for each kind of luminaires whose floor light is known, with the words for where."""
    found = []
    for row in rows:
        lights: dict[tuple[object, ...], tuple[Luminaires, list[str]]] = {}
        for luminaires, aisles in row.luminaires:
            if luminaires.floor_lux_at_full is not None:
                is_curved = luminaires.power_curve == "iec62386-log"
                kind = (luminaires.floor_lux_at_full, is_curved, luminaires.driver_min_level)
                lights.setdefault(kind, (luminaires, []))[1].extend(aisles)
        for luminaires, names in lights.values():
            is_all = len(names) == len(row.aisles)
            where = where_text(row) if is_all else f"{row.name} ({listing(names, 3)})"
            found.append((row, luminaires, where))
    return found


def _lux(luminaires: Luminaires, level: float) -> float:
    """Floor light at a level [lx]; the average at full level must be known."""
    assert luminaires.floor_lux_at_full is not None
    return luminaires.floor_lux_at_full * light_share(luminaires, level)


def cautions(scenario: Scenario, layout: Layout) -> tuple[str, ...]:
    """Return the cautions that stand in every report, with this site's own numbers where they matter."""
    rows = settings_in_force(scenario)
    return (
        "This is an estimate for planning. It is not a lighting design, not a check against a code, not an "
        "approval, and no promise of savings.",
        "The authority having jurisdiction, a licensed engineer or qualified lighting designer, and the "
        "site's safety officer have the final say; for safety at work OSHA in the United States, the HSE "
        "in the United Kingdom, the national authority elsewhere.",
        _emergency(layout),
        _egress(rows),
        _energy_code(rows),
        _low_light(rows),
        _arrival(scenario, rows),
        "Savings hold against the baseline named beside them, on the same traffic. Savings of controls "
        "and of better luminaires multiply; they are never added. Measured projects with occupancy "
        "controls have saved anything from nothing to 76 % more (PNNL-21923, 2012).",
        _carbon(scenario),
        "Where this report says that a figure meets a numeric limit, it means that number alone. Codes have "
        "further conditions, editions and local changes that nobody has checked here.",
    )


def _carbon(scenario: Scenario) -> str:
    """What a carbon figure must say of itself."""
    if scenario.carbon is not None:
        return (
            "A carbon figure holds for the factor named beside it, of its year, and keeps two figures. An "
            "average factor does not say what a change of load moves; a marginal one does not say what a "
            "site's share of all emissions is."
        )
    return (
        "No carbon figure is given. Whoever makes one from the kilowatt-hours should name the year of the "
        "factor, say whether it is an average or a marginal one, and keep two or three figures."
    )


def _emergency(layout: Layout) -> str:
    """Emergency and egress lighting."""
    never, all_of_them = int(layout.fixed.sum()), int(layout.fixed.sum() + layout.dimmed.sum())
    return (
        "Emergency and egress lighting must stay at or above its required level at all times and must go "
        "to full when a control fails. That is not modelled here. Luminaires with that duty must not be "
        f"among those that dim: in this scenario {plain(never)} of {plain(all_of_them)} luminaires never "
        "dim (fixed_on)."
    )


def _egress(rows: Sequence[InForce]) -> str:
    """Motion-switched light on a marked way out: short delays and less than one footcandle."""
    shortest = min(row.delay_s for row in rows)
    known = [_lux(lamps, row.lowest_level) for row, lamps, _ in _by_light(rows)]
    text = (
        "An aisle that is a marked way out: NFPA 101-2012, 7.8.1.2.2, asks among other things for a timer "
        "of at least 15 min where motion switches egress lighting. The shortest delay here is "
        f"{duration(shortest)}"
    )
    if EGRESS_DELAY.is_met(shortest):
        return f"{text}, which meets that numeric limit."
    if not _light_is_known(rows):
        return f"{text}, below that number; whether the low level keeps 1 fc (10.8 lx) is not known."
    if EGRESS_LIGHT.is_met(min(known)):
        lowest = digits(min(known))
        return f"{text}, below that number; the lowest level leaves {lowest} lx, at least 1 fc (10.8 lx)."
    return (
        f"{text}, below that number, and the lowest level leaves {digits(min(known))} lx, under 1 fc (10.8 "
        "lx). This may conflict with the egress rule even where the energy code's numbers are met."
    )


def _energy_code(rows: Sequence[InForce]) -> str:
    """The code's longest delay and least cut, beside this site's."""
    longest = max(rows, key=lambda row: row.delay_s)
    fullest = max(rows, key=_low_power)
    delay = "meets" if CODE_DELAY.is_met(longest.delay_s) else "does not meet"
    cut = "meets" if CODE_CUT.is_met(1.0 - _low_power(fullest)) else "does not meet"
    return (
        "An energy code sets the longest delay and the least cut: 20 min and half the power in storage "
        "aisles (ANSI/ASHRAE/IES 90.1-2022, 9.4.1.1(g); IECC 2021, C405.2.1.2). The work may need the "
        "opposite, a longer delay and more light. Here the longest delay, hold and timeout together, is "
        f"{duration(longest.delay_s)} (settings {longest.name}), which {delay} the numeric limit of 20 "
        f"min; at the unoccupied level an aisle draws at most {percent(_low_power(fullest))} of its full "
        f"power (settings {fullest.name}), which {cut} the numeric limit of 50 %."
    )


def _low_light(rows: Sequence[InForce]) -> str:
    """Limits of traffic in low light."""
    text = (
        "Where general light is below 21.5 lx (2 lm/ft2), trucks must carry lights (29 CFR "
        "1910.178(h)(2)). HSE guidance for traffic routes names 20 lx on average and 5 lx at the least "
        "(HSG38, Table 1)."
    )
    known = [(_lux(lamps, row.lowest_level), row.name) for row, lamps, _ in _by_light(rows)]
    if not known:
        return f"{text} The scenario does not state the light on the floor, so neither is compared here."
    lux, name = min(known)
    osha = "meets" if TRUCK_LIGHT.is_met(lux) else "is below"
    hse = "meets" if ROUTE_LIGHT.is_met(lux) else "is below"
    return (
        f"{text} The lowest level here (settings {name}) leaves {digits(lux)} lx on average: it "
        f"{osha} the first number and {hse} the second; the least value on the floor is not known."
    )


def _arrival(scenario: Scenario, rows: Sequence[InForce]) -> str:
    """How far a truck goes before the light is there."""
    slowest = max(rows, key=time_to_most_s)
    time = time_to_most_s(slowest)
    text = (
        "Light comes up after the truck has been seen. From motion to 90 % of the occupied level takes up "
        f"to {duration(round(time, 2))} (settings {slowest.name})"
    )
    if not scenario.trucks:
        return f"{text}."
    fastest = max(max(group.speed_empty_m_per_s, group.speed_laden_m_per_s) for group in scenario.trucks)
    return f"{text}; at {plain(fastest)} m/s a truck goes {digits(time * fastest)} m in that time."


def _light_is_known(rows: Sequence[InForce]) -> bool:
    """Whether the floor light is stated for every aisle."""
    return all(light.floor_lux_at_full is not None for row in rows for light, _ in row.luminaires)


def _low_power(row: InForce) -> float:
    """Greatest share of its full power that an aisle draws at the unoccupied level, fixed-on included."""
    shares = []
    for luminaires, _ in row.luminaires:
        curve, count, fixed = power_curve(luminaires), luminaires.per_aisle, luminaires.fixed_on
        low = float(curve.at(row.settings.unoccupied_level))
        shares.append(((count - fixed) * low + fixed * curve.full_w) / (count * curve.full_w))
    return max(shares)
